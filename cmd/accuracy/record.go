package main

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"slices"
)

// record keeps what was measured of a set of scenes, in a file where one is
// named: a line that says which set and which program, then one line a scene
// as they come. A run that was stopped goes on from there; a line that was cut
// off is measured again.
type record struct {
	file    *os.File // nil: in memory only
	samples map[int]sample
}

// heading is the first line of a record. Its set is without a number of scenes:
// more of the same can be measured later.
type heading struct {
	Set sceneSet `json:"set"`
	// Program is the SHA-256 of the program that measured.
	Program string `json:"program"`
}

// openRecord opens or makes the record of a set at path; "" keeps it in
// memory. It refuses the record of another set or program.
func openRecord(path string, set sceneSet) (*record, error) {
	r := &record{samples: map[int]sample{}}
	if path == "" {
		return r, nil
	}
	program, err := programHash()
	if err != nil {
		return nil, err
	}
	set.Scenes = 0
	want := heading{set, program}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return nil, err
	}
	got, whole, err := readRecord(f, r.samples)
	switch {
	case err != nil:
	case got == (heading{}):
		whole = 0
	case got.Set != want.Set:
		err = fmt.Errorf("%s holds another set (%+v): give another -raw, delete it, or look at it with -from", path, got.Set)
	case got.Program != want.Program:
		err = fmt.Errorf("%s was measured by another build of this program: give another -raw, delete it, or look at it with -from", path)
	}
	if err == nil {
		err = f.Truncate(whole)
	}
	if err == nil {
		_, err = f.Seek(whole, io.SeekStart)
	}
	if err == nil && whole == 0 {
		err = writeLine(f, want)
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	r.file = f
	return r, nil
}

// writeRecord keeps what was measured of folders in a new record at path.
func writeRecord(path string, samples []sample) error {
	if _, err := os.Stat(path); err == nil {
		return fmt.Errorf("%s is there already: give another -raw, or delete it", path)
	}
	r, err := openRecord(path, sceneSet{})
	if err != nil {
		return err
	}
	for _, s := range samples {
		if err := r.add(s); err != nil {
			r.close()
			return err
		}
	}
	return r.close()
}

// readRecord reads a record's heading and whole lines into samples and says how
// many bytes those take. An empty record has an empty heading.
func readRecord(f io.Reader, samples map[int]sample) (h heading, whole int64, err error) {
	in := bufio.NewReader(f)
	for line := 1; ; line++ {
		b, err := in.ReadBytes('\n')
		if errors.Is(err, io.EOF) {
			return h, whole, nil // what is left was cut off
		}
		if err != nil {
			return h, whole, err
		}
		var s sample
		if line == 1 {
			err = json.Unmarshal(b, &h)
		} else if err = json.Unmarshal(b, &s); err == nil {
			samples[s.Index] = s
		}
		if err != nil {
			return h, whole, fmt.Errorf("line %d of the record is not one of ours: %w", line, err)
		}
		whole += int64(len(b))
	}
}

// loadRecord reads a record to look at it, whatever program measured it.
func loadRecord(path string) (sceneSet, []sample, error) {
	f, err := os.Open(path)
	if err != nil {
		return sceneSet{}, nil, err
	}
	defer f.Close()
	r := &record{samples: map[int]sample{}}
	h, _, err := readRecord(f, r.samples)
	if err == nil && h == (heading{}) {
		err = errors.New("the record is empty")
	}
	if err != nil {
		return h.Set, nil, &fs.PathError{Op: "read", Path: path, Err: err}
	}
	h.Set.Scenes = len(r.samples)
	return h.Set, r.all(), nil
}

func (r *record) has(i int) bool {
	_, ok := r.samples[i]
	return ok
}

func (r *record) add(s sample) error {
	r.samples[s.Index] = s
	if r.file == nil {
		return nil
	}
	return writeLine(r.file, s)
}

// all are the samples in order.
func (r *record) all() []sample {
	out := make([]sample, 0, len(r.samples))
	for _, i := range slices.Sorted(maps.Keys(r.samples)) {
		out = append(out, r.samples[i])
	}
	return out
}

func (r *record) close() error {
	if r.file == nil {
		return nil
	}
	err := r.file.Close()
	r.file = nil
	return err
}

// writeLine writes v as one line in one call, so that a run that is killed
// leaves whole lines but for the last.
func writeLine(w io.Writer, v any) error {
	var b bytes.Buffer
	if err := json.NewEncoder(&b).Encode(v); err != nil {
		return err
	}
	_, err := w.Write(b.Bytes())
	return err
}

func programHash() (string, error) {
	path, err := os.Executable()
	if err != nil {
		return "", err
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
