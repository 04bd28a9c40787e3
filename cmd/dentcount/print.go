package main

// This file is the only one of the command which prints. Its rules:
//
//  1. Standard output carries answers and nothing else, so that it can be
//     piped and kept. Help that was asked for is an answer.
//  2. Faults, warnings, hints and progress go to standard error.
//  3. A fault is one line: the file it is about, what is wrong, what to do.
//     A hint is one line more, and is the next thing to type or to do.
//  4. Names of files are data. What is not printable in them is shown
//     escaped, so that a name can neither forge a line nor steer a terminal.
//  5. Colour only on a terminal, never where NO_COLOR is set, and never as the
//     only carrier of a meaning.
//  6. Progress that redraws itself only where standard error is a terminal.
//  7. A failed write to standard output is a fault, not something to ignore.

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"golang.org/x/term"

	"dentcount/photo"
	"dentcount/report"
)

// answers is where answers are written. A failed write is kept for finish.
func (a *app) answers() io.Writer { return answerWriter{a} }

type answerWriter struct{ a *app }

func (w answerWriter) Write(b []byte) (int, error) {
	if w.a.writeErr != nil {
		return 0, w.a.writeErr
	}
	n, err := w.a.stdout.Write(b)
	if err != nil {
		w.a.writeErr = err
	}
	return n, err
}

// answerf writes one piece of an answer to standard output.
func (a *app) answerf(format string, args ...any) { fmt.Fprintf(a.answers(), format, args...) }

// jsonLine writes one JSON object as one line of an answer.
func (a *app) jsonLine(v any) error {
	enc := json.NewEncoder(a.answers())
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// note tells something worth knowing that is no fault.
func (a *app) note(format string, args ...any) { a.errLine("note: " + fmt.Sprintf(format, args...)) }

// hint tells the next step.
func (a *app) hint(format string, args ...any) { a.errLine("hint: " + fmt.Sprintf(format, args...)) }

// fault prints and counts a fault with one file, while the work goes on with
// the others. name may be empty.
func (a *app) fault(name string, err error) {
	a.tally.faults++
	a.printFault(name, err)
}

// doubt counts a photo that was unsure or refused. The answer itself says so.
func (a *app) doubt() { a.tally.doubts++ }

func (a *app) printFault(name string, err error) {
	var bad *photo.Error
	msg := err.Error() // of a *photo.Error: name, problem, advice
	if name != "" && !errors.As(err, &bad) {
		msg = photo.DisplayName(name) + ": " + msg
	}
	a.errLine("dentcount: " + msg)
}

func (a *app) printUsage(what, hint string) {
	a.errLine("dentcount: " + what)
	if hint != "" {
		a.errLine("hint: " + hint)
	}
}

func (a *app) printStopped() {
	a.errLine("dentcount: stopped before the end; what was answered until then stands")
}

// errLine writes one line to standard error. There is nobody left to tell
// when that fails.
func (a *app) errLine(s string) { fmt.Fprintln(a.stderr, report.Printable(s)) }

// colour says whether answers may be coloured.
func (a *app) colour() bool {
	return a.getenv("NO_COLOR") == "" && a.getenv("TERM") != "dumb" && isTerminal(a.stdout)
}

// progress says whether a progress bar may be drawn on standard error.
func (a *app) progress() bool { return a.getenv("TERM") != "dumb" && isTerminal(a.stderr) }

// isTerminal says whether w (or r) is an open terminal.
func isTerminal(w any) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
