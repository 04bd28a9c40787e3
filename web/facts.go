package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"regexp"
	"strconv"

	"dentcount/measure"
	"dentcount/report"
)

// factsJSON are all facts that a person gives of a photo. What is left out is
// not told.
type factsJSON struct {
	Part        string          `json:"part,omitempty"`
	Unit        string          `json:"unit,omitempty"`
	ThicknessMM float64         `json:"ruler_thickness_mm,omitempty"`
	DistanceMM  float64         `json:"camera_distance_mm,omitempty"`
	Scale       *scaleJSON      `json:"scale,omitempty"`
	Add         []measure.Point `json:"add,omitempty"`
	Drop        []measure.Point `json:"drop,omitempty"`
}

// scaleJSON are two points of the ruler and their distance.
type scaleJSON struct {
	At [2]measure.Point `json:"at"`
	In lengthIn         `json:"in"`
}

// The bounds of what may be said of ruler and camera, as the command has them.
const (
	minThicknessMM, maxThicknessMM = 0.01, 30
	minDistanceMM, maxDistanceMM   = 30, 10_000
	maxTaps                        = 2000
)

func (f factsJSON) options() (measure.Options, error) {
	o := measure.Options{Part: measure.Part(f.Part), Unit: f.Unit, RulerThicknessMM: f.ThicknessMM, CameraDistanceMM: f.DistanceMM}
	wrong := func(title, advice string) (measure.Options, error) {
		return measure.Options{}, bad(http.StatusUnprocessableEntity, title, advice)
	}
	switch {
	case o.Part != "" && o.Part != measure.Reed && o.Part != measure.RigidHeddle:
		return wrong("there is no such part", "say reed or rigid-heddle, or nothing")
	case f.Unit != "" && f.Unit != "in" && f.Unit != "cm":
		return wrong("there is no such unit", "say in or cm, or nothing")
	case f.ThicknessMM != 0 && !(f.ThicknessMM >= minThicknessMM && f.ThicknessMM <= maxThicknessMM):
		return wrong("no ruler is that thick", fmt.Sprintf("give millimetres from %g to %d; a printed paper scale is about 0.1", minThicknessMM, maxThicknessMM))
	case f.DistanceMM != 0 && !(f.DistanceMM >= minDistanceMM && f.DistanceMM <= maxDistanceMM):
		return wrong("no camera is that far away", fmt.Sprintf("give millimetres from %d to %d", minDistanceMM, maxDistanceMM))
	case len(f.Add)+len(f.Drop) > maxTaps:
		return wrong("too many bands are set by hand", fmt.Sprintf("set at most %d", maxTaps))
	}
	if f.Scale != nil {
		if !(f.Scale.In > 0) {
			return wrong("the distance of the two points is missing", "say how far apart they are on the ruler")
		}
		o.Hand.ScaleAt, o.Hand.ScaleIn = f.Scale.At, float64(f.Scale.In)
	}
	o.Hand.AddBands, o.Hand.DropBands = f.Add, f.Drop
	return o, nil
}

func factsOf(o measure.Options) factsJSON {
	f := factsJSON{Part: string(o.Part), Unit: o.Unit, ThicknessMM: o.RulerThicknessMM, DistanceMM: o.CameraDistanceMM, Add: o.Hand.AddBands, Drop: o.Hand.DropBands}
	if o.Hand.ScaleIn > 0 {
		f.Scale = &scaleJSON{o.Hand.ScaleAt, lengthIn(o.Hand.ScaleIn)}
	}
	return f
}

// factsFromQuery are the facts that come with the photo.
func factsFromQuery(r *http.Request) (measure.Options, error) {
	q := r.URL.Query()
	f := factsJSON{Part: q.Get("part"), Unit: q.Get("unit")}
	for _, x := range []struct {
		name string
		to   *float64
	}{{"ruler_thickness_mm", &f.ThicknessMM}, {"camera_distance_mm", &f.DistanceMM}} {
		text := q.Get(x.name)
		if text == "" {
			continue
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || v == 0 || v != v {
			return measure.Options{}, bad(http.StatusUnprocessableEntity, x.name+" is no number of millimetres", "give one such as 1.5")
		}
		*x.to = v
	}
	return f.options()
}

// photoJSON is a photo on the page.
type photoJSON struct {
	ID       string            `json:"id"`
	Name     string            `json:"name"`
	State    string            `json:"state"`
	Ahead    int               `json:"ahead"` // photos before it in the queue
	Facts    factsJSON         `json:"facts"`
	Problem  *problem          `json:"problem,omitempty"`
	Result   json.RawMessage   `json:"result,omitempty"` // as measure --json prints it
	Words    *wordsJSON        `json:"words,omitempty"`
	Evidence *measure.Evidence `json:"evidence,omitempty"`
	Tag      string            `json:"tag,omitempty"`
	Part     string            `json:"part_id,omitempty"` // where it was kept
}

// wordsJSON is the answer in words.
type wordsJSON struct {
	Head   string `json:"head"`
	Detail string `json:"detail"`
	Sure   string `json:"sure"`
	Why    string `json:"why"`
	Do     string `json:"do"`
}

// flags are what a sentence says in brackets for the command line.
var flags = regexp.MustCompile(` \(--[^)]*\)`)

// onPage is a sentence without what is for the command line.
func onPage(s string) string { return flags.ReplaceAllString(s, "") }

func allOnPage(ss []string) []string {
	out := make([]string, len(ss))
	for i, s := range ss {
		out[i] = onPage(s)
	}
	return out
}

func wordsOf(r measure.Result) *wordsJSON {
	w := report.Words(r)
	return &wordsJSON{Head: w.Head, Detail: w.Detail, Sure: w.Sure, Why: w.Why, Do: onPage(w.Do)}
}

// sendPhoto answers with a photo as it stands.
func (s *Server) sendPhoto(w http.ResponseWriter, status int, h *held) error {
	ahead, waiting := s.queue.ahead(h.job)
	h.mu.Lock()
	out := photoJSON{ID: h.id, Name: h.name, Facts: factsOf(h.facts), Problem: h.problem, Tag: h.tag.ID().String(), Part: h.part.String()}
	result := h.result
	h.mu.Unlock()
	switch {
	case out.Problem != nil:
		out.State = stateFailed
	case result != nil:
		out.State = stateDone
	case waiting:
		out.State, out.Ahead = stateWaiting, ahead
	default:
		out.State = stateMeasuring
	}
	if result != nil {
		shown := *result
		shown.Advice, shown.Warnings = onPage(shown.Advice), allOnPage(shown.Warnings)
		var b bytes.Buffer
		if err := report.JSON(&b, shown); err != nil {
			return err
		}
		out.Result, out.Words, out.Evidence = b.Bytes(), wordsOf(shown), shown.Evidence
	}
	return sendJSON(w, status, out)
}
