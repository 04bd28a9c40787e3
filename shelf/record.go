package shelf

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
)

const measurementColumns = `m.photo, m.what, m.version, m.status, m.kind, m.label, m.system, m.per_inch, m.u, m.confidence,
	m.length_in, m.reason, m.advice, m.result, m.evidence, m.at`

func scanMeasurement(scan func(...any) error) (Measurement, error) {
	var m Measurement
	var perInch, u, conf, length sql.NullFloat64
	var result, evidence string
	var at int64
	err := scan(&m.Photo, &m.What, &m.Version, &m.Status, &m.Kind, &m.Size.Label, &m.Size.System, &perInch, &u, &conf,
		&length, &m.Reason, &m.Advice, &result, &evidence, &at)
	if err != nil {
		return Measurement{}, err
	}
	m.Size.PerInch, m.U, m.Confidence, m.LengthIn = perInch.Float64, u.Float64, conf.Float64, length.Float64
	if result != "" {
		m.Result = json.RawMessage(result)
	}
	if evidence != "" {
		m.Evidence = json.RawMessage(evidence)
	}
	m.At = fromStamp(at)
	return m, nil
}

// Record stores a photo and what was measured in it, in one transaction. What
// the same version of the measuring already said of the same photo stays as
// it is, and Record returns false; the place of the photo is brought up to
// date all the same. It may be called by several processes at once.
func (s *Shelf) Record(ctx context.Context, ph Photo, m Measurement) (isNew bool, err error) {
	if err := checkPhoto(ph); err != nil {
		return false, err
	}
	m.Photo = ph.SHA256
	if m.What == "" || m.Version == "" || !slices.Contains(statuses, m.Status) {
		return false, badValue("", "a measurement without what, version or status (%q, %q, %q)", m.What, m.Version, m.Status)
	}
	if err := checkText("measurement", m.What, m.Version, m.Status, m.Kind, m.Size.Label, m.Size.System, m.Reason, m.Advice); err != nil {
		return false, err
	}
	if err := checkNumbers("measured value", m.Size.PerInch, m.U, m.Confidence, m.LengthIn); err != nil {
		return false, err
	}
	result, err := compactJSON("result", m.Result)
	if err != nil {
		return false, err
	}
	evidence, err := compactJSON("evidence", m.Evidence)
	if err != nil {
		return false, err
	}
	err = s.write(ctx, func(tx *sql.Tx) error {
		if err := s.seePhoto(tx, ph); err != nil {
			return err
		}
		at := s.stamp()
		res, err := tx.Exec(`INSERT INTO measurements (photo, what, version, status, kind, label, system, per_inch, u, confidence,
			length_in, reason, advice, result, evidence, at) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?) ON CONFLICT DO NOTHING`,
			m.Photo, m.What, m.Version, m.Status, m.Kind, m.Size.Label, m.Size.System, null(m.Size.PerInch), null(m.U), null(m.Confidence),
			null(m.LengthIn), m.Reason, m.Advice, result, evidence, at)
		if err != nil {
			return err
		}
		n, err := res.RowsAffected()
		if err != nil {
			return err
		}
		isNew = n > 0
		if !isNew {
			return nil
		}
		if len(m.Picture) > 0 {
			if _, err := tx.Exec(`INSERT INTO pictures (photo, what, version, jpeg) VALUES (?,?,?,?)`, m.Photo, m.What, m.Version, m.Picture); err != nil {
				return err
			}
		}
		var part string
		if err := tx.QueryRow(`SELECT coalesce(part_id,'') FROM photos WHERE sha256 = ?`, ph.SHA256).Scan(&part); err != nil || part == "" {
			return err
		}
		return believe(tx, ID(part))
	})
	return isNew, err
}

// SeePhoto notes where a photo is now, without a measurement.
func (s *Shelf) SeePhoto(ctx context.Context, ph Photo) error {
	if err := checkPhoto(ph); err != nil {
		return err
	}
	return s.write(ctx, func(tx *sql.Tx) error { return s.seePhoto(tx, ph) })
}

