package main

import (
	"context"
	"errors"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"dentcount/shelf"
	"dentcount/trade"
)

// shelfFlag names the shelf that a command works on.
type shelfFlag struct{ file string }

// addTo declares the flag on cmd and all of its subcommands.
func (f *shelfFlag) addTo(cmd *cobra.Command) {
	cmd.PersistentFlags().StringVar(&f.file, "shelf", "", "the shelf is in `FILE` (default: dentcount/shelf.db in your data folder)")
}

// open opens the shelf, and makes it where there is none.
func (f *shelfFlag) open(ctx context.Context, a *app) (*shelf.Shelf, error) {
	set := shelf.Settings{Waiting: func(path string) {
		a.note("another program is writing to the shelf %s; waiting for it", path)
	}}
	if f.file == "" {
		return shelf.OpenDefault(ctx, a.getenv, set)
	}
	return shelf.Open(ctx, f.file, set)
}

// openThere opens a shelf that must be there already: to look for something on
// a new one is a slip.
func (f *shelfFlag) openThere(ctx context.Context, a *app) (*shelf.Shelf, error) {
	file, err := f.path(a)
	if err != nil {
		return nil, err
	}
	if _, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) {
		return nil, &shelf.Error{Kind: shelf.ErrNoPart, Problem: "there is no shelf " + file + " yet",
			Advice: "dentcount sort, dentcount shelf add and dentcount looms add make one; --shelf FILE names another"}
	}
	return f.open(ctx, a)
}

// openLoom opens a shelf that must be there, and finds a loom on it.
func (f *shelfFlag) openLoom(ctx context.Context, a *app, name string) (*shelf.Shelf, trade.Loom, error) {
	s, err := f.openThere(ctx, a)
	if err != nil {
		return nil, trade.Loom{}, err
	}
	l, err := s.Loom(ctx, name)
	if err != nil {
		s.Close()
		return nil, trade.Loom{}, err
	}
	return s, l, nil
}

// openFor opens a shelf that must be there, for the parts with these ids.
func (f *shelfFlag) openFor(ctx context.Context, a *app, args []string) (*shelf.Shelf, []shelf.ID, error) {
	ids, err := parseIDs(args)
	if err != nil {
		return nil, nil, err
	}
	s, err := f.openThere(ctx, a)
	return s, ids, err
}

func (f *shelfFlag) path(a *app) (string, error) {
	if f.file != "" {
		return f.file, nil
	}
	return shelf.DefaultPath(a.getenv)
}

// parseIDs reads ids as they are typed.
func parseIDs(args []string) ([]shelf.ID, error) {
	var ids []shelf.ID
	for _, s := range args {
		id, err := shelf.ParseID(s)
		if err != nil {
			return nil, usagef("%v", err).withHint("dentcount shelf list shows the ids")
		}
		ids = append(ids, id)
	}
	return ids, nil
}

// plainErr is the reason of a file's error without its name, which was said.
func plainErr(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
