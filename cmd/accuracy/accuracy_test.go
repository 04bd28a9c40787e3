package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"dentcount/measure"
	"dentcount/scene"
)

// A set is the same each time, and no two sets share a scene.
func TestSetIsTheSameEachTime(t *testing.T) {
	a := sceneSet{Scenes: 5, Seed: 3, Adverse: 0.15, Ranges: "judge"}
	x, err := a.spec(4)
	if err != nil {
		t.Fatal(err)
	}
	if y, _ := a.spec(4); !reflect.DeepEqual(x, y) {
		t.Error("the same scene came out different")
	}
	b := a
	b.Seed++
	if y, _ := b.spec(4); y.Seed == x.Seed || reflect.DeepEqual(x, y) {
		t.Error("another seed gave the same scene")
	}
	if x.Rulers[0].ThicknessMM < thinMM || x.Rulers[0].ThicknessMM > thickMM {
		t.Errorf("ruler of %g mm in the judged set", x.Rulers[0].ThicknessMM)
	}
	for _, bad := range []sceneSet{{Scenes: 0, Ranges: "fit"}, {Scenes: 1, Ranges: "other"}, {Scenes: 1, Ranges: "fit", Adverse: 1.5}} {
		if bad.check() == nil {
			t.Errorf("%+v was taken", bad)
		}
	}
}

// The judged set varies in more than the fitted one, in everything that a
// reader of the photo cannot know.
func TestJudgedRangesAreOther(t *testing.T) {
	fit, _ := rangesNamed("fit")
	judged, _ := rangesNamed("judge")
	f, j := reflect.ValueOf(fit), reflect.ValueOf(judged)
	other := 0
	for i := range f.NumField() {
		if r, ok := j.Field(i).Interface().(scene.Range); ok && r != f.Field(i).Interface() {
			other++
		}
	}
	if other < 15 {
		t.Errorf("only %d ranges of the judged set are its own", other)
	}
}

func hand(i int, label, said string, p, perInch, read float64, st measure.Status) sample {
	o := outcome{Status: st, Part: "reed", Label: said, Confidence: p, PerInch: read, U: 0.01, Lo95: read - 0.02, Hi95: read + 0.02, Unit: "in"}
	if st == measure.Refused {
		o = outcome{Status: st, Reason: "no ruler marks found"}
	}
	return sample{Index: i, Told: o, NotTold: o, Truth: truth{
		File: "x", Family: "dent", Expect: "answer", Case: "usual", Part: "reed", Label: label, DentsPerInch: perInch,
		Units: []string{"in"}, Divisions: []int{16}, ThicknessMM: 1, HeightMM: 300, PxPerIn: 150, SpanIn: 5, VisibleDents: 50, VisibleFit: perInch, Scatter: 0.01,
	}}
}

// The table counts what is there to be counted.
func TestReportByHand(t *testing.T) {
	samples := []sample{
		hand(0, "10", "10", 0.97, 10, 10.005, measure.Answered),
		hand(1, "10", "40/10", 0.96, 10, 10.16, measure.Answered),
		hand(2, "12", "12", 0.6, 12, 12.01, measure.Unsure),
		hand(3, "12", "", 0, 12, 0, measure.Refused),
		hand(4, "12", "6", 0.5, 12, 6, measure.Unsure),
		{Index: 5, Truth: truth{Expect: "refuse", Case: "nothing", Part: "none", Label: "none"}, Told: outcome{Status: measure.Answered, Part: "reed", Label: "none", Confidence: 0.3}},
		{Index: 6, Truth: truth{Expect: "refuse-or-unsure", Case: "moire", Part: "reed", Label: "20"}, Told: outcome{Status: measure.Unsure, Part: "reed", Label: "20", Confidence: 0.3}},
	}
	var b bytes.Buffer
	report(&b, rowsOf(samples, true), true)
	for _, want := range []string{
		"all scenes 7: answered 3, unsure 3, refused 1",
		"answer scenes 5: answered 2, right 1 (20 %), wrong 1; unsure 2, refused 1; unit wrong 0",
		"refuse scenes 2: refused or unsure 1; answered 1, unsure 1 (of those to be refused 0), refused 0",
		"confidence >= 0.95: 2, of them wrong 1;",
		"neighbours told apart with 3 in of ruler or more: 1 of 2,",
		"the 95 % interval holds the truth: 2 of 4,",
		"reliability of 6 claims",
		"1 ruler not found: x",
		"1 bands doubled or halved: x",
		"1 pitch off by more than 4 u: x",
		"1 reading doubted: x",
		"usual            5: answered and right 1, answered and wrong 1, unsure 2, refused 1",
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the table lacks %q:\n%s", want, &b)
		}
	}
	page := filepath.Join(t.TempDir(), "sub", "page.html")
	if err := writePage(page, "by hand", samples); err != nil {
		t.Fatal(err)
	}
	html, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	if n := bytes.Count(html, []byte("<svg")); n != 6 {
		t.Errorf("%d plots in the page, want 6", n)
	}
	if bytes.Contains(html, []byte("ZgotmplZ")) || bytes.Contains(html, []byte("NaN")) {
		t.Error("the page holds something that could not be written")
	}
}