func checkPhoto(ph Photo) error {
	if b, err := hex.DecodeString(ph.SHA256); err != nil || len(b) != 32 {
		return badValue("", "%q is not a SHA-256 digest", ph.SHA256)
	}
	return checkText("photo", ph.Path, string(ph.Tag))
}

// seePhoto inserts the photo or brings its place up to date. A part or tag
// that is known stays unless a new one is given.
func (s *Shelf) seePhoto(tx *sql.Tx, ph Photo) error {
	_, err := tx.Exec(`INSERT INTO photos (sha256, path, bytes, part_id, tag, seen_at) VALUES (?,?,?,nullif(?,''),?,?)
		ON CONFLICT (sha256) DO UPDATE SET path = excluded.path,
			part_id = coalesce(excluded.part_id, part_id),
			tag = CASE WHEN excluded.tag <> '' THEN excluded.tag ELSE tag END,
			seen_at = excluded.seen_at
		WHERE path <> excluded.path OR excluded.part_id IS NOT NULL OR excluded.tag <> ''`,
		ph.SHA256, ph.Path, ph.Bytes, string(ph.Part), string(ph.Tag), s.stamp())
	return err
}

// Measured finds what a version of the measuring said of a photo, without its
// picture; ok is false where it has not measured it yet.
func (s *Shelf) Measured(ctx context.Context, sha256, what, version string) (m Measurement, ok bool, err error) {
	row := s.reader(ctx).QueryRow(`SELECT `+measurementColumns+` FROM measurements m WHERE m.photo = ? AND m.what = ? AND m.version = ?`, sha256, what, version)
	m, err = scanMeasurement(row.Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return Measurement{}, false, nil
	}
	return m, err == nil, s.explain(err)
}

// Photo finds a photo by its digest; ok is false where it was never seen.
func (s *Shelf) Photo(ctx context.Context, sha256 string) (ph Photo, ok bool, err error) {
	var seen int64
	err = s.reader(ctx).QueryRow(`SELECT sha256, path, bytes, coalesce(part_id,''), tag, seen_at FROM photos WHERE sha256 = ?`, sha256).
		Scan(&ph.SHA256, &ph.Path, &ph.Bytes, &ph.Part, &ph.Tag, &seen)
	if errors.Is(err, sql.ErrNoRows) {
		return Photo{}, false, nil
	}
	ph.SeenAt = fromStamp(seen)
	return ph, err == nil, s.explain(err)
}

// Picture gives the small annotated JPEG of a measurement; nil where none was kept.
func (s *Shelf) Picture(ctx context.Context, m Measurement) ([]byte, error) {
	var jpeg []byte
	err := s.reader(ctx).QueryRow(`SELECT jpeg FROM pictures WHERE photo = ? AND what = ? AND version = ?`, m.Photo, m.What, m.Version).Scan(&jpeg)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	return jpeg, s.explain(err)
}

// Evidence gives the photos of a part and the newest measurements in them,
// both ordered by path.
func (s *Shelf) Evidence(ctx context.Context, id ID) ([]Photo, []Measurement, error) {
	q := s.reader(ctx)
	rows, err := q.Query(`SELECT sha256, path, bytes, tag, seen_at FROM photos WHERE part_id = ? ORDER BY path, sha256`, string(id))
	if err != nil {
		return nil, nil, s.explain(err)
	}
	defer rows.Close()
	var photos []Photo
	for rows.Next() {
		ph := Photo{Part: id}
		var seen int64
		if err := rows.Scan(&ph.SHA256, &ph.Path, &ph.Bytes, &ph.Tag, &seen); err != nil {
			return nil, nil, s.explain(err)
		}
		ph.SeenAt = fromStamp(seen)
		photos = append(photos, ph)
	}
	if err := rows.Err(); err != nil {
		return nil, nil, s.explain(err)
	}
	ss, err := newestMeasurements(q, id)
	if err != nil {
		return nil, nil, s.explain(err)
	}
	var ms []Measurement
	for _, x := range ss {
		ms = append(ms, x.Measurement)
	}
	return photos, ms, nil
}

