package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"runtime/debug"
	"strings"

	"dentcount/box"
	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
)

// lengthFacts say which length is asked for and what a person knows of it.
type lengthFacts struct {
	What         string            `json:"what"`
	Ends         *[2]measure.Point `json:"ends,omitempty"`
	Unit         string            `json:"unit,omitempty"`
	ThicknessMM  float64           `json:"ruler_thickness_mm,omitempty"`
	MarksAboveMM *float64          `json:"marks_above_mm,omitempty"`
	DistanceMM   float64           `json:"camera_distance_mm,omitempty"`
	Keep         bool              `json:"keep,omitempty"` // on the shelf, with the part of this photo
}

func (f lengthFacts) options() (measure.LengthOptions, error) {
	shared, err := factsJSON{Unit: f.Unit, ThicknessMM: f.ThicknessMM, DistanceMM: f.DistanceMM}.options()
	if err != nil {
		return measure.LengthOptions{}, err
	}
	const most = 100
	if m := f.MarksAboveMM; m != nil && !(*m >= -most && *m <= most) {
		return measure.LengthOptions{}, bad(http.StatusUnprocessableEntity, "the marks are not that far from the ends", fmt.Sprintf("give millimetres from -%d to %d", most, most))
	}
	return measure.LengthOptions{What: measure.What(f.What), Ends: f.Ends, Unit: shared.Unit, RulerThicknessMM: shared.RulerThicknessMM,
		CameraDistanceMM: shared.CameraDistanceMM, MarksAboveMM: f.MarksAboveMM}, nil
}

// measuredLengthJSON is the answer about a length in a photo.
type measuredLengthJSON struct {
	Result   json.RawMessage   `json:"result"` // as length --json prints it
	Words    *wordsJSON        `json:"words"`
	Evidence *measure.Evidence `json:"evidence,omitempty"`
	Shots    []shotJSON        `json:"shots,omitempty"`   // of a length over several photos
	Part     string            `json:"part_id,omitempty"` // where it was kept
}

// length measures a length in a photo that is held.
func (s *Server) length(w http.ResponseWriter, r *http.Request) error {
	h, err := s.measured(r)
	if err != nil {
		return err
	}
	var f lengthFacts
	if err := readJSON(w, r, &f); err != nil {
		return err
	}
	opt, err := f.options()
	if err != nil {
		return err
	}
	shot := h.shot()
	within(w, answerWithin)
	result, err := s.lengthInTurn(r.Context(), func(ctx context.Context) (measure.LengthResult, error) {
		return shot.Kept.Length(ctx, opt, shot.Colour)
	})
	if err != nil {
		return err
	}
	out := measuredLengthJSON{Evidence: result.Evidence}
	return s.sendLength(w, r, out, result, h, opt, f.Keep)
}

// shot is what a length is measured in.
func (h *held) shot() measure.Shot {
	h.mu.Lock()
	defer h.mu.Unlock()
	name, view := h.name, h.jpeg
	return measure.Shot{Kept: h.kept, Colour: func() (photo.Colour, error) {
		p, err := photo.Decode(name, view)
		if err != nil {
			return photo.Colour{}, err
		}
		defer p.Close()
		return p.Colour()
	}}
}

// lengthInTurn measures a length when its turn in the queue has come.
func (s *Server) lengthInTurn(ctx context.Context, run func(context.Context) (measure.LengthResult, error)) (result measure.LengthResult, err error) {
	j := s.queue.add(ctx, true, func(ctx context.Context) {
		defer func() {
			if v := recover(); v != nil {
				err = fmt.Errorf("panic: %v\n%s", v, debug.Stack())
			}
		}()
		result, err = run(ctx)
	})
	<-j.done
	if ctx.Err() != nil {
		return result, ctx.Err()
	}
	if errors.Is(err, measure.ErrLengthOptions) {
		what := onPage(strings.TrimPrefix(err.Error(), measure.ErrLengthOptions.Error()+": "))
		return result, bad(http.StatusUnprocessableEntity, what, "see /api/v1/openapi.yaml for what can be asked")
	}
	return result, err
}

// sendLength answers with a length, and keeps it with the part of h where it is
// asked to.
func (s *Server) sendLength(w http.ResponseWriter, r *http.Request, out measuredLengthJSON, result measure.LengthResult, h *held, opt measure.LengthOptions, keep bool) error {
	result.Advice, result.Warnings = onPage(result.Advice), allOnPage(result.Warnings)
	words := report.LengthWords(result)
	out.Words = &wordsJSON{words.Head, words.Detail, words.Sure, words.Why, words.Do}
	if keep {
		if result.Length == nil {
			return bad(http.StatusConflict, "there is no length to keep", "set the two ends by hand first")
		}
		var err error
		if out.Part, err = s.keepLength(r.Context(), h, result, opt); err != nil {
			return err
		}
	}
	var b bytes.Buffer
	if err := report.LengthJSON(&b, result); err != nil {
		return err
	}
	out.Result = b.Bytes()
	return sendJSON(w, http.StatusOK, out)
}

// keepLength records a length on the shelf, after its photo.
func (s *Server) keepLength(ctx context.Context, h *held, r measure.LengthResult, opt measure.LengthOptions) (partID string, err error) {
	it, err := h.item()
	if err != nil {
		return "", err
	}
	parts, err := box.Keep(ctx, s.shelf, []box.Item{it}, box.Apart)
	if err != nil {
		return "", err
	}
	h.mu.Lock()
	h.part = parts[0].ID
	h.mu.Unlock()
	return parts[0].ID.String(), box.KeepLength(ctx, s.shelf, it, r, opt)
}

// item is what the shelf keeps of a measured photo.
func (h *held) item() (box.Item, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.result == nil {
		return box.Item{}, bad(http.StatusConflict, fmt.Sprintf("%s has no answer to keep", report.Printable(h.name)), "wait for it, or leave it out")
	}
	view, name := h.jpeg, h.name
	return box.Item{Name: name, SHA256: h.sha256, Bytes: h.bytes, Tag: h.tag, Result: *h.result, Version: version, Facts: h.facts,
		Picture: func() (*photo.Photo, error) { return photo.Decode(name, view) }}, nil
}