// Nothing at all is reported without a panic.
func TestReportOfNothing(t *testing.T) {
	var b bytes.Buffer
	report(&b, nil, false)
	if !strings.Contains(b.String(), "all scenes 0") {
		t.Errorf("%s", &b)
	}
	if err := writePage(filepath.Join(t.TempDir(), "page.html"), "nothing", nil); err != nil {
		t.Error(err)
	}
}

// A sweep that is cut off in the middle of a line goes on where it was, and
// ends like one that was not.
func TestSweepGoesOn(t *testing.T) {
	set := sceneSet{Scenes: 2, Seed: 900, Adverse: 0, Ranges: "fit"}
	path := filepath.Join(t.TempDir(), "raw.ndjson")
	f := flags{set: set, raw: path}
	whole, err := sweep(context.Background(), f, &bytes.Buffer{})
	if err != nil {
		t.Fatal(err)
	}
	if len(whole) != 2 || whole[0].Index != 0 || whole[1].Index != 1 || whole[0].Truth.DentsPerInch == 0 {
		t.Fatalf("measured %+v", whole)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b[:len(b)-20], 0o666); err != nil {
		t.Fatal(err)
	}
	again, err := sweep(context.Background(), f, &bytes.Buffer{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range again {
		again[i].TookMS, whole[i].TookMS = 0, 0
	}
	x, _ := json.Marshal(again)
	y, _ := json.Marshal(whole)
	if !bytes.Equal(x, y) {
		t.Errorf("after it was cut off:\n%s\nundisturbed:\n%s", x, y)
	}
	_, loaded, err := loadRecord(path)
	if err != nil || len(loaded) != 2 {
		t.Errorf("the record holds %d scenes: %v", len(loaded), err)
	}
	// Another set, or what is no record, is not written over.
	f.set.Seed++
	if _, err := sweep(context.Background(), f, &bytes.Buffer{}); err == nil || !strings.Contains(err.Error(), "another set") {
		t.Errorf("the record of another set: %v", err)
	}
	if err := os.WriteFile(path, []byte("a shopping list\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := sweep(context.Background(), f, &bytes.Buffer{}); err == nil {
		t.Error("a file that is no record was taken for one")
	}
	if b, _ := os.ReadFile(path); string(b) != "a shopping list\n" {
		t.Errorf("and now holds %q", b)
	}
}

func TestDrawOneScene(t *testing.T) {
	dir := t.TempDir()
	var b bytes.Buffer
	err := run(context.Background(), flags{set: sceneSet{Seed: 900, Ranges: "fit"}, draw: 1, drawInto: dir}, &b, &bytes.Buffer{})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"fit-900-1.jpg", "fit-900-1.json"} {
		if _, err := os.Stat(filepath.Join(dir, name)); err != nil {
			t.Error(err)
		}
	}
}
