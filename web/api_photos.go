package web

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image/jpeg"
	"io"
	"net/http"
	"runtime/debug"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"dentcount/box"
	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
	"dentcount/shelf"
)

// viewQuality is the JPEG quality of the picture that the page shows; nothing is
// measured in it.
const viewQuality = 88

// receive takes a photo in and puts it into the queue. The file is read whole
// before its turn, so that a slow line keeps no core waiting, and is let go of
// as soon as it is decoded.
func (s *Server) receive(w http.ResponseWriter, r *http.Request) error {
	name, err := photoName(r.URL.Query().Get("name"))
	if err != nil {
		return err
	}
	facts, err := factsFromQuery(r)
	if err != nil {
		return err
	}
	wait, err := waitOf(r)
	if err != nil {
		return err
	}
	n := r.ContentLength
	switch {
	case n < 0:
		return bad(http.StatusLengthRequired, "the length of the photo is not said", "send Content-Length")
	case n > s.set.Limits.MaxBytes:
		return bad(http.StatusRequestEntityTooLarge, fmt.Sprintf("the photo is over %d MiB", s.set.Limits.MaxBytes>>20), "send it as JPEG or HEIC, as the phone takes it")
	case n == 0:
		return bad(http.StatusUnprocessableEntity, "the photo is empty", "choose the photo again")
	}
	release, err := s.photos.reserve(n)
	if err != nil {
		w.Header().Set("Retry-After", "3")
		return err
	}
	within(w, s.set.UploadWithin+wait)
	data := make([]byte, n)
	if _, err := io.ReadFull(http.MaxBytesReader(w, r.Body, n), data); err != nil {
		release()
		return bad(http.StatusBadRequest, "the photo did not arrive whole", "send it again")
	}
	ctx, cancel := context.WithCancel(context.Background())
	h := &held{id: newID(), name: name, cancel: cancel, facts: facts, bytes: n}
	context.AfterFunc(ctx, release)
	h.job = s.queue.add(ctx, false, func(ctx context.Context) {
		s.measure(ctx, h, data)
		data = nil
		release()
	})
	s.photos.add(h)
	waitFor(r, h.job.done, wait)
	w.Header().Set("Location", apiRoot+"/photos/"+h.id)
	return s.sendPhoto(w, http.StatusCreated, h)
}

// maxNameBytes bounds the name that a photo's owner gives it.
const maxNameBytes = 200

// photoName is the name under which a photo is shown. It names nothing on this
// machine: no file is opened or made by it.
func photoName(s string) (string, error) {
	if !utf8.ValidString(s) || strings.ContainsRune(s, 0) || len(s) > maxNameBytes {
		return "", bad(http.StatusUnprocessableEntity, "the photo's name cannot be used", fmt.Sprintf("give a name of at most %d bytes of UTF-8", maxNameBytes))
	}
	if s = strings.TrimSpace(s); s == "" {
		return "photo", nil
	}
	return s, nil
}

// waitOf is how long a request wants to wait for the answer.
func waitOf(r *http.Request) (time.Duration, error) {
	text := r.URL.Query().Get("wait")
	if text == "" {
		return 0, nil
	}
	const most = 60
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 || n > most {
		return 0, bad(http.StatusBadRequest, fmt.Sprintf("wait=%q is no number of seconds from 0 to %d", text, most), "ask again after the wait")
	}
	return time.Duration(n) * time.Second, nil
}

func waitFor(r *http.Request, done <-chan struct{}, d time.Duration) {
	if d == 0 {
		return
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-done:
	case <-t.C:
	case <-r.Context().Done():
	}
}

// measure decodes a photo, measures it and keeps what the page needs of it.
func (s *Server) measure(ctx context.Context, h *held, data []byte) {
	if err := s.measureInto(ctx, h, data); err != nil && ctx.Err() == nil {
		p := asProblem(err)
		if p == nil {
			s.log.Printf("measuring a photo: %v", err)
			p = bad(http.StatusInternalServerError, "dentcount itself failed on this photo", "try another photo, and report this one")
		}
		h.mu.Lock()
		h.problem = p
		h.mu.Unlock()
	}
	s.photos.trim()
}

func (s *Server) measureInto(ctx context.Context, h *held, data []byte) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("panic: %v\n%s", v, debug.Stack())
		}
	}()
	p, err := s.set.Limits.Decode(h.name, data)
	if err != nil {
		return err
	}
	defer p.Close()
	view, err := p.JPEG(viewQuality)
	if err != nil {
		return err
	}
	h.mu.Lock()
	facts := h.facts
	h.mu.Unlock()
	tag := box.ReadTag(p)
	var kept *measure.Kept
	r, err := tag.Measure(p, func() (measure.Result, error) {
		var err error
		if kept, err = measure.Keep(p); err != nil {
			return measure.Result{}, err
		}
		return readKept(ctx, kept, facts)
	})
	if err != nil {
		return err
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.kept, h.jpeg, h.sha256, h.tag, h.result = kept, view, p.SHA256, tag, &r
	return nil
}

// readKept measures what is held with these facts.
func readKept(ctx context.Context, kept *measure.Kept, facts measure.Options) (measure.Result, error) {
	start := time.Now()
	read, err := kept.Read(ctx, facts)
	if err != nil {
		return measure.Result{}, err
	}
	r := read.Answer(facts)
	r.TookMS = time.Since(start).Milliseconds()
	return r, nil
}

