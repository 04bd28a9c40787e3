package shelf

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"dentcount/trade"
)

func TestMain(m *testing.M) {
	// This test binary is also the second process that some tests need.
	if job := os.Getenv("SHELF_TEST_JOB"); job != "" {
		helperProcess(job, os.Getenv("SHELF_TEST_FILE"))
		return
	}
	os.Exit(m.Run())
}

// helperProcess is run in another process. "hold" keeps a transaction open
// until standard input ends; "write" adds parts until it is killed.
func helperProcess(job, file string) {
	die := func(err error) {
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	s, err := Open(ctx, file, Settings{})
	die(err)
	switch job {
	case "hold":
		die(s.write(ctx, func(*sql.Tx) error {
			fmt.Println("holding")
			var b [1]byte
			os.Stdin.Read(b[:])
			return nil
		}))
	case "write":
		for i := 0; ; i++ {
			// A part and its measured photo belong together: never one alone.
			p, err := s.AddPart(ctx, Part{Kind: trade.PartReed, Name: fmt.Sprint(i)})
			die(err)
			_, err = s.Record(ctx, Photo{SHA256: sha(string(p.ID)), Path: "x", Part: p.ID}, Measurement{What: WhatDentSize, Version: "1", Status: Answered, Size: Size{"10", "inch", 10}, Picture: bytes.Repeat([]byte{1}, 20000)})
			die(err)
			fmt.Println(p.ID)
		}
	}
	die(s.Close())
}

func startHelper(t *testing.T, job, file string) (*exec.Cmd, *bytes.Buffer, func()) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "SHELF_TEST_JOB="+job, "SHELF_TEST_FILE="+file)
	var mu sync.Mutex
	out := &bytes.Buffer{}
	first := make(chan struct{})
	var once sync.Once
	cmd.Stdout = writerFunc(func(b []byte) (int, error) {
		mu.Lock()
		defer mu.Unlock()
		out.Write(b)
		once.Do(func() { close(first) })
		return len(b), nil
	})
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	select {
	case <-first:
	case <-time.After(20 * time.Second):
		t.Fatal("the second process did not start")
	}
	return cmd, out, func() { in.Close() }
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(b []byte) (int, error) { return f(b) }

// bytesOf reads every file of a folder, to show that nothing was touched.
func bytesOf(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		b, err := os.ReadFile(p)
		out[p] = string(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestOpenRefusesWhatItMustNotTouch(t *testing.T) {
	// A good shelf to spoil, closed so that it is one file.
	good := filepath.Join(t.TempDir(), "good.db")
	s := openAt(t, good)
	for i := range 200 {
		photographed(t, s, fmt.Sprint("p", i), Measurement{Status: Answered, Size: size(t, "10"), Confidence: 0.99})
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(good)
	if err != nil {
		t.Fatal(err)
	}
	if len(whole) < 50_000 {
		t.Fatalf("the shelf to spoil has only %d bytes", len(whole))
	}
	other := func(path, script string) {
		db, err := sql.Open("sqlite3", path)
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		if _, err := db.Exec(script); err != nil {
			t.Fatal(err)
		}
	}
	for name, c := range map[string]struct {
		make func(path string)
		want error
	}{
		"text":           {func(p string) { os.WriteFile(p, []byte("my reeds\n"), 0o644) }, ErrNotShelf},
		"long text":      {func(p string) { os.WriteFile(p, bytes.Repeat([]byte("my reeds\n"), 5000), 0o644) }, ErrNotShelf},
		"only a header":  {func(p string) { os.WriteFile(p, whole[:16], 0o644) }, ErrNotShelf},
		"cut off":        {func(p string) { os.WriteFile(p, whole[:len(whole)/2], 0o644) }, ErrDamaged},
		"cut off by one": {func(p string) { os.WriteFile(p, whole[:len(whole)-1], 0o644) }, ErrDamaged},
		"schema torn": {func(p string) {
			b := bytes.Clone(whole)
			copy(b[100:4096], bytes.Repeat([]byte{0xa5}, 3996))
			os.WriteFile(p, b, 0o644)
		}, ErrDamaged},
		"other database":  {func(p string) { other(p, "CREATE TABLE parts (id)") }, ErrNotShelf},
		"other's id":      {func(p string) { other(p, "PRAGMA application_id=7; PRAGMA user_version=1; CREATE TABLE parts (id)") }, ErrNotShelf},
		"newer":           {func(p string) { os.WriteFile(p, whole, 0o644); other(p, "PRAGMA user_version=99") }, ErrNewer},
		"folder":          {func(p string) { os.Mkdir(p, 0o755) }, ErrNotShelf},
		"device":          {func(p string) { os.Symlink("/dev/zero", p) }, ErrNotShelf},
		"dangling folder": {func(p string) {}, ErrLocked},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, "shelf.db")
			if name == "dangling folder" {
				path = filepath.Join(dir, "no", "such", "shelf.db")
			}
			c.make(path)
			before := bytesOf(t, dir)
			s, err := Open(ctx, path, Settings{})
			if err == nil {
				s.Close()
			}
			if !errors.Is(err, c.want) {
				t.Fatalf("%v, want %v", err, c.want)
			}
			var e *Error
			if !errors.As(err, &e) || e.Advice == "" || !strings.Contains(e.Problem, path) {
				t.Errorf("no advice, or not which file: %v", err)
			}
			if after := bytesOf(t, dir); fmt.Sprint(before) != fmt.Sprint(after) {
				t.Errorf("the folder was changed")
			}
		})
	}
}

