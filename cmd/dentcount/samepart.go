package main

import (
	"context"

	"dentcount/measure"
	"dentcount/photo"
)

// keeping measures as measure.Photo does and keeps what was read.
func keeping(readings *[]measure.Reading) measureFunc {
	return func(ctx context.Context, p *photo.Photo, opt measure.Options) (measure.Result, error) {
		r, read, err := measure.PhotoAndReading(ctx, p, opt)
		if err == nil {
			*readings = append(*readings, read)
		}
		return r, err
	}
}

// answerTogether prints what the photos of one part say together. It decides
// the exit status: a photo that is unsure alone may be settled by another.
func (a *app) answerTogether(f measureFlags, readings []measure.Reading) error {
	r := measure.SamePart(readings, f.options())
	if err := a.printResult(f, r); err != nil {
		return err
	}
	if r.Status != measure.Answered {
		a.doubt()
	}
	return nil
}
