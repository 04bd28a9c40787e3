package main

import (
	"context"

	"dentcount/photo"
)

// stdinName is the name that stands for standard input among the photos.
const stdinName = "-"

// needPhotos is the check of a command's arguments for at least one photo.
func needPhotos(a *app, command string, names []string) error {
	if len(names) == 0 {
		return usagef("no photo is named").withHint("dentcount %s reed.jpg, or - to read one from standard input", command)
	}
	stdins := 0
	for _, name := range names {
		switch name {
		case "":
			return usagef("one of the photos has an empty name").withHint("is a variable in your script empty?")
		case stdinName:
			stdins++
		}
	}
	if stdins > 1 {
		return usagef("standard input can be read once; - is given %d times", stdins)
	}
	if stdins == 1 && isTerminal(a.stdin) {
		return usagef("- reads a photo from standard input, and nothing is sent to it").
			withHint("dentcount %s - < reed.jpg", command)
	}
	return nil
}

// openPhoto opens the photo of that name, or the one on standard input, under
// limits. A cancelled ctx gives ctx.Err(). The caller closes the photo.
func (a *app) openPhoto(ctx context.Context, name string, limits photo.Limits) (*photo.Photo, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if name != stdinName {
		return limits.Open(name)
	}
	// A read from a pipe cannot be interrupted; waiting for it can.
	type opened struct {
		p   *photo.Photo
		err error
	}
	done := make(chan opened, 1)
	go func() {
		p, err := limits.Read(name, a.stdin)
		done <- opened{p, err}
	}()
	select {
	case o := <-done:
		return o.p, o.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}
