package report

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"dentcount/measure"
)

// contractExample is the published example of one object, its numbers given
// the digits a measurement has before it is rounded where they are.
const contractExample = `{
  "schema": 1,
  "photo": "reed.jpg",
  "status": "answered",
  "reason": "",
  "advice": "",
  "part": "reed",
  "ruler": {"unit": "in", "divisions": 16, "px_per_inch": 212.4, "span_in": 6.1, "tilt_deg": 3.2,
            "marks": [{"value": 1, "at": [512.3, 830.1]}, {"value": 6, "at": [1574, 822.9]}]},
  "count": {"dents": 61, "over_in": 6.003, "in_one_inch": {"min": 10, "max": 10.5}, "missing": 0, "bent": 1},
  "pitch": {"dents_per_inch": 10.158, "u": 0.011, "dents_per_10cm": 39.99},
  "size": {"label": "40/10", "system": "metric", "dents_per_inch": 10.16, "confidence": 0.987,
           "others": [{"label": "10", "system": "inch", "dents_per_inch": 10, "confidence": 0.012}]},
  "budget": [{"source": "ruler marks", "relative_u": 0.0004}, {"source": "ruler above the wires", "relative_u": 0.0009}],
  "order": "reed, 40/10 (10.16 per inch), …",
  "warnings": ["1 bent wire near 3 1/4 in"],
  "took_ms": 180
}`

// noise is what arithmetic leaves behind the digits that mean something.
const noise = 3.1e-9

func line(t *testing.T, r measure.Result) string {
	t.Helper()
	var buf bytes.Buffer
	if err := JSON(&buf, r); err != nil {
		t.Fatal(err)
	}
	s, ok := strings.CutSuffix(buf.String(), "\n")
	if !ok || strings.Contains(s, "\n") {
		t.Fatalf("not one line: %q", buf.String())
	}
	return s
}

// The published example comes out as it is published, names and order and all.
func TestJSONIsThePublishedForm(t *testing.T) {
	var r measure.Result
	if err := json.Unmarshal([]byte(contractExample), &r); err != nil {
		t.Fatal(err)
	}
	var want bytes.Buffer
	if err := json.Compact(&want, []byte(contractExample)); err != nil {
		t.Fatal(err)
	}
	r.Ruler.PxPerInch += noise
	r.Ruler.Marks[0].At[0] -= noise
	r.Pitch.DentsPerInch += noise
	r.Pitch.U += noise
	r.Count.OverIn -= noise
	r.Budget[0].RelativeU += noise
	r.Size.Confidence += noise
	if got := line(t, r); got != want.String() {
		t.Errorf("got  %s\nwant %s", got, want.String())
	}
}

func TestJSONListsAreNeverNull(t *testing.T) {
	for _, r := range []measure.Result{
		{Status: measure.Refused},
		{Status: measure.Unsure, Ruler: &measure.Ruler{}, Size: &measure.Size{}},
	} {
		if got := line(t, r); strings.Contains(got, "null") || !strings.Contains(got, `"warnings":[]`) {
			t.Error(got)
		}
	}
}

func TestJSONKeepsTheResultAndShortensNumbers(t *testing.T) {
	s := sketch{w: 4000, h: 3000, pxPerInch: 1000. / 3, perInch: 31. / 3, turnDeg: 7, inches: 6}
	r := s.result()
	before := s.result()
	got := line(t, r)
	if !reflect.DeepEqual(r, before) {
		t.Error("JSON changed the result it was given")
	}
	if long := regexp.MustCompile(`\d+\.\d{7,}|\d\.\d{5,}e`).FindString(got); long != "" {
		t.Errorf("a number with more digits than it has to say: %s", long)
	}
	if strings.Contains(got, "Evidence") || strings.Contains(got, "tick_line") {
		t.Error("the evidence is no part of the published form")
	}
}

// A confidence is never printed as more than it is: a script that asks for
// 0.95 must not be handed 0.94996.
func TestJSONConfidenceIsRoundedDown(t *testing.T) {
	for _, c := range []struct{ in, want float64 }{
		{0.94996, 0.9499}, {0.95, 0.95}, {0.99999, 0.9999}, {1, 1}, {0, 0}, {0.00004, 0}, {0.29, 0.29}, {0.57, 0.57},
	} {
		r := measure.Result{Size: &measure.Size{SizeChoice: measure.SizeChoice{Confidence: c.in}}}
		var back measure.Result
		if err := json.Unmarshal([]byte(line(t, r)), &back); err != nil {
			t.Fatal(err)
		}
		if back.Size.Confidence != c.want {
			t.Errorf("%v is printed as %v, want %v", c.in, back.Size.Confidence, c.want)
		}
	}
}

func TestJSONNotFiniteIsAnErrorAndWritesNothing(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		var buf bytes.Buffer
		if err := JSON(&buf, measure.Result{Pitch: &measure.Pitch{U: x}}); err == nil || buf.Len() > 0 {
			t.Errorf("%v: error %v, wrote %q", x, err, buf.String())
		}
	}
}

func TestJSONOddNamesStayValid(t *testing.T) {
	name := "two\nlines \"quoted\" <b> \xff.jpg"
	var back measure.Result
	if err := json.Unmarshal([]byte(line(t, measure.Result{Photo: name})), &back); err != nil {
		t.Fatal(err)
	}
	// JSON text is UTF-8 (RFC 8259, 8.1): a byte which is not becomes U+FFFD.
	if want := strings.ToValidUTF8(name, "\uFFFD"); back.Photo != want {
		t.Errorf("%q came back as %q", want, back.Photo)
	}
}
