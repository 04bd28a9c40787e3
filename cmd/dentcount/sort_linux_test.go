package main

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"dentcount/measure"
	"dentcount/photo"
)

// withData gives a bench a data folder of its own.
func withData(t *testing.T, f measureFunc) *bench {
	t.Helper()
	dir := t.TempDir()
	b := newBench(f)
	b.getenv = func(k string) string {
		if k == "XDG_DATA_HOME" {
			return dir
		}
		return ""
	}
	return b
}

func TestSortTellsStates(t *testing.T) {
	names := photos(t, "a.jpg", "b.jpg", "c.jpg")
	folder := filepath.Dir(names[0])
	for i, n := range names { // three photos of different content
		if err := os.WriteFile(n, append(makeInput("black"), byte(i)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	b := withData(t, func(_ context.Context, p *photo.Photo, _ measure.Options) (measure.Result, error) {
		r := answer()
		switch filepath.Base(p.Name) {
		case "b.jpg":
			r.Status, r.Reason, r.Advice = measure.Unsure, "12 and 50/10 are possible", "tell how thick the ruler is"
		case "c.jpg":
			return r, errors.New("the lens is broken")
		}
		return r, nil
	})
	if got := b.run(context.Background(), []string{"sort", folder}); got != statusFault {
		t.Errorf("status %d: %s", got, b.err.String())
	}
	for _, want := range []string{"To settle (2)", "the lens is broken", "12 and 50/10 are possible. Tell how thick the ruler is.", "12 per inch, 47.2 per 10 cm (1)", "12.003 ± 0.020"} {
		if !strings.Contains(b.out.String(), want) && !strings.Contains(strings.ToLower(b.out.String()), want) {
			t.Errorf("%q is missing in\n%s", want, b.out.String())
		}
	}
}

func TestSortStoppedSaysHowFar(t *testing.T) {
	names := photos(t, "a.jpg", "b.jpg", "c.jpg", "d.jpg")
	for i, n := range names {
		if err := os.WriteFile(n, append(makeInput("black"), byte(i)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	calls := 0
	b := withData(t, func(ctx context.Context, p *photo.Photo, _ measure.Options) (measure.Result, error) {
		if calls++; calls == 3 {
			cancel()
			return measure.Result{}, ctx.Err()
		}
		return answer(), nil
	})
	got := b.run(ctx, []string{"sort", "--jobs", "1", filepath.Dir(names[0])})
	if got != statusFault || b.out.Len() > 0 || !strings.Contains(b.err.String(), "2 of 4 photos are done and kept on the shelf; run the same again") {
		t.Errorf("status %d\n%s\n%s", got, b.out.String(), b.err.String())
	}
}

func TestWaitsForAnotherProgramAndSaysSo(t *testing.T) {
	b := withData(t, answering(measure.Answered))
	file := filepath.Join(t.TempDir(), "s.db")
	if got := b.run(context.Background(), []string{"looms", "add", "one", "--span", "20in", "--shelf", file}); got != statusOK {
		t.Fatal(b.err.String())
	}
	db, err := sql.Open("sqlite3", file+"?_txlock=immediate")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	tx, err := db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	var said lockedWriter
	b.stderr = &said
	done := make(chan int)
	go func() {
		done <- b.run(context.Background(), []string{"looms", "add", "two", "--span", "20in", "--shelf", file})
	}()
	for end := time.Now().Add(20 * time.Second); !strings.Contains(said.String(), "is writing to the shelf "+file+"; waiting for it"); {
		if time.Now().After(end) {
			t.Fatalf("nothing was said of the wait: %q", said.String())
		}
		time.Sleep(5 * time.Millisecond)
	}
	select {
	case got := <-done:
		t.Fatalf("it did not wait: status %d", got)
	case <-time.After(50 * time.Millisecond):
	}
	tx.Rollback()
	if got := <-done; got != statusOK {
		t.Errorf("status %d: %s", got, said.String())
	}
}

func fills(s string) func(io.Writer) error {
	return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
}

// leftovers lists what a failed write has left in a folder.
func leftovers(t *testing.T, dir string) []string {
	t.Helper()
	var out []string
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".dentcount-") {
			out = append(out, e.Name())
		}
	}
	return out
}

func TestWriteWhole(t *testing.T) {
	dir := t.TempDir()
	at := func(n string) string { return filepath.Join(dir, n) }
	read := func(n string) string { b, _ := os.ReadFile(at(n)); return string(b) }

	if err := writeWhole(at("a"), false, nil, fills("one")); err != nil || read("a") != "one" {
		t.Fatal(err)
	}
	if err := writeWhole(at("a"), false, nil, fills("two")); err == nil || read("a") != "one" {
		t.Error("written over without leave")
	}
	os.Chmod(at("a"), 0o600)
	if err := writeWhole(at("a"), true, nil, fills("two")); err != nil || read("a") != "two" {
		t.Error(err)
	}
	if info, _ := os.Stat(at("a")); info.Mode().Perm() != 0o600 {
		t.Errorf("a private file became %v", info.Mode())
	}
	os.Symlink("a", at("link"))
	if err := writeWhole(at("link"), true, nil, fills("three")); err != nil || read("a") != "three" {
		t.Error("the link was not followed", err)
	}
	if info, _ := os.Lstat(at("link")); info.Mode()&fs.ModeSymlink == 0 {
		t.Error("the link became a file")
	}
	if err := writeWhole(at("link"), true, []string{at("a")}, fills("four")); err == nil || read("a") != "three" {
		t.Error("a file that is read was written over by way of a link")
	}
	os.Symlink("fresh", at("dangling"))
	if err := writeWhole(at("dangling"), false, nil, fills("x")); err == nil {
		// A link that leads nowhere is something that is there.
		t.Error("a link was replaced")
	}
	failed := errors.New("half way")
	if err := writeWhole(at("a"), true, nil, func(w io.Writer) error { io.WriteString(w, strings.Repeat("x", 1<<20)); return failed }); !errors.Is(err, failed) || read("a") != "three" {
		t.Errorf("a half-written file took the place of a whole one: %v", err)
	}
	if err := writeWhole(dir, true, nil, fills("x")); err == nil {
		t.Error("a folder was written over")
	}
	if err := writeWhole(filepath.Join("/proc", "x.csv"), true, nil, fills("x")); err == nil {
		t.Error("a file was made where none can be")
	}
	if err := writeFolder(at("f"), func(create func(string) (io.WriteCloser, error)) error {
		w, err := create("x")
		if err != nil {
			return err
		}
		w.Close()
		return failed
	}); !errors.Is(err, failed) {
		t.Error(err)
	}
	if _, err := os.Stat(at("f")); err == nil {
		t.Error("half a folder was left behind")
	}
	if l := leftovers(t, dir); len(l) > 0 {
		t.Errorf("left behind: %v", l)
	}
}

// A disk that is full in truth: a file system in memory with no room.
func TestWriteWholeOnAFullDisk(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=256k"); err != nil {
		t.Skipf("no small file system can be mounted here (%v); /dev/full stands for it in the scripts", err)
	}
	defer syscall.Unmount(dir, 0)
	file := filepath.Join(dir, "table.csv")
	if err := os.WriteFile(file, []byte("the old one"), 0o644); err != nil {
		t.Fatal(err)
	}
	err := writeWhole(file, true, nil, fills(strings.Repeat("x", 1<<20)))
	if err == nil || !strings.Contains(err.Error(), "there is no room left on the disk; make room") {
		t.Errorf("%v", err)
	}
	if b, _ := os.ReadFile(file); string(b) != "the old one" {
		t.Errorf("the old table was lost: %.20q", b)
	}
	if l := leftovers(t, dir); len(l) > 0 {
		t.Errorf("left behind: %v", l)
	}
	// The shelf on it: the box is not sorted, and says why; what is on the
	// shelf stays readable.
	b := withData(t, answering(measure.Answered))
	box := photos(t, "a.jpg")
	for i := range 40 {
		os.WriteFile(filepath.Join(filepath.Dir(box[0]), fmt.Sprintf("p%d.jpg", i)), append(makeInput("black"), byte(i)), 0o644)
	}
	if got := b.run(context.Background(), []string{"sort", filepath.Dir(box[0]), "--shelf", filepath.Join(dir, "s.db")}); got != statusFault || !strings.Contains(b.err.String(), "nothing was changed") {
		t.Errorf("status %d: %s", got, b.err.String())
	}
}

// A folder that lets nobody write, root neither: a file system mounted for
// reading alone.
func TestReadOnlyFolder(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_RDONLY, ""); err != nil {
		t.Skipf("no read-only file system can be mounted here (%v); /proc stands for it in the scripts", err)
	}
	defer syscall.Unmount(dir, 0)
	err := writeWhole(filepath.Join(dir, "x.csv"), true, nil, fills("x"))
	if err == nil || !strings.Contains(err.Error(), "does not let you write") {
		t.Errorf("%v", err)
	}
	b := withData(t, answering(measure.Answered))
	if got := b.run(context.Background(), []string{"shelf", "add", "--shelf", filepath.Join(dir, "s.db")}); got != statusFault || !strings.Contains(b.err.String(), "cannot be written by this user") {
		t.Errorf("status %d: %s", got, b.err.String())
	}
}
