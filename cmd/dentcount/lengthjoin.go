package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"regexp"
	"runtime/debug"
	"strconv"
	"strings"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
)

// lengthJoined answers for one length over all photos.
func (a *app) lengthJoined(ctx context.Context, f lengthFlags, names []string) error {
	opt := f.options()
	r, err := a.joinPhotos(ctx, f, names, opt)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if errors.Is(err, measure.ErrLengthOptions) {
		return usagef("%v", err)
	}
	shown := make([]string, len(names))
	for i, name := range names {
		shown[i] = photo.DisplayName(name)
	}
	all := strings.Join(shown, " + ")
	r.Photo = all
	return a.tellLength(f, all, r, err)
}

func (a *app) joinPhotos(ctx context.Context, f lengthFlags, names []string, opt measure.LengthOptions) (r measure.LengthResult, err error) {
	defer func() {
		if v := recover(); v != nil {
			err = ownFlaw(v, debug.Stack(), f.debugDir)
		}
	}()
	var shots []*photo.Photo
	defer func() {
		for _, p := range shots {
			p.Close()
		}
	}()
	for _, name := range names {
		p, err := a.openPhoto(ctx, name, photo.Limits{})
		if err != nil {
			return r, err // it names the photo
		}
		shots = append(shots, p)
	}
	if r, err = measure.JoinedLength(ctx, shots, f.at.numbers, opt); err != nil || f.overlayDir == "" {
		return r, err
	}
	overlays := report.NewOverlayWriter(f.overlayDir, names)
	for i, p := range shots {
		img, err := report.JoinedOverlay(p, r, i)
		if err == nil {
			_, err = overlays.Write(img, names[i], p.SHA256)
		}
		if err != nil {
			a.fault(names[i], err)
		}
	}
	return r, nil
}

// atFlag is numbers read off the tape, PHOTO:X,Y=NUMBER each.
type atFlag struct{ numbers []measure.TapeNumber }

var atForm = regexp.MustCompile(`^\s*(\d{1,3})\s*:\s*([0-9.]+)\s*,\s*([0-9.]+)\s*=\s*(\d{1,5})\s*$`)

func (f *atFlag) String() string {
	if f == nil {
		return ""
	}
	var out []string
	for _, n := range f.numbers {
		out = append(out, fmt.Sprintf("%d:%g,%g=%d", n.Shot+1, n.At[0], n.At[1], n.Number))
	}
	return strings.Join(out, " ")
}
func (f *atFlag) Type() string { return "number" }

func (f *atFlag) Set(s string) error {
	m := atForm.FindStringSubmatch(s)
	bad := fmt.Errorf("give the photo, the point where the number's mark meets the tape's edge, and the number, such as 2:640,655=30")
	if m == nil {
		return bad
	}
	n := measure.TapeNumber{}
	shot, err1 := strconv.Atoi(m[1])
	x, err2 := strconv.ParseFloat(m[2], 64)
	y, err3 := strconv.ParseFloat(m[3], 64)
	number, err4 := strconv.Atoi(m[4])
	if err := errors.Join(err1, err2, err3, err4); err != nil || shot < 1 || math.Max(x, y) > 1e5 {
		return bad
	}
	n.Shot, n.At, n.Number = shot-1, measure.Point{x, y}, number
	f.numbers = append(f.numbers, n)
	return nil
}