// answer measures what is held anew.
func (h *held) answer(ctx context.Context, facts measure.Options) error {
	h.mu.Lock()
	kept, tag := h.kept, h.tag
	h.mu.Unlock()
	r, err := readKept(ctx, kept, facts)
	if err != nil {
		return err
	}
	tag.Check(&r)
	h.mu.Lock()
	defer h.mu.Unlock()
	h.facts, h.result = facts, &r
	return nil
}

// photoOf finds the photo that a request names.
func (s *Server) photoOf(r *http.Request) (*held, error) { return s.photos.get(r.PathValue("id")) }

// measured finds the photo that a request names, which must have an answer.
func (s *Server) measured(r *http.Request) (*held, error) {
	h, err := s.photoOf(r)
	if err != nil {
		return nil, err
	}
	return h, h.ready()
}

// ready is what keeps a photo from being looked at again.
func (h *held) ready() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	switch {
	case h.problem != nil:
		return h.problem
	case h.result == nil:
		return bad(http.StatusConflict, "this photo is not measured yet", "ask again in a moment")
	}
	return nil
}

func (s *Server) showPhoto(w http.ResponseWriter, r *http.Request) error {
	h, err := s.photoOf(r)
	if err != nil {
		return err
	}
	wait, err := waitOf(r)
	if err != nil {
		return err
	}
	within(w, answerWithin)
	waitFor(r, h.job.done, wait)
	return s.sendPhoto(w, http.StatusOK, h)
}

func (s *Server) dropPhoto(w http.ResponseWriter, r *http.Request) error {
	s.photos.drop(r.PathValue("id"))
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// mend answers a photo anew with the facts that a person gives.
func (s *Server) mend(w http.ResponseWriter, r *http.Request) error {
	h, err := s.measured(r)
	if err != nil {
		return err
	}
	var f factsJSON
	if err := readJSON(w, r, &f); err != nil {
		return err
	}
	facts, err := f.options()
	if err != nil {
		return err
	}
	within(w, answerWithin)
	j := s.queue.add(r.Context(), true, func(ctx context.Context) {
		defer func() {
			if v := recover(); v != nil {
				err = fmt.Errorf("panic: %v\n%s", v, debug.Stack())
			}
		}()
		err = h.answer(ctx, facts)
	})
	<-j.done
	if r.Context().Err() != nil {
		return r.Context().Err()
	}
	if err != nil {
		return err
	}
	return s.sendPhoto(w, http.StatusOK, h)
}

// picture is the photo, upright, as JPEG.
func (s *Server) picture(w http.ResponseWriter, r *http.Request) error {
	h, err := s.photoOf(r)
	if err != nil {
		return err
	}
	h.mu.Lock()
	view := h.jpeg
	h.mu.Unlock()
	if view == nil {
		return bad(http.StatusConflict, "this photo is not decoded yet", "ask again in a moment")
	}
	return sendBytes(w, "image/jpeg", "", view)
}

// overlay is the photo with the evidence drawn in, as JPEG.
func (s *Server) overlay(w http.ResponseWriter, r *http.Request) error {
	h, err := s.measured(r)
	if err != nil {
		return err
	}
	h.mu.Lock()
	view, result := h.jpeg, *h.result
	h.mu.Unlock()
	p, err := photo.Decode(h.name, view)
	if err != nil {
		return err
	}
	defer p.Close()
	img, err := report.Overlay(p, result)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 88}); err != nil {
		return err
	}
	return sendBytes(w, "image/jpeg", "", b.Bytes())
}

// keep puts photos on the shelf: those of one part together.
func (s *Server) keep(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		Photos []string `json:"photos"`
		Group  string   `json:"group"` // "name" or "none"
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	by := box.GroupBy(in.Group)
	switch {
	case in.Group == "":
		by = box.Apart
	case by != box.ByName && by != box.Apart:
		return bad(http.StatusUnprocessableEntity, "photos are grouped by name or none", "leave group out to take each for a part of its own")
	case len(in.Photos) > 500:
		return bad(http.StatusUnprocessableEntity, "too many photos at once", "keep at most 500 at once")
	}
	if len(in.Photos) == 0 {
		return bad(http.StatusUnprocessableEntity, "no photo is named", "name at least one")
	}
	var hs []*held
	var items []box.Item
	for _, id := range in.Photos {
		h, err := s.photos.get(id)
		if err != nil {
			return err
		}
		it, err := h.item()
		if err != nil {
			return err
		}
		items = append(items, it)
		hs = append(hs, h)
	}
	parts, err := box.Keep(r.Context(), s.shelf, items, by)
	if err != nil {
		return err
	}
	out := []partJSON{}
	seen := map[shelf.ID]bool{}
	for i, p := range parts {
		hs[i].mu.Lock()
		hs[i].part = p.ID
		hs[i].mu.Unlock()
		if !seen[p.ID] {
			seen[p.ID] = true
			out = append(out, partOf(p))
		}
	}
	return sendJSON(w, http.StatusCreated, map[string]any{"parts": out})
}

// sendBytes answers with a file; fileName, where not empty, is offered for saving.
func sendBytes(w http.ResponseWriter, contentType, fileName string, b []byte) error {
	h := w.Header()
	h.Set("Content-Type", contentType)
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Length", strconv.Itoa(len(b)))
	if fileName != "" {
		h.Set("Content-Disposition", `inline; filename="`+fileName+`"`)
	}
	_, err := w.Write(b)
	if errors.Is(err, http.ErrBodyNotAllowed) { // HEAD
		return nil
	}
	return err
}
