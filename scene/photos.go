package scene

import (
	"context"
	"runtime"
	"sync"
)

// Photo draws a scene and stores it as JPEG.
func Photo(spec Spec) ([]byte, Truth, error) {
	img, truth, err := Draw(spec)
	if err != nil {
		return nil, Truth{}, err
	}
	b, err := Encode(spec, img)
	return b, truth, err
}

// Photos draws the scenes spec(0) … spec(n-1), as many at a time as there are
// cores, and hands each to use, in no fixed order and from several goroutines
// at once. The first error, or the end of ctx, stops it and is returned.
func Photos(ctx context.Context, n int, spec func(i int) Spec, use func(i int, jpeg []byte, t Truth) error) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var wg sync.WaitGroup
	next := make(chan int)
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := range next {
				b, t, err := Photo(spec(i))
				if err == nil {
					err = use(i, b, t)
				}
				if err != nil {
					stop(err)
					return
				}
			}
		})
	}
feed:
	for i := range n {
		select {
		case next <- i:
		case <-ctx.Done():
			break feed
		}
	}
	close(next)
	wg.Wait()
	return context.Cause(ctx)
}