// A page that was damaged deep inside is found when it is read, and named.
func TestDamageDeepInside(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s.db")
	s := openAt(t, path)
	for i := range 300 {
		photographed(t, s, fmt.Sprint("p", i), Measurement{Status: Answered, Size: size(t, "10"), Confidence: 0.99})
	}
	s.Close()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := 3 * 4096; i < len(b); i++ {
		b[i] = byte(i * 31)
	}
	os.WriteFile(path, b, 0o644)
	s, err = Open(ctx, path, Settings{})
	if err == nil {
		defer s.Close()
		_, err = s.Find(ctx, Query{})
		if err == nil {
			err = s.Backup(ctx, path+".copy")
		}
	}
	if !errors.Is(err, ErrDamaged) {
		t.Errorf("%v", err)
	}
	if _, err := os.Stat(path + ".copy"); err == nil {
		t.Error("a backup was made of a damaged shelf")
	}
}

func TestOpenTakesAnEmptyFileAndOddNames(t *testing.T) {
	dir := t.TempDir()
	empty := filepath.Join(dir, "empty.db")
	os.WriteFile(empty, nil, 0o644)
	for _, path := range []string{empty, filepath.Join(dir, "a?mode=ro&b=%41#x y\n\"é"), filepath.Join(dir, "-rf"), filepath.Join(dir, "file:x")} {
		s, err := Open(ctx, path, Settings{})
		if err != nil {
			t.Errorf("%q: %v", path, err)
			continue
		}
		if _, err := s.AddPart(ctx, Part{Kind: trade.PartReed}); err != nil {
			t.Errorf("%q: %v", path, err)
		}
		s.Close()
		if info, err := os.Stat(path); err != nil || info.Size() == 0 {
			t.Errorf("%q: not the file that was named (%v)", path, err)
		}
	}
}

func TestDefaultPath(t *testing.T) {
	env := func(m map[string]string) func(string) string { return func(k string) string { return m[k] } }
	for _, c := range []struct{ xdg, home, want string }{
		{"/data", "/home/w", "/data/dentcount/shelf.db"},
		{"", "/home/w", "/home/w/.local/share/dentcount/shelf.db"},
		{"not/absolute", "/home/w", "/home/w/.local/share/dentcount/shelf.db"},
	} {
		if got, err := DefaultPath(env(map[string]string{"XDG_DATA_HOME": c.xdg, "HOME": c.home})); err != nil || got != c.want {
			t.Errorf("%+v: %q, %v", c, got, err)
		}
	}
	if _, err := DefaultPath(env(nil)); err == nil {
		t.Error("no home, and no complaint")
	}
	dir := t.TempDir()
	s, err := OpenDefault(ctx, env(map[string]string{"XDG_DATA_HOME": dir}), Settings{})
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	if info, err := os.Stat(filepath.Join(dir, "dentcount")); err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("%v, %v", info, err)
	}
	// A place where nobody can make a folder, not even root.
	if _, err := OpenDefault(ctx, env(map[string]string{"XDG_DATA_HOME": "/proc/self"}), Settings{}); !errors.Is(err, ErrLocked) {
		t.Errorf("%v", err)
	}
}

