package main

import (
	"bytes"
	"regexp"
	"strings"
	"testing"
	"time"
)

func TestBenchPrintsWhatAPhotoCosts(t *testing.T) {
	var out bytes.Buffer
	if err := run([]string{"-turns", "1", "../../testdata/images/reed-10-033.jpg"}, &out); err != nil {
		t.Fatal(err)
	}
	line := regexp.MustCompile(`reed-10-033\.jpg +1\.9 +\d+\.\d +\d+\.\d +\d+\.\d\d`)
	if !line.MatchString(out.String()) {
		t.Errorf("no line with the photo's size, times and ratio:\n%s", out.String())
	}
	if !strings.Contains(out.String(), "all photos (1): ") || strings.Contains(out.String(), "12 megapixels and more") {
		t.Errorf("want a summary of one small photo:\n%s", out.String())
	}
}

func TestBenchRefuses(t *testing.T) {
	for name, args := range map[string][]string{
		"no photos":      {t.TempDir()},
		"no such folder": {"no-such-folder"},
		"no turns":       {"-turns", "0", "../../testdata/images"},
		"not a JPEG":     {"-turns", "1", "../../testdata/images/truth.json"},
	} {
		if err := run(args, &bytes.Buffer{}); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestMiddleAndTail(t *testing.T) {
	if got := middle([]time.Duration{9, 1, 5}); got != 5 {
		t.Errorf("the middle of 9, 1, 5 is %d", got)
	}
	if got := middle([]float64{4, 1, 3, 2}); got != 3 {
		t.Errorf("the upper middle of 4, 1, 3, 2 is %g", got)
	}
	if got := tail("a/long/name.jpg", 10); got != "…ame.jpg" {
		t.Errorf("tail is %q", got)
	}
}
