package trade

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6f, want %.6f ± %g", what, got, want, tol)
	}
}

func findSize(t *testing.T, part, label string) MadeSize {
	t.Helper()
	for _, s := range Sizes(part) {
		if s.Label == label {
			return s
		}
	}
	t.Fatalf("no size %q among those of %q", label, part)
	return MadeSize{}
}

func TestSizesAreAPrior(t *testing.T) {
	for _, part := range []string{PartReed, PartRigidHeddle, "", "something else"} {
		sum := 0.0
		seen := map[string]bool{}
		last := 0.0
		for _, s := range Sizes(part) {
			sum += s.Weight
			if s.Weight <= 0 || s.PerInch < last || s.Source == "" {
				t.Errorf("%q: bad row %+v (after %v per inch)", part, s, last)
			}
			// "a made size is within about 0.3 % of its label": three standard deviations
			if s.TolRel < 0.0005 || s.TolRel > 0.0015 {
				t.Errorf("%q %s: tolerance %v", part, s.Label, s.TolRel)
			}
			if seen[s.System+s.Label] {
				t.Errorf("%q: %s %s twice", part, s.Label, s.System)
			}
			seen[s.System+s.Label] = true
			last = s.PerInch
		}
		near(t, part+" weights", sum, 1, 1e-12)
	}
}

// PerInch of N/10 is N × 0.254 exactly, since 1 in = 25.4 mm exactly
// (international yard and pound agreement, 1959).
func TestMetricSizesByDefinition(t *testing.T) {
	for label, n := range map[string]float64{"20/10": 20, "40/10": 40, "55/10": 55, "100/10": 100, "120/10": 120} {
		s := findSize(t, PartReed, label)
		near(t, label, s.PerInch, n*0.254, 1e-12)
		if s.System != SystemMetric {
			t.Errorf("%s: system %q", label, s.System)
		}
	}
	// 10 and 40/10 are 1.6 % apart, worked by hand: 10.16 / 10
	near(t, "40/10 against 10", findSize(t, PartReed, "40/10").PerInch/findSize(t, PartReed, "10").PerInch, 1.016, 1e-12)
}

// The sizes a weaver expects to find: common practice, no source.
func TestCommonSizesAreThere(t *testing.T) {
	for _, l := range []string{"4", "5", "6", "8", "10", "12", "15", "16", "18", "20", "24", "30", "20/10", "30/10", "40/10", "50/10", "60/10", "70/10", "80/10", "100/10"} {
		findSize(t, PartReed, l)
	}
	for _, l := range []string{"2.5", "5", "7.5", "8", "10", "12", "12.5", "15", "20/10", "40/10", "50/10", "60/10"} {
		findSize(t, PartRigidHeddle, l)
	}
	// the common ones weigh more than the rare ones
	if findSize(t, PartReed, "12").Weight < 3*findSize(t, PartReed, "22").Weight {
		t.Error("a 12 reed is not taken to be much commoner than a 22")
	}
	if findSize(t, PartRigidHeddle, "2.5").Weight >= findSize(t, PartRigidHeddle, "10").Weight {
		t.Error("a 2.5 rigid heddle is taken to be as common as a 10")
	}
}

func TestUnionWeighsBothPartsAlike(t *testing.T) {
	u := findSize(t, "", "10")
	near(t, "10 in the union", u.Weight, (findSize(t, PartReed, "10").Weight+findSize(t, PartRigidHeddle, "10").Weight)/2, 1e-12)
	near(t, "70/10, reeds only", findSize(t, "", "70/10").Weight, findSize(t, PartReed, "70/10").Weight/2, 1e-12)
	near(t, "tolerance", u.TolRel, 0.0012, 1e-12) // the wider of the two
}

func TestIndistinct(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want bool
	}{
		{"14", "55/10", true},  // 13.97: 0.21 % apart
		{"10", "40/10", false}, // 1.6 % apart
		{"9", "35/10", false},  // 8.89: 1.2 % apart
		{"12", "12", true},
	} {
		if got := Indistinct(findSize(t, PartReed, c.a), findSize(t, PartReed, c.b)); got != c.want {
			t.Errorf("%s and %s: %v", c.a, c.b, got)
		}
	}
	if Indistinct(MadeSize{}, MadeSize{}) {
		t.Error("two sizes of nothing are the same")
	}
}

