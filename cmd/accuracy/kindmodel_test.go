package main

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"dentcount/measure"
)

// coarse is a photo with bands as coarse as slots: a reed of 6, or a rigid heddle
// of 12 dents per inch.
func coarse(i int, heddle bool, cues map[string]float64) sample {
	s := hand(i, "6", "6", 0.9, 6, 6, measure.Answered)
	s.Truth.Part, s.Truth.DentsPerInch = "reed", 6
	if heddle {
		s.Truth.Part, s.Truth.DentsPerInch = "rigid-heddle", 12
	}
	s.BandsPerInch, s.KindCues = 6.01, cues
	return s
}

func TestIsSlots(t *testing.T) {
	s := coarse(0, true, nil)
	if slots, ok := s.isSlots(); !slots || !ok {
		t.Error("slots of a rigid heddle")
	}
	s.BandsPerInch = 12 // slots and holes in turn
	if _, ok := s.isSlots(); ok {
		t.Error("slots and holes in turn were taken for slots")
	}
	s = coarse(0, false, nil)
	if slots, ok := s.isSlots(); slots || !ok {
		t.Error("wires of a reed")
	}
	s.BandsPerInch = 7 // a misread ruler
	if _, ok := s.isSlots(); ok {
		t.Error("a misread ruler was taken")
	}
}

// The table names its source, what tells weighs with its sign, and holes weigh as
// if arcs had never been told.
func TestFitKindModelWrites(t *testing.T) {
	rng := rand.New(rand.NewPCG(24, 25))
	var samples []sample
	for i := range 300 {
		heddle := i%2 == 0
		cues := map[string]float64{"holes clear": 0, "arcs told": 1, "noise": rng.NormFloat64()}
		cues["wide arcs change"] = 0.8 + 0.3*rng.NormFloat64()
		if heddle {
			cues["wide arcs change"] = -cues["wide arcs change"]
			if rng.Float64() < 0.6 {
				cues["holes clear"] = 2 + 0.3*rng.NormFloat64()
			}
		}
		samples = append(samples, coarse(i, heddle, cues))
	}
	path := filepath.Join(t.TempDir(), "kind.csv")
	var b bytes.Buffer
	if err := fitKindModel("set of the test", samples[:50], path, &b); err == nil {
		t.Error("50 photos were taken")
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("and written")
	}
	if err := fitKindModel("set of the test", samples, path, &b); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	by := map[string]float64{}
	for line := range strings.Lines(string(got)) {
		if name, v, ok := strings.Cut(strings.TrimSpace(line), ","); ok && line[0] != '#' && name != "cue" {
			if by[name], err = strconv.ParseFloat(v, 64); err != nil {
				t.Fatal(err)
			}
		}
	}
	if !strings.Contains(string(got), "set of the test") || len(by) != 6 {
		t.Fatalf("the table:\n%s", got)
	}
	if by["wide arcs change"] > -1 || math.Abs(by["noise"]) > 0.6 || by["ceiling"] < 0.9 || by["ceiling"] >= 1 {
		t.Errorf("the table:\n%s", got)
	}
	// Without arcs, holes alone must tell: every photo with holes is a heddle.
	if z := by["bias"] + 2*by["holes clear"]; z < 5 {
		t.Errorf("holes seen make log odds of %.2f only:\n%s", z, got)
	}
}