// Group is what a sorted folder says: these photos show one part.
type Group struct {
	Name   string   // what the part is called where it is new
	Origin string   // how the group came about
	Kind   string   // what it is, where it is new; "" where nobody could tell
	Tag    ID       // id read from a tag in one of the pictures; may be ""
	Photos []string // SHA256, in the folder's order; at least one
}

// Assign gives each group its part, all in one transaction, and returns the
// parts' ids in the order of the groups. The tag's id is taken where there is
// one, else the part that a photo of the group already has, else a new part
// with an id that follows from the first photo: the same folder gives the
// same ids on every machine. Photos that a group claims leave the part they
// were with before; a part that loses its last photo this way and carries
// nobody's word is taken off the shelf again.
func (s *Shelf) Assign(ctx context.Context, groups []Group) ([]ID, error) {
	var ids []ID
	err := s.write(ctx, func(tx *sql.Tx) error {
		ids = make([]ID, len(groups))
		claimed := map[ID]bool{}
		touched := map[ID]bool{}
		// Tags first: they are the surest and must not be taken by others.
		for i, g := range groups {
			if g.Tag != "" {
				ids[i] = g.Tag
				claimed[g.Tag] = true
			}
		}
		for i, g := range groups {
			if len(g.Photos) == 0 {
				return badValue("", "a group without photos")
			}
			for _, sha := range g.Photos {
				var part string
				err := tx.QueryRow(`SELECT coalesce(part_id,'') FROM photos WHERE sha256 = ?`, sha).Scan(&part)
				if err != nil {
					return fmt.Errorf("photo %.12s: %w", sha, err)
				}
				if part == "" {
					continue
				}
				touched[ID(part)] = true
				if ids[i] == "" && !claimed[ID(part)] {
					ids[i] = ID(part)
					claimed[ID(part)] = true
				}
			}
		}
		for i, g := range groups {
			if err := s.assign(tx, g, &ids[i]); err != nil {
				return err
			}
			touched[ids[i]] = true
		}
		for id := range touched {
			if err := believe(tx, id); err != nil {
				return err
			}
			if err := dropIfBare(tx, id); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return ids, nil
}

func (s *Shelf) assign(tx *sql.Tx, g Group, id *ID) error {
	there := false
	var err error
	if *id != "" {
		if there, err = isPart(tx, *id); err != nil {
			return err
		}
	}
	for attempt := 0; *id == ""; attempt++ {
		candidate := DerivedID(g.Photos[0], attempt)
		taken, err := isTaken(tx, candidate)
		if err != nil {
			return err
		}
		if !taken {
			*id = candidate
		}
	}
	kind := orElse(g.Kind, kindUnknown)
	if !there {
		if _, err := s.addPart(tx, Part{ID: *id, Kind: kind, Name: g.Name, Origin: g.Origin}, nil); err != nil {
			return err
		}
	} else if kind != kindUnknown {
		// Photos that could not tell what it is may have been joined by some that can.
		if _, err := tx.Exec(`UPDATE parts SET kind_added = ? WHERE id = ? AND kind_added = ?`, kind, string(*id), kindUnknown); err != nil {
			return err
		}
	}
	for _, sha := range g.Photos {
		if _, err := tx.Exec(`UPDATE photos SET part_id = ? WHERE sha256 = ?`, string(*id), sha); err != nil {
			return err
		}
	}
	return nil
}

// dropIfBare takes a part off the shelf that has no photo, no word of a
// person, no place in an order and no description of its own.
func dropIfBare(tx *sql.Tx, id ID) error {
	_, err := tx.Exec(`DELETE FROM parts WHERE id = ?1 AND origin <> '' AND place = '' AND note = ''
		AND NOT EXISTS (SELECT 1 FROM photos WHERE part_id = ?1)
		AND NOT EXISTS (SELECT 1 FROM decisions WHERE part_id = ?1)
		AND NOT EXISTS (SELECT 1 FROM order_lines WHERE part_id = ?1)`, string(id))
	return err
}

// kindUnknown is the kind of a part of which no photo could tell what it is.
const kindUnknown = "part"

func newUID() (string, error) {
	var b [12]byte
	if _, err := rand.Read(b[:]); err != nil {
		return "", err
	}
	return hex.EncodeToString(b[:]), nil
}
