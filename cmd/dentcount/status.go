package main

import (
	"context"
	"errors"
	"fmt"
)

// The exit statuses. Where several hold, usage goes before fault, and fault
// before doubt.
const (
	statusOK    = 0 // every photo answered
	statusFault = 1 // a fault: unreadable file, no permission, full disk, stopped
	statusUsage = 2 // wrong usage
	statusDoubt = 3 // at least one photo was unsure or refused
)

// tally counts what went wrong with single photos while a command goes on.
type tally struct {
	faults int
	doubts int
}

// usageError is a wrong call of the command, with what to do instead.
type usageError struct {
	what string
	hint string
}

func (e *usageError) Error() string { return e.what }

// usagef is a usageError without a hint.
func usagef(format string, args ...any) *usageError {
	return &usageError{what: fmt.Sprintf(format, args...)}
}

// withHint adds the next step to take.
func (e *usageError) withHint(format string, args ...any) *usageError {
	e.hint = fmt.Sprintf(format, args...)
	return e
}

// workError marks an error that came from a command's work, not from the
// reading of its arguments.
type workError struct{ error }

func (e workError) Unwrap() error { return e.error }

// finish prints what err still has to say and decides the exit status. It is
// the only place which does.
func (a *app) finish(ctx context.Context, err error) int {
	var usage *usageError
	var work workError
	switch {
	case err == nil:
	case errors.As(err, &usage):
		a.printUsage(usage.what, usage.hint)
		return statusUsage
	case !errors.As(err, &work):
		// cobra's own complaint about a flag, an argument or a command.
		a.printUsage(err.Error(), "dentcount --help, or dentcount COMMAND --help, shows what can be asked")
		return statusUsage
	case a.writeErr != nil:
	case ctx.Err() != nil && errors.Is(err, ctx.Err()):
		a.printStopped()
		return statusFault
	default:
		a.printFault("", work.error)
		return statusFault
	}
	switch {
	case a.writeErr != nil:
		a.printFault("", fmt.Errorf("the answers could not be written out completely (%w); free some space or write them elsewhere, then run it again", a.writeErr))
		return statusFault
	case a.tally.faults > 0:
		return statusFault
	case a.tally.doubts > 0:
		return statusDoubt
	}
	return statusOK
}
