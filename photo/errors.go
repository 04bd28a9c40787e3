package photo

import (
	"errors"
	"strconv"
	"strings"
	"unicode"
)

// What can be wrong with a photo; an *Error wraps one of them, so that
// errors.Is tells them apart. Errors of the system (fs.ErrNotExist,
// fs.ErrPermission …) are wrapped beside ErrUnreadable.
var (
	ErrUnreadable  = errors.New("photo cannot be read")
	ErrNotAFile    = errors.New("not a regular file")
	ErrEmpty       = errors.New("file is empty")
	ErrFileTooBig  = errors.New("file is over the size limit")
	ErrTooManyPx   = errors.New("photo is over the pixel limit")
	ErrTooSmall    = errors.New("photo is too small")
	ErrUnsupported = errors.New("format is not supported")
	ErrTruncated   = errors.New("photo is cut short")
	ErrDamaged     = errors.New("photo is damaged")
)

// Error says what is wrong with one photo, and what to do about it. Problem
// and Advice are whole sentences without a line break.
type Error struct {
	Name    string // of the photo, as the user gave it
	Problem string // what is wrong: "the file is empty."
	Advice  string // what to do: "Send the photo again."
	Kind    error  // one of the Err… values of this package
	Cause   error  // what the system or a decoder said; may be nil
}

// Error is one line: the photo, the problem, the advice.
func (e *Error) Error() string {
	return DisplayName(e.Name) + ": " + e.Problem + " " + e.Advice
}

// Unwrap gives Kind and Cause to errors.Is and errors.As.
func (e *Error) Unwrap() []error {
	var errs []error
	for _, err := range []error{e.Kind, e.Cause} {
		if err != nil {
			errs = append(errs, err)
		}
	}
	return errs
}

// DisplayName is a photo's name as it may be printed on one line of a
// terminal: "-" becomes "standard input", and a name with line breaks or
// control characters in it is quoted.
func DisplayName(name string) string {
	if name == "-" {
		return "standard input"
	}
	odd := func(r rune) bool { return !unicode.IsPrint(r) || r == unicode.ReplacementChar }
	if name == "" || strings.ContainsFunc(name, odd) {
		return strconv.Quote(name)
	}
	return name
}
