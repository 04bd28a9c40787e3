package scene

import (
	"bytes"
	"context"
	"errors"
	"sync"
	"testing"
)

func tiny(i int) Spec {
	s := plain(NoPart)
	s.Part = Part{Kind: NoPart}
	s.Seed = uint64(i)
	s.Width, s.Height = 96, 64
	return s
}

func TestPhotosDrawsEachOnce(t *testing.T) {
	var mu sync.Mutex
	got := map[int][]byte{}
	err := Photos(context.Background(), 9, tiny, func(i int, jpeg []byte, truth Truth) error {
		mu.Lock()
		defer mu.Unlock()
		if got[i] != nil || truth.Seed != uint64(i) {
			t.Errorf("photo %d again, or with another's truth (seed %d)", i, truth.Seed)
		}
		got[i] = jpeg
		return nil
	})
	if err != nil || len(got) != 9 {
		t.Fatalf("%d photos, error %v", len(got), err)
	}
	want, _, err := Photo(tiny(4))
	if err != nil || !bytes.Equal(want, got[4]) {
		t.Errorf("drawn among others, photo 4 is another one (error %v)", err)
	}
}

func TestPhotosStops(t *testing.T) {
	full := errors.New("disk full")
	n := 0
	var mu sync.Mutex
	err := Photos(context.Background(), 1000, tiny, func(int, []byte, Truth) error {
		mu.Lock()
		defer mu.Unlock()
		n++
		return full
	})
	if !errors.Is(err, full) || n > 64 {
		t.Errorf("error %v after %d photos", err, n)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if err := Photos(ctx, 1000, tiny, func(int, []byte, Truth) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: error %v", err)
	}
	wrong := func(int) Spec { return Spec{} }
	if err := Photos(context.Background(), 3, wrong, func(int, []byte, Truth) error { return nil }); !errors.Is(err, ErrSpec) {
		t.Errorf("wrong specs: error %v", err)
	}
}
