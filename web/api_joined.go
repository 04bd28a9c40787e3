package web

import (
	"context"
	"net/http"

	"dentcount/measure"
)

// maxShots is how many photos one length may be put together from.
const maxShots = 12

// joinedFacts ask for one length over several photos along one tape.
type joinedFacts struct {
	lengthFacts
	Photos  []string     `json:"photos"` // in order along the tape
	Numbers []tapeNumber `json:"numbers,omitempty"`
}

// tapeNumber is a number that a person reads off the tape.
type tapeNumber struct {
	Photo  int           `json:"photo"` // which of the photos, from 1
	At     measure.Point `json:"at"`
	Number int           `json:"number"`
}

// shotJSON is what was read in one of the photos of a joined length.
type shotJSON struct {
	Photo    string            `json:"photo"`
	Ruler    *measure.Ruler    `json:"ruler,omitempty"` // its marks counted on from the first photo
	Evidence *measure.Evidence `json:"evidence,omitempty"`
	Line     []measure.Point   `json:"line,omitempty"` // of the length in this photo
	Ends     [2]bool           `json:"ends"`           // which of the line's points is an end
}

// joined measures one length over several photos that are held.
func (s *Server) joined(w http.ResponseWriter, r *http.Request) error {
	var f joinedFacts
	if err := readJSON(w, r, &f); err != nil {
		return err
	}
	opt, err := f.options()
	if err != nil {
		return err
	}
	switch {
	case len(f.Photos) < 2:
		return bad(http.StatusUnprocessableEntity, "a joined length needs two photos or more", "name them in order along the tape")
	case len(f.Photos) > maxShots:
		return bad(http.StatusUnprocessableEntity, "too many photos for one length", "take them from a little farther off")
	}
	var hs []*held
	var shots []measure.Shot
	for i, id := range f.Photos {
		h, err := s.photos.get(id)
		if err != nil {
			return err
		}
		if err := h.ready(); err != nil {
			return err
		}
		for _, other := range f.Photos[:i] {
			if other == id {
				return bad(http.StatusUnprocessableEntity, "one photo is named twice", "name different photos, in order along the tape")
			}
		}
		hs, shots = append(hs, h), append(shots, h.shot())
	}
	var numbers []measure.TapeNumber
	for _, n := range f.Numbers {
		numbers = append(numbers, measure.TapeNumber{Shot: n.Photo - 1, At: n.At, Number: n.Number})
	}
	within(w, answerWithin)
	result, err := s.lengthInTurn(r.Context(), func(ctx context.Context) (measure.LengthResult, error) {
		return measure.JoinedKept(ctx, shots, numbers, opt)
	})
	if err != nil {
		return err
	}
	var out measuredLengthJSON
	for i, j := range result.Joined {
		x := shotJSON{Photo: f.Photos[i], Ruler: j.Ruler, Evidence: j.Evidence, Ends: j.Ends}
		if result.Length != nil {
			x.Line = j.Line[:]
		}
		out.Shots = append(out.Shots, x)
	}
	return s.sendLength(w, r, out, result, hs[0], opt, f.Keep)
}
