package main

import (
	"context"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"dentcount/measure"
)

// nobody is a user without rights to root's files.
const nobody = 65534

// A photo that may not be read is a fault with advice; the one beside it is
// answered. Permission bits do not bind root: run as root, the test takes the
// file system identity of nobody for its thread (setfsuid(2)), which also takes
// the right to pass over them.
func TestNoPermission(t *testing.T) {
	files := photos(t, "closed.jpg", "open.jpg")
	if err := os.Chmod(files[0], 0o600); err != nil {
		t.Fatal(err)
	}
	if os.Getuid() == 0 {
		// Let nobody come as far as the two files.
		for dir := filepath.Dir(files[0]); dir != filepath.Clean(os.TempDir()) && dir != "/"; dir = filepath.Dir(dir) {
			if err := os.Chmod(dir, 0o755); err != nil {
				t.Fatal(err)
			}
		}
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		if err := syscall.Setfsuid(nobody); err != nil {
			t.Fatal(err)
		}
		defer syscall.Setfsuid(0)
	} else if err := os.Chmod(files[0], 0); err != nil {
		t.Fatal(err)
	}
	if f, err := os.Open(files[0]); err == nil {
		f.Close()
		t.Skip("this machine lets the test read a file without permission; nothing is tested")
	}

	b := newBench(answering(measure.Answered))
	if got := b.run(context.Background(), append([]string{"measure"}, files...)); got != statusFault {
		t.Errorf("status %d, want %d", got, statusFault)
	}
	if !strings.HasPrefix(b.out.String(), files[1]+": a 12-dent reed") {
		t.Errorf("the other photo is not answered: %q", b.out.String())
	}
	msg := b.err.String()
	if strings.Count(msg, "\n") != 1 || !strings.Contains(msg, files[0]+": you are not allowed to read this file. Change its permissions") {
		t.Errorf("standard error: %q", msg)
	}
}
