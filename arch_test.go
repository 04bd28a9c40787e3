// Package dentcount_test holds what is true of the module as a whole: which
// folder may import which.
package dentcount_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const module = "dentcount"

// mayImport says for each folder which others of this module it may import.
// A photo walks one way through them; a new folder takes its place here.
var mayImport = map[string][]string{
	"photo":   {},
	"trade":   {},
	"scene":   {"trade"},
	"calib":   {"photo"},
	"vision":  {"photo", "calib"},
	"fit":     {"calib", "vision", "trade"},
	"measure": {"photo", "calib", "vision", "fit", "trade"},
	// The overlay is drawn on the photo that was measured.
	"report": {"measure", "photo", "trade"},
	"shelf":  {"trade"},
	// A box of photos becomes parts on the shelf and a sheet of them.
	"box": {"photo", "measure", "report", "shelf", "trade"},
	// How answers with known truth are judged; no part of measuring.
	"judge": {"trade"},
	"web":   {"measure", "report", "shelf", "box", "photo", "trade"},
	"cmd":   {"photo", "trade", "scene", "calib", "vision", "fit", "measure", "report", "shelf", "box", "web", "judge"},
}

// measuring are the folders whose answers scene is there to judge: were the
// renderer within their reach, they could be made to agree with it.
var measuring = []string{"photo", "trade", "calib", "vision", "fit", "measure"}

// pkg is a package as go list tells it, tests left out.
type pkg struct {
	ImportPath string
	Imports    []string // direct
	Deps       []string // all
}

// folder is the top folder of a package of this module, "" for any other.
func folder(importPath string) string {
	rest, ours := strings.CutPrefix(importPath, module+"/")
	if !ours {
		return ""
	}
	top, _, _ := strings.Cut(rest, "/")
	return top
}

// violations says what of pkgs goes against the table.
func violations(pkgs []pkg) []string {
	var bad []string
	for _, p := range pkgs {
		from := folder(p.ImportPath)
		if from == "" {
			continue
		}
		allowed, known := mayImport[from]
		if !known {
			bad = append(bad, fmt.Sprintf("folder %s has no place in the table", from))
			continue
		}
		for _, i := range p.Imports {
			if to := folder(i); to != "" && to != from && !slices.Contains(allowed, to) {
				bad = append(bad, fmt.Sprintf("%s imports %s", p.ImportPath, i))
			}
		}
		if slices.Contains(measuring, from) {
			for _, d := range p.Deps {
				if folder(d) == "scene" {
					bad = append(bad, fmt.Sprintf("%s depends on %s", p.ImportPath, d))
				}
			}
		}
	}
	return bad
}

func TestImportsPointOneWay(t *testing.T) {
	pkgs := listPackages(t)
	for _, v := range violations(pkgs) {
		t.Error(v)
	}
	// A folder with Go code in it must have been looked at. Looking into every
	// folder here also tells the go tool what this test's result depends on:
	// it would else show a cached result after an import has changed.
	for f := range mayImport {
		seen := slices.ContainsFunc(pkgs, func(p pkg) bool { return folder(p.ImportPath) == f })
		if hasGo(t, f) && !seen {
			t.Errorf("folder %s has Go files and go list does not know it", f)
		}
	}
	for _, f := range []string{"photo", "cmd"} {
		if !hasGo(t, f) {
			t.Errorf("folder %s has no Go files: is the test run in the wrong place?", f)
		}
	}
}

// listPackages are the packages of this module that have code besides tests.
func listPackages(t *testing.T) []pkg {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports,Deps", "./...")
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, &stderr)
	}
	var pkgs []pkg
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p pkg
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return pkgs
		} else if err != nil {
			t.Fatal(err)
		}
		pkgs = append(pkgs, p)
	}
}

func hasGo(t *testing.T, dir string) bool {
	t.Helper()
	for _, pattern := range []string{"*.go", "*/*.go"} {
		files, err := filepath.Glob(filepath.Join(dir, pattern))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			if !strings.HasSuffix(f, "_test.go") {
				return true
			}
		}
	}
	return false
}

// The table itself has no way round in a circle: folders can be put in an
// order in which each imports only what came before.
func TestTableHasNoCycle(t *testing.T) {
	var placed []string
	for len(placed) < len(mayImport) {
		before := len(placed)
		for f, imports := range mayImport {
			ready := !slices.ContainsFunc(imports, func(i string) bool { return !slices.Contains(placed, i) })
			if ready && !slices.Contains(placed, f) {
				placed = append(placed, f)
			}
		}
		if len(placed) == before {
			t.Fatalf("only %v can be put in an order", placed)
		}
	}
}

// The check finds what it is there to find.
func TestViolationsAreFound(t *testing.T) {
	for _, c := range []struct {
		name string
		p    pkg
		n    int
	}{
		{"as it should be", pkg{"dentcount/fit", []string{"fmt", "dentcount/calib", "gonum.org/v1/gonum/mat"}, []string{"dentcount/calib"}}, 0},
		{"its own sub-package", pkg{"dentcount/fit", []string{"dentcount/fit/internal/x"}, nil}, 0},
		{"backwards", pkg{"dentcount/calib", []string{"dentcount/fit"}, nil}, 1},
		{"sideways", pkg{"dentcount/shelf", []string{"dentcount/measure"}, nil}, 1},
		{"a sub-package backwards", pkg{"dentcount/photo/internal/x", []string{"dentcount/measure"}, nil}, 1},
		{"the renderer, directly", pkg{"dentcount/vision", []string{"dentcount/scene"}, []string{"dentcount/scene"}}, 2},
		{"the renderer, round a corner", pkg{"dentcount/vision", nil, []string{"dentcount/scene"}}, 1},
		{"the command", pkg{"dentcount/cmd/dentcount", []string{"dentcount/scene"}, []string{"dentcount/scene"}}, 0},
		{"a folder nobody knows", pkg{"dentcount/util", nil, nil}, 1},
	} {
		if got := violations([]pkg{c.p}); len(got) != c.n {
			t.Errorf("%s: found %q, want %d", c.name, got, c.n)
		}
	}
}
