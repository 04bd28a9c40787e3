package main

import (
	"context"

	"dentcount/measure"
	"dentcount/photo"
)

// keeping measures as measure.Photo does and keeps what was read: of a photo
// that is measured again, the last.
func keeping(readings *[]measure.Reading) measureFunc {
	var last *photo.Photo
	return func(ctx context.Context, p *photo.Photo, opt measure.Options) (measure.Result, error) {
		r, read, err := measure.PhotoAndReading(ctx, p, opt)
		if err == nil {
			if last == p {
				*readings = (*readings)[:len(*readings)-1]
			}
			*readings = append(*readings, read)
			last = p
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