func TestSecondProcessWaitsAndSaysSo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s.db")
	openAt(t, path).Close()
	_, _, release := startHelper(t, "hold", path)

	var told atomic.Int32
	s, err := Open(ctx, path, Settings{Waiting: func(string) {
		if told.Add(1) == 1 {
			time.AfterFunc(200*time.Millisecond, release)
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	// Reading does not wait.
	start := time.Now()
	if _, err := s.Find(ctx, Query{}); err != nil || time.Since(start) > 2*time.Second {
		t.Errorf("a reader was held up %v (%v)", time.Since(start), err)
	}
	if _, err := s.AddPart(ctx, Part{Kind: trade.PartReed}); err != nil {
		t.Fatal(err)
	}
	if told.Load() != 1 {
		t.Errorf("the wait was told %d times, want once", told.Load())
	}
}

func TestWaitEnds(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s.db")
	openAt(t, path).Close()
	startHelper(t, "hold", path)
	s, err := Open(ctx, path, Settings{Wait: 400 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := s.AddPart(ctx, Part{Kind: trade.PartReed}); !errors.Is(err, ErrBusy) {
		t.Errorf("%v", err)
	}
	short, cancel := context.WithTimeout(ctx, 50*time.Millisecond)
	defer cancel()
	if _, err := s.AddPart(short, Part{Kind: trade.PartReed}); !errors.Is(err, context.DeadlineExceeded) && !errors.Is(err, ErrBusy) {
		t.Errorf("%v", err)
	}
}

func TestManyOpenANewShelfAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s.db")
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			s, err := Open(ctx, path, Settings{})
			if err != nil {
				t.Error(err)
				return
			}
			defer s.Close()
			if _, err := s.AddPart(ctx, Part{Kind: trade.PartReed, Name: fmt.Sprint(i)}); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	s := openAt(t, path)
	if n, err := s.Count(ctx, Query{}); n != 8 || err != nil {
		t.Errorf("%d parts, %v", n, err)
	}
}

func TestKilledWhileWriting(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s.db")
	for round := range 4 {
		cmd, out, _ := startHelper(t, "write", path)
		time.Sleep(time.Duration(10+round*37) * time.Millisecond)
		cmd.Process.Kill()
		cmd.Wait()
		s := openAt(t, path)
		var verdict string
		if err := s.db.QueryRow("PRAGMA integrity_check").Scan(&verdict); err != nil || verdict != "ok" {
			t.Fatalf("%v, %v", verdict, err)
		}
		lines := strings.Fields(out.String())
		if len(lines) == 0 {
			t.Fatal("killed before anything was written: the test shows nothing")
		}
		for _, text := range lines {
			id, err := ParseID(text)
			if err != nil {
				t.Fatal(err)
			}
			p, err := s.Part(ctx, id)
			if err != nil || p.Size.Label != "10" {
				t.Fatalf("what was said to be stored is not: %s %+v %v", id, p.Size, err)
			}
		}
		s.Close()
	}
}

// SQLite's own page limit stands for a disk that is full: it gives the same
// error (SQLITE_FULL) at the same places.
func TestFullDisk(t *testing.T) {
	s := openTest(t)
	p := photographed(t, s, "a", Measurement{Status: Answered, Size: size(t, "10"), Confidence: 0.99})
	s.db.SetMaxOpenConns(1)
	var pages int
	if err := s.db.QueryRow("PRAGMA page_count").Scan(&pages); err != nil {
		t.Fatal(err)
	}
	if _, err := s.db.Exec(fmt.Sprintf("PRAGMA max_page_count=%d", pages+5)); err != nil {
		t.Fatal(err)
	}
	ph := Photo{SHA256: sha("big"), Path: "big", Part: p.ID}
	_, err := s.Record(ctx, ph, Measurement{What: WhatDentSize, Version: "1", Status: Refused, Reason: "x", Picture: make([]byte, 100_000)})
	if !errors.Is(err, ErrFull) {
		t.Fatalf("%v", err)
	}
	// Nothing of it stayed, and what was there still is.
	if photos, ms, err := s.Evidence(ctx, p.ID); err != nil || len(photos) != 1 || len(ms) != 1 {
		t.Errorf("%d photos, %d measurements, %v", len(photos), len(ms), err)
	}
	if _, err := s.db.Exec("PRAGMA max_page_count=1000000"); err != nil {
		t.Fatal(err)
	}
	if isNew, err := s.Record(ctx, ph, Measurement{What: WhatDentSize, Version: "1", Status: Refused, Reason: "x", Picture: make([]byte, 100_000)}); err != nil || !isNew {
		t.Errorf("with room again: %v %v", isNew, err)
	}
}

func TestBackup(t *testing.T) {
	dir := t.TempDir()
	s := openAt(t, filepath.Join(dir, "s.db"))
	for i := range 50 {
		photographed(t, s, fmt.Sprint(i), Measurement{Status: Answered, Size: size(t, "10"), Confidence: 0.99, Picture: make([]byte, 5000)})
	}
	to := filepath.Join(dir, "copy ?#%.db")
	if err := s.Backup(ctx, to); err != nil {
		t.Fatal(err)
	}
	if err := s.Backup(ctx, to); !errors.Is(err, ErrExists) {
		t.Errorf("%v", err)
	}
	if err := s.Backup(ctx, filepath.Join(dir, "no", "copy.db")); !errors.Is(err, ErrLocked) {
		t.Errorf("%v", err)
	}
	entries, _ := os.ReadDir(dir)
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".shelf-backup") {
			t.Errorf("left behind: %s", e.Name())
		}
	}
	if _, err := os.Stat(to + "-wal"); err == nil {
		t.Error("the backup is not one file")
	}
	c := openAt(t, to)
	if n, err := c.Count(ctx, Query{}); err != nil || n != 50 {
		t.Errorf("%d parts, %v", n, err)
	}
	if got, want := exported(t, c), exported(t, s); got != want {
		t.Error("the backup differs from the shelf")
	}
}

func TestBackupWhileOthersWrite(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "s.db")
	cmd, _, _ := startHelper(t, "write", path)
	s := openAt(t, path)
	for i := range 3 {
		to := filepath.Join(dir, fmt.Sprint("copy", i))
		if err := s.Backup(ctx, to); err != nil {
			t.Fatal(err)
		}
		c := openAt(t, to)
		if n, err := c.Count(ctx, Query{}); err != nil || n == 0 {
			t.Errorf("%d parts, %v", n, err)
		}
	}
	cmd.Process.Kill()
}
