package box

import (
	"bufio"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"dentcount/shelf"
)

func sorter(t *testing.T, dir, shelfFile string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "BOX_TEST_FOLDER="+dir, "BOX_TEST_SHELF="+shelfFile)
	cmd.Stderr = os.Stderr
	return cmd
}

func start(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
}

// Killed at twenty random moments and gone on with each time, a run ends with
// the same table as one that nothing disturbed.
func TestKilledTwentyTimes(t *testing.T) {
	dir := t.TempDir()
	for i := range 60 {
		how := []int{answered, answered, answered, unsure, refused}[i%5]
		writePhoto(t, filepath.Join(dir, fmt.Sprintf("r%02d-%d.png", i/2, i%2+1)), i/2, how, i)
	}
	calm := sorted(t, openShelf(t), dir, Options{Recursive: true})

	file := filepath.Join(t.TempDir(), "shelf.db")
	r := rand.New(rand.NewPCG(5, 20))
	early := 0
	for range 20 {
		cmd := sorter(t, dir, file)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		start(t, cmd)
		// Not before the work has begun: a process takes longer to load than
		// it works here.
		if _, err := bufio.NewReader(out).ReadString('\n'); err != nil {
			t.Fatal("the run ended before its first photo: ", err)
		}
		time.Sleep(time.Duration(r.IntN(60)) * time.Millisecond)
		cmd.Process.Kill()
		if cmd.Wait() != nil {
			early++
		}
	}
	if early < 10 {
		t.Errorf("only %d of 20 runs were killed before their end", early)
	}
	if err := sorter(t, dir, file).Run(); err != nil {
		t.Fatal(err)
	}
	s := openShelfAt(t, file)
	end := sorted(t, s, dir, Options{Recursive: true})
	if end.Known != 60 {
		t.Errorf("%d of 60 photos were on the shelf", end.Known)
	}
	if got, want := asCSV(t, end.Sheet), asCSV(t, calm.Sheet); got != want {
		t.Errorf("after the kills:\n%s\nundisturbed:\n%s", got, want)
	}
	if n, err := s.Count(bg, shelf.Query{WithGone: true}); err != nil || n != 30 {
		t.Errorf("%d parts on the shelf, want 30 (%v)", n, err)
	}
}

func TestTwoRunsAtOnce(t *testing.T) {
	dir := t.TempDir()
	for i := range 40 {
		writePhoto(t, filepath.Join(dir, fmt.Sprintf("r%02d-%d.png", i/2, i%2+1)), i/2, answered, i)
	}
	file := filepath.Join(t.TempDir(), "shelf.db")
	a, b := sorter(t, dir, file), sorter(t, dir, file)
	start(t, a)
	start(t, b)
	if err := errors.Join(a.Wait(), b.Wait()); err != nil {
		t.Fatal(err)
	}
	s := openShelfAt(t, file)
	if n, err := s.Count(bg, shelf.Query{WithGone: true}); err != nil || n != 20 {
		t.Errorf("%d parts, want 20 (%v)", n, err)
	}
	calm := sorted(t, openShelf(t), dir, Options{Recursive: true})
	if got, want := asCSV(t, sorted(t, s, dir, Options{Recursive: true}).Sheet), asCSV(t, calm.Sheet); got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
}
