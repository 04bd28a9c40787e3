package web

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"net/http"
	"sync"
	"time"

	"dentcount/box"
	"dentcount/measure"
	"dentcount/shelf"
)

// The states of a photo on the page.
const (
	stateWaiting   = "waiting"   // others are before it
	stateMeasuring = "measuring" // its turn
	stateDone      = "done"      // there is an answer, be it a refusal
	stateFailed    = "failed"    // the file could not be read
)

// held is one photo on the page. Its fields below mu change.
type held struct {
	id     string
	name   string
	cancel context.CancelFunc
	job    *job

	mu      sync.Mutex
	problem *problem // the file could not be read
	kept    *measure.Kept
	jpeg    []byte // upright, full size, nothing of EXIF
	sha256  string
	bytes   int64 // of the file
	tag     box.Tag
	facts   measure.Options
	result  *measure.Result
	part    shelf.ID // where it was kept
	used    time.Time
}

// size is what it takes in memory.
func (h *held) size() int64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	n := int64(len(h.jpeg))
	if h.kept != nil {
		n += h.kept.Bytes()
	}
	return n
}

func (h *held) finished() bool {
	select {
	case <-h.job.done:
		return true
	default:
		return false
	}
}

// photos are all photos on the page, and the account of their memory.
type photos struct {
	maxWaiting, maxHeld int64
	holdFor             time.Duration
	now                 func() time.Time

	mu      sync.Mutex
	waiting int64 // bytes of files being received or waiting
	byID    map[string]*held
}

func newPhotos(maxWaiting, maxHeld int64, holdFor time.Duration, now func() time.Time) *photos {
	return &photos{maxWaiting: maxWaiting, maxHeld: maxHeld, holdFor: holdFor, now: now, byID: map[string]*held{}}
}

// reserve makes room for a file of n bytes, or says that there is none now.
// release gives it back and may be called more than once.
func (p *photos) reserve(n int64) (release func(), err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.waiting > 0 && p.waiting+n > p.maxWaiting {
		return nil, bad(http.StatusServiceUnavailable, "too many photos are waiting", "wait a few seconds and send it again")
	}
	p.waiting += n
	return sync.OnceFunc(func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.waiting -= n
	}), nil
}

// newID is not to be guessed: who has it may see the photo.
func newID() string {
	var b [16]byte
	rand.Read(b[:])
	return base64.RawURLEncoding.EncodeToString(b[:])
}

func (p *photos) add(h *held) {
	p.mu.Lock()
	defer p.mu.Unlock()
	h.used = p.now()
	p.byID[h.id] = h
}

// get finds a photo and notes that it was asked for.
func (p *photos) get(id string) (*held, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	h := p.byID[id]
	if h == nil {
		return nil, bad(http.StatusNotFound, "this photo is not held any more", "send it again; what was kept is on the shelf")
	}
	h.mu.Lock()
	h.used = p.now()
	h.mu.Unlock()
	return h, nil
}

// drop forgets a photo, and stops its measuring.
func (p *photos) drop(id string) {
	p.mu.Lock()
	h := p.byID[id]
	delete(p.byID, id)
	p.mu.Unlock()
	if h != nil {
		h.cancel()
	}
}

func (p *photos) clear() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for id, h := range p.byID {
		h.cancel()
		delete(p.byID, id)
	}
}

// trim drops what was not asked for in a while and, past the limit of bytes,
// what was asked for longest ago; never what is still waiting, nor the newest.
func (p *photos) trim() {
	p.mu.Lock()
	defer p.mu.Unlock()
	old := p.now().Add(-p.holdFor)
	var total int64
	for id, h := range p.byID {
		if h.finished() && h.lastUsed().Before(old) {
			h.cancel()
			delete(p.byID, id)
			continue
		}
		total += h.size()
	}
	for total > p.maxHeld {
		var oldest *held
		done := 0
		for _, h := range p.byID {
			if !h.finished() {
				continue
			}
			done++
			if oldest == nil || h.lastUsed().Before(oldest.lastUsed()) {
				oldest = h
			}
		}
		if done < 2 {
			return
		}
		total -= oldest.size()
		oldest.cancel()
		delete(p.byID, oldest.id)
	}
}

func (h *held) lastUsed() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.used
}

// tidy trims now and then until ctx ends.
func (p *photos) tidy(ctx context.Context) {
	t := time.NewTicker(30 * time.Second)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			p.trim()
		}
	}
}