func TestNear(t *testing.T) {
	got := Near(Sizes(PartReed), 10.1, 0.02)
	if len(got) != 2 || got[0].Label != "40/10" || got[1].Label != "10" {
		t.Errorf("near 10.1: %v", got)
	}
	if Near(Sizes(PartReed), 0, 1) != nil || Near(Sizes(PartReed), math.NaN(), 1) != nil {
		t.Error("nothing is near no pitch")
	}
}

func TestParseSize(t *testing.T) {
	for in, want := range map[string]struct {
		label, system string
		perInch       float64
	}{
		"40/10":               {"40/10", SystemMetric, 10.16},
		" 40 / 10 ":           {"40/10", SystemMetric, 10.16},
		"40/10 cm":            {"40/10", SystemMetric, 10.16},
		"40 per 10 cm":        {"40/10", SystemMetric, 10.16},
		"20/5":                {"40/10", SystemMetric, 10.16}, // dents per 5 cm
		"32,5/10":             {"32.5/10", SystemMetric, 8.255},
		"10":                  {"10", SystemInch, 10},
		"10 dent":             {"10", SystemInch, 10},
		"10 per inch":         {"10", SystemInch, 10},
		"10/in":               {"10", SystemInch, 10},
		"12 1/2":              {"12.5", SystemInch, 12.5},
		"12-1/2":              {"12.5", SystemInch, 12.5},
		"12½":                 {"12.5", SystemInch, 12.5},
		"7,5":                 {"7.5", SystemInch, 7.5},
		"7.50":                {"7.5", SystemInch, 7.5},
		"11.25":               {"11.25", SystemInch, 11.25},
		"100/10":              {"100/10", SystemMetric, 25.4},
		"2 1/2 per\u00a0inch": {"2.5", SystemInch, 2.5},
	} {
		got, err := ParseSize(in)
		if err != nil {
			t.Errorf("%q: %v", in, err)
			continue
		}
		if got.Label != want.label || got.System != want.system {
			t.Errorf("%q: %s %s, want %s %s", in, got.Label, got.System, want.label, want.system)
		}
		near(t, in, got.PerInch, want.perInch, 1e-12)
	}
	if s, _ := ParseSize("10"); s.Weight == 0 || s.Source == "" {
		t.Errorf("10 is made: %+v", s)
	}
	if s, _ := ParseSize("11.25"); s.Weight != 0 || s.TolRel <= 0 {
		t.Errorf("11.25 is not made: %+v", s)
	}
	// every label of the tables reads back as itself
	for _, s := range Sizes("") {
		if got, err := ParseSize(s.Label); err != nil || got != s {
			t.Errorf("%s: %+v, %v", s.Label, got, err)
		}
	}
}

func TestParseSizeRefuses(t *testing.T) {
	for in, question := range map[string]bool{
		"": false, "ten": false, "-10": false, "0": false, "0/10": false, "1000": false, "10 10": false,
		"1/2": true, "25/2": true, "12 in": true, "30cm": true, "40/10 in": false, "40//10": false, "1/0": true,
		"10 1/0": false, "..": false, "1e3": false, "0x10": false, "inf": false, "nan": false,
	} {
		s, err := ParseSize(in)
		if err == nil {
			t.Errorf("%q: read as %+v", in, s)
			continue
		}
		if _, q := AsQuestion(err); q != question {
			t.Errorf("%q: question %v, want %v (%v)", in, q, question, err)
		}
	}
}

// By hand: around 10 and 10.16, whose surroundings do not meet, and 14 and 55/10, which
// share theirs.
func TestBetween(t *testing.T) {
	sizes := []MadeSize{{PerInch: 14}, {PerInch: 10}, {PerInch: 55 * 0.254}, {PerInch: 10.16}}
	off, width := Between(sizes, 3, 30)
	want := []float64{math.Inf(-1), 9.95012, 10.05013, 10.10933, 10.21093, 13.90033, 14.07018, math.Inf(1)}
	if len(off) != 4 {
		t.Fatalf("%v", off)
	}
	for i, s := range off {
		if i > 0 {
			near(t, "from", math.Exp(s.Lo), want[2*i], 1e-4)
		}
		if i < 3 {
			near(t, "to", math.Exp(s.Hi), want[2*i+1], 1e-4)
		}
	}
	// ln 10, less two whole surroundings and one and what 55/10 adds: ln(14/13.97).
	near(t, "width", width, math.Log(10)-0.03-math.Log(14/13.97), 1e-9)
	if off, width := Between(nil, 3, 30); len(off) != 1 || math.Abs(width-math.Log(10)) > 1e-12 {
		t.Errorf("of no sizes: %v, %v", off, width)
	}
}
