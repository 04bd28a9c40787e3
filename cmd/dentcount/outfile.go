package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// writeWhole writes a file that appears whole or not at all: into a new file
// beside it first, down to the disk, which then takes the name. What is there
// under the name is replaced where it is a regular file and replace is set.
// A device or a pipe is written to as it is. guard lists files that must
// never be written over.
func writeWhole(path string, replace bool, guard []string, fill func(io.Writer) error) error {
	old, err := os.Stat(path)
	switch {
	case err == nil && old.IsDir():
		return fmt.Errorf("%s is a folder; give the name of a file", path)
	case err == nil && !old.Mode().IsRegular():
		return writeThrough(path, fill)
	case err == nil && !replace:
		return fmt.Errorf("%s is there already and was left as it is; give another name", path)
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return cannotWrite(path, err)
	}
	if old != nil {
		for _, g := range guard {
			if in, err := os.Stat(g); err == nil && os.SameFile(in, old) {
				return fmt.Errorf("%s is one of the files that are read here; it was left as it is; give another name", path)
			}
		}
		// A link keeps leading to its file, which gets the new content.
		if real, err := filepath.EvalSymlinks(path); err == nil {
			path = real
		}
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), ".dentcount-*.tmp")
	if err != nil {
		return cannotWrite(path, err)
	}
	defer os.Remove(tmp.Name()) // gone by then, or what is left of a failure
	err = fillFile(tmp, fill)
	if err == nil {
		mode := fs.FileMode(0o644)
		if old != nil {
			mode = old.Mode().Perm()
		}
		err = os.Chmod(tmp.Name(), mode)
	}
	if err != nil {
		return cannotWrite(path, err)
	}
	if !replace {
		// A link fails where somebody made the file meanwhile.
		switch err := os.Link(tmp.Name(), path); {
		case err == nil:
			return nil
		case errors.Is(err, fs.ErrExist):
			return fmt.Errorf("%s is there already and was left as it is; give another name", path)
		}
	}
	if err := os.Rename(tmp.Name(), path); err != nil {
		return cannotWrite(path, err)
	}
	return nil
}

func fillFile(f *os.File, fill func(io.Writer) error) error {
	b := bufio.NewWriterSize(f, 1<<16)
	err := fill(b)
	if err == nil {
		err = b.Flush()
	}
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

func writeThrough(path string, fill func(io.Writer) error) error {
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return cannotWrite(path, err)
	}
	b := bufio.NewWriterSize(f, 1<<16)
	err = fill(b)
	if err == nil {
		err = b.Flush()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return cannotWrite(path, err)
	}
	return nil
}

// cannotWrite says what to do about a file that was not written.
func cannotWrite(path string, err error) error {
	var what string
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT), errors.Is(err, syscall.EFBIG):
		what = "there is no room left on the disk; make room, or write it elsewhere"
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		what = "its folder does not let you write; mend the permissions, or write it elsewhere"
	case errors.Is(err, fs.ErrNotExist):
		what = "its folder is not there; make it, or write it elsewhere"
	default:
		var pe *fs.PathError
		if !errors.As(err, &pe) {
			return fmt.Errorf("%s was not written: %w", path, err)
		}
		what = pe.Err.Error()
	}
	return &writeError{path: path, what: what, err: err}
}

// writeError is a file that was not written, and what to do.
type writeError struct {
	path, what string
	err        error
}

func (e *writeError) Error() string { return e.path + " was not written: " + e.what }
func (e *writeError) Unwrap() error { return e.err }

// writeFolder fills a new folder that appears whole or not at all.
func writeFolder(path string, fill func(create func(name string) (io.WriteCloser, error)) error) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s is there already and was left as it is; give another name", path)
	}
	tmp, err := os.MkdirTemp(filepath.Dir(filepath.Clean(path)), ".dentcount-*.tmp")
	if err != nil {
		return cannotWrite(path, err)
	}
	defer os.RemoveAll(tmp)
	err = fill(func(name string) (io.WriteCloser, error) {
		f, err := os.Create(filepath.Join(tmp, name))
		if err != nil {
			return nil, err
		}
		return syncedFile{f}, nil
	})
	if err == nil {
		err = os.Chmod(tmp, 0o755)
	}
	if err != nil {
		return cannotWrite(path, err)
	}
	if err := os.Rename(tmp, path); err != nil {
		return cannotWrite(path, err)
	}
	return nil
}

// syncedFile is down on the disk when it is closed.
type syncedFile struct{ *os.File }

func (f syncedFile) Close() error {
	err := f.Sync()
	if cerr := f.File.Close(); err == nil {
		err = cerr
	}
	return err
}
