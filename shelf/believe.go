package shelf

import (
	"database/sql"
	"fmt"
	"path"
	"slices"
	"strings"
)

// believe works out what is believed of a part from a person's words and the
// photos, and stores it with the part for the searches. It is called in every
// transaction that adds to either, so that the two never part.
//
// The size: a person's last word; without one, what the photos answered. Of
// one photo the newest measurement counts. Where all answers agree, the most
// confident one is taken; where they differ, or nothing was answered, the
// part is doubtful. The lengths: a person's last word, else the measured
// length with the smallest uncertainty.
func believe(tx *sql.Tx, id ID) error {
	words, err := lastWords(tx, id)
	if err != nil {
		return err
	}
	ms, err := newestMeasurements(tx, id)
	if err != nil {
		return err
	}
	size := believedSize(ms)
	if w, ok := words[FieldSize]; ok {
		size = SizeBelief{Size: w.Size, By: ByPerson}
	}
	length := believedLength(words[FieldLength], ms, WhatReedLength, WhatHeddleWidth, WhatString, WhatWire)
	sley := believedLength(words[FieldSley], ms, WhatSleyWidth)
	height := believedLength(words[FieldHeight], ms, WhatReedHeight)
	_, gone := words[FieldGone]
	var kind sql.NullString // a person's word; else as it came here
	if w, ok := words[FieldKind]; ok {
		kind = sql.NullString{String: w.Size.Label, Valid: true}
	}

	_, err = tx.Exec(`UPDATE parts SET size_label=?, size_system=?, size_per_inch=?, size_u=?, size_confidence=?, size_by=?,
		doubtful=?, doubt=?, advice=?, length_in=?, length_u=?, length_by=?, sley_in=?, sley_u=?, sley_by=?,
		height_in=?, height_u=?, height_by=?, gone=?, kind=coalesce(?, kind_added) WHERE id=?`,
		size.Label, size.System, null(size.PerInch), null(size.U), null(size.Confidence), string(size.By),
		size.Doubt != "", size.Doubt, size.Advice,
		null(length.In), null(length.U), string(length.By), null(sley.In), null(sley.U), string(sley.By),
		null(height.In), null(height.U), string(height.By), gone, kind, string(id))
	return err
}

// lastWords gives the last decision on each field that was not taken back.
func lastWords(tx *sql.Tx, id ID) (map[string]Decision, error) {
	ds, err := readDecisions(tx, id)
	if err != nil {
		return nil, err
	}
	words := map[string]Decision{}
	for _, d := range ds {
		if d.Withdrawn {
			delete(words, d.Field)
		} else {
			words[d.Field] = d
		}
	}
	return words, nil
}

// seen is a measurement with the place of its photo.
type seen struct {
	Measurement
	path string
}

// newestMeasurements gives, for each photo of the part and each thing measured
// in it, the newest measurement, ordered by path.
func newestMeasurements(q querier, id ID) ([]seen, error) {
	rows, err := q.Query(`SELECT `+measurementColumns+`, p.path FROM measurements m JOIN photos p ON p.sha256 = m.photo
		WHERE p.part_id = ? ORDER BY p.path, m.photo, m.what, m.at, m.version`, string(id))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []seen
	for rows.Next() {
		var s seen
		s.Measurement, err = scanMeasurement(func(into ...any) error { return rows.Scan(append(into, &s.path)...) })
		if err != nil {
			return nil, err
		}
		if n := len(out); n > 0 && out[n-1].Photo == s.Photo && out[n-1].What == s.What {
			out[n-1] = s
			continue
		}
		out = append(out, s)
	}
	return out, rows.Err()
}

func believedSize(ms []seen) SizeBelief {
	var best *seen
	var labels []string
	rank := func(status string) int { return slices.Index(statuses, status) }
	for i := range ms {
		m := &ms[i]
		if m.What != WhatDentSize {
			continue
		}
		if m.Status == Answered {
			if name := m.Size.System + " " + m.Size.Label; !slices.Contains(labels, name) {
				labels = append(labels, name)
			}
		}
		if best == nil || rank(m.Status) > rank(best.Status) || m.Status == best.Status && m.Confidence > best.Confidence {
			best = m
		}
	}
	if best == nil {
		return SizeBelief{Doubt: "no photo and nobody has said what size it is", Advice: "measure a photo of it, or settle its size"}
	}
	b := SizeBelief{Size: best.Size, U: best.U, Confidence: best.Confidence, By: ByPhoto, Advice: best.Advice}
	switch {
	case best.Status == Refused:
		return SizeBelief{Doubt: orElse(best.Reason, "nothing could be measured"), Advice: best.Advice}
	case best.Status != Answered:
		b.Doubt = orElse(best.Reason, "the size is not certain")
	case len(labels) > 1:
		b.Doubt = "its photos do not agree: " + disagreement(ms)
		b.Advice = "see that all of them show the same part; take one more photo, or count by hand and settle it"
	default:
		b.Advice = ""
	}
	return b
}

func disagreement(ms []seen) string {
	var out []string
	for _, m := range ms {
		if m.What == WhatDentSize && m.Status == Answered {
			out = append(out, fmt.Sprintf("%s in %s", m.Size.Label, path.Base(m.path)))
		}
	}
	return strings.Join(out, ", ")
}

func believedLength(word Decision, ms []seen, whats ...string) LengthBelief {
	if word.UID != "" {
		return LengthBelief{In: word.In, By: ByPerson}
	}
	var b LengthBelief
	for _, m := range ms {
		if m.Status == Answered && m.LengthIn > 0 && slices.Contains(whats, m.What) && (b.By == ByNobody || m.U < b.U) {
			b = LengthBelief{In: m.LengthIn, U: m.U, By: ByPhoto}
		}
	}
	return b
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}
