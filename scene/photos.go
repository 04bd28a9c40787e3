package scene

import (
	"context"
	"runtime"

	"golang.org/x/sync/errgroup"
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
	g, gctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range n {
		if gctx.Err() != nil {
			break
		}
		g.Go(func() error {
			b, t, err := Photo(spec(i))
			if err != nil {
				return err
			}
			return use(i, b, t)
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	return ctx.Err()
}
