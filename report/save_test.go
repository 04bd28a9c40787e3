package report

import (
	"bytes"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func small() image.Image { return image.NewRGBA(image.Rect(0, 0, 16, 8)) }

func mustWrite(t *testing.T, o *OverlayWriter, name, sha string) string {
	t.Helper()
	path, err := o.Write(small(), name, sha)
	if err != nil {
		t.Fatal(err)
	}
	return path
}

func names(t *testing.T, dir string) string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return strings.Join(out, " ")
}

func TestOverlayNames(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a", "b")
	o := NewOverlayWriter(dir, nil)
	mustWrite(t, o, "x/reed.jpg", "aa")
	mustWrite(t, o, "y/reed.png", "bb") // another photo of the same name
	mustWrite(t, o, "x/reed.jpg", "aa") // the first one again: renewed
	mustWrite(t, o, "y/reed.png", "bb")
	if got, want := names(t, dir), "reed-dentcount-2.jpg reed-dentcount.jpg"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	f, err := os.Open(filepath.Join(dir, "reed-dentcount.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if img, err := jpeg.Decode(f); err != nil || img.Bounds().Dx() != 16 {
		t.Errorf("what was written is no picture: %v", err)
	}
}

func TestOverlayNeverWritesOverAnInput(t *testing.T) {
	dir := t.TempDir()
	// An input that is itself an overlay of the same photo, under its own name,
	// behind a symbolic link and behind a hard link.
	for _, how := range []string{"same", "symlink", "link"} {
		sub := filepath.Join(dir, how)
		path := mustWrite(t, NewOverlayWriter(sub, nil), "reed.jpg", "aa")
		input := path
		switch how {
		case "symlink":
			input = filepath.Join(dir, "s")
			if err := os.Symlink(path, input); err != nil {
				t.Fatal(err)
			}
		case "link":
			input = filepath.Join(dir, "l")
			if err := os.Link(path, input); err != nil {
				t.Fatal(err)
			}
		}
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if got := mustWrite(t, NewOverlayWriter(sub, []string{input}), "reed.jpg", "aa"); got == path {
			t.Errorf("%s: written over the input", how)
		}
		if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
			t.Errorf("%s: the input changed: %v", how, err)
		}
	}
}

func TestOverlayNeverWritesOverAStranger(t *testing.T) {
	dir := t.TempDir()
	stranger := filepath.Join(dir, "reed-dentcount.jpg")
	if err := os.WriteFile(stranger, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	// A link that leads nowhere, and a folder, are somebody's too.
	if err := os.Symlink(filepath.Join(dir, "nowhere"), filepath.Join(dir, "reed-dentcount-2.jpg")); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "reed-dentcount-3.jpg"), 0o755); err != nil {
		t.Fatal(err)
	}
	if got := mustWrite(t, NewOverlayWriter(dir, nil), "reed.jpg", "aa"); filepath.Base(got) != "reed-dentcount-4.jpg" {
		t.Errorf("written to %s", got)
	}
	if got, _ := os.ReadFile(stranger); string(got) != "mine" {
		t.Errorf("the stranger's file holds %q", got)
	}
	if _, err := os.Stat(filepath.Join(dir, "nowhere")); err == nil {
		t.Error("written through a link")
	}
	if strings.Contains(names(t, dir), "tmp") {
		t.Errorf("something is left lying about: %s", names(t, dir))
	}
}

func TestOverlayInAFolderThatCannotBe(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := NewOverlayWriter(filepath.Join(file, "dir"), nil).Write(small(), "reed.jpg", "aa"); err == nil {
		t.Error("no error")
	}
}

func TestOverlayBase(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"a/b/reed.jpg", "reed"}, {"-", "stdin"}, {"--json", "json"}, {".hidden.jpg", "hidden"}, {"..", "photo"}, {"/", "photo"}, {"", "photo"},
		{"two\nlines.jpg", "two_lines"}, {"a\\b:c*.png", "a_b_c_"}, {"\xff\xfe.jpg", "photo"}, {"a\xff.jpg", "a_"}, {"Blattriet ä 織.heic", "Blattriet ä 織"}, {"x .jpg", "x"},
		{strings.Repeat("織", 100) + ".jpg", strings.Repeat("織", 26)},
	} {
		if got := overlayBase(c.in); got != c.want {
			t.Errorf("%q: %q, want %q", c.in, got, c.want)
		}
	}
}
