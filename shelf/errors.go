package shelf

import (
	"errors"
	"fmt"

	"github.com/mattn/go-sqlite3"
)

// What can be wrong with a shelf file.
var (
	ErrNotShelf = errors.New("not a shelf")
	ErrNewer    = errors.New("shelf of a newer dentcount")
	ErrDamaged  = errors.New("damaged shelf")
	ErrBusy     = errors.New("shelf in use")
	ErrFull     = errors.New("no room left")
	ErrLocked   = errors.New("shelf cannot be written")
)

// What can be wrong with a request.
var (
	ErrNoPart   = errors.New("no such part")
	ErrNoLoom   = errors.New("no such loom")
	ErrNoOrder  = errors.New("no such order")
	ErrConflict = errors.New("already there, and different")
	ErrBadValue = errors.New("bad value")
	ErrExists   = errors.New("file exists")
)

// Error is what this package reports: what was wrong, and what to do.
// Nothing was changed when it is returned: every change is a transaction.
type Error struct {
	Kind    error // one of the Err… values; errors.Is finds it
	Problem string
	Advice  string
	Err     error // the cause below it; may be nil
}

func (e *Error) Error() string {
	if e.Advice == "" {
		return e.Problem
	}
	return e.Problem + "; " + e.Advice
}

// AdviceText gives the two halves apart, for programs that lay them out.
func (e *Error) AdviceText() (problem, advice string) { return e.Problem, e.Advice }

func (e *Error) Unwrap() []error {
	if e.Err == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.Err}
}

func badValue(advice, format string, args ...any) error {
	return &Error{Kind: ErrBadValue, Problem: fmt.Sprintf(format, args...), Advice: advice}
}

func (s *Shelf) explain(err error) error { return explain(s.path, err) }

// explain turns SQLite's error into one that a person can act on.
func explain(path string, err error) error {
	var se sqlite3.Error
	if err == nil || !errors.As(err, &se) {
		return err
	}
	switch se.Code {
	case sqlite3.ErrFull:
		return &Error{ErrFull, "there is no room left on the disk for the shelf " + path, "nothing was changed; make room and run the same again", err}
	case sqlite3.ErrCorrupt, sqlite3.ErrNotADB, sqlite3.ErrFormat:
		return damaged(path, err)
	case sqlite3.ErrReadonly, sqlite3.ErrPerm, sqlite3.ErrCantOpen, sqlite3.ErrAuth:
		return &Error{ErrLocked, "the shelf " + path + " or its folder cannot be written by this user", "mend the permissions, or name another file with --shelf", err}
	case sqlite3.ErrBusy, sqlite3.ErrLocked:
		return &Error{ErrBusy, "another program holds the shelf " + path, "let it finish and run the same again", err}
	case sqlite3.ErrIoErr:
		return &Error{ErrLocked, "the disk did not do what was asked for the shelf " + path + " (" + se.Error() + ")", "nothing was changed; see that the disk is there and has room", err}
	}
	return err
}

func damaged(path string, err error) error {
	return &Error{ErrDamaged, "the shelf " + path + " is damaged (" + err.Error() + ")",
		"it was not written to; keep a copy of it, then put a backup in its place (dentcount shelf backup makes them), or name another file with --shelf", err}
}

func isBusy(err error) bool {
	var se sqlite3.Error
	return errors.As(err, &se) && (se.Code == sqlite3.ErrBusy || se.Code == sqlite3.ErrLocked)
}
