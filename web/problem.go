package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
	"dentcount/shelf"
	"dentcount/trade"
)

// problem is what went wrong and what to do, in the form of RFC 9457; advice is
// this project's own member.
type problem struct {
	Status int    `json:"status"`
	Title  string `json:"title"`
	Advice string `json:"advice,omitempty"`
}

func (p *problem) Error() string { return p.Title }

func bad(status int, title, advice string) *problem { return &problem{status, title, advice} }

// asProblem puts an error into words and a status. What is no fault of the
// request is said to be ours, without its inside.
func asProblem(err error) *problem {
	var p *problem
	var ph *photo.Error
	var sh *shelf.Error
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &p):
		return p
	case errors.As(err, &ph):
		status := http.StatusUnprocessableEntity
		switch {
		case errors.Is(err, photo.ErrFileTooBig), errors.Is(err, photo.ErrTooManyPx):
			status = http.StatusRequestEntityTooLarge
		case errors.Is(err, photo.ErrUnsupported):
			status = http.StatusUnsupportedMediaType
		}
		return bad(status, ph.Problem, ph.Advice)
	case errors.As(err, &sh):
		title, advice := sh.AdviceText()
		status := http.StatusInternalServerError
		switch {
		case errors.Is(err, shelf.ErrNoPart), errors.Is(err, shelf.ErrNoLoom), errors.Is(err, shelf.ErrNoOrder):
			status = http.StatusNotFound
		case errors.Is(err, shelf.ErrConflict), errors.Is(err, shelf.ErrExists):
			status = http.StatusConflict
		case errors.Is(err, shelf.ErrBadValue):
			status = http.StatusUnprocessableEntity
		case errors.Is(err, shelf.ErrBusy):
			status = http.StatusServiceUnavailable
		}
		return bad(status, title, advice)
	case errors.As(err, &tooLarge):
		return bad(http.StatusRequestEntityTooLarge, "what was sent is too large", "send less at once")
	case errors.Is(err, measure.ErrHand), errors.Is(err, shelf.ErrID):
		return bad(http.StatusUnprocessableEntity, err.Error(), "")
	}
	if q, ok := trade.AsQuestion(err); ok {
		if q.Problem == "" {
			return bad(http.StatusUnprocessableEntity, q.Ask, "")
		}
		return bad(http.StatusUnprocessableEntity, q.Problem, q.Ask)
	}
	return nil
}

// fail answers with a problem.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, err error) {
	p := asProblem(err)
	if p == nil {
		if r.Context().Err() != nil {
			return // nobody is there to be told
		}
		s.log.Printf("%s %s: %v", r.Method, r.URL.Path, err)
		p = bad(http.StatusInternalServerError, "dentcount itself failed on this", "try again; if it stays, report it with what the terminal says")
	}
	w.Header().Set("Cache-Control", "no-store")
	if r.Header.Get("Sec-Fetch-Mode") == "navigate" {
		// A person sees it in the browser's window.
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		w.WriteHeader(p.Status)
		fmt.Fprintln(w, report.Sentences("dentcount: "+p.Title, p.Advice))
		return
	}
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(p.Status)
	json.NewEncoder(w).Encode(p)
}

// handle turns a function that returns an error into a handler.
func (s *Server) handle(f func(http.ResponseWriter, *http.Request) error) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			if v := recover(); v != nil {
				if v == http.ErrAbortHandler {
					panic(v)
				}
				s.log.Printf("%s %s: panic: %v", r.Method, r.URL.Path, v)
				s.fail(w, r, bad(http.StatusInternalServerError, "dentcount itself failed on this", "report it with what was asked for"))
			}
		}()
		if err := f(w, r); err != nil {
			s.fail(w, r, err)
		}
	})
}

// maxJSONBytes bounds a request that is no photo.
const maxJSONBytes = 64 << 10

// readJSON reads a request's object strictly: what is not known is an error.
func readJSON(w http.ResponseWriter, r *http.Request, into any) error {
	if t := r.Header.Get("Content-Type"); t != "application/json" {
		return bad(http.StatusUnsupportedMediaType, "the request is not application/json", "send JSON and say so in Content-Type")
	}
	d := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxJSONBytes))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		var tooLarge *http.MaxBytesError
		if p := asProblem(err); p != nil && !errors.As(err, &tooLarge) {
			return p
		} else if errors.As(err, &tooLarge) {
			return err
		}
		return bad(http.StatusBadRequest, "the request cannot be read: "+err.Error(), "see /api/v1/openapi.yaml")
	}
	if d.More() {
		return bad(http.StatusBadRequest, "there is more than one object in the request", "send one")
	}
	return nil
}

// sendJSON answers with v.
func sendJSON(w http.ResponseWriter, status int, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, err = w.Write(b)
	return err
}
