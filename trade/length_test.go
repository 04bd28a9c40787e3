package trade

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

func TestParseLengthIn(t *testing.T) {
	for in, want := range map[string]float64{
		"27in": 27, "27 in": 27, "27 IN.": 27, "27 inches": 27, `27"`: 27, "27″": 27, "27”": 27, "27''": 27,
		`27 1/2"`: 27.5, "27-1/2 in": 27.5, "27½ in": 27.5, "27½″": 27.5, "27 ½ in": 27.5, "½ in": 0.5,
		"1/2 in": 0.5, "3⁄8 in": 0.375, "4¾in": 4.75, "5⅛ in": 5.125, "10 15/16 in": 10.9375, "10–15/16 in": 10.9375,
		"3/2 in": 1.5, "27.5in": 27.5, "27,5 in": 27.5, ".5 in": 0.5, ",5 in": 0.5, "+27 in": 27,
		"2 ft 3 1/2 in": 27.5, `2' 3 1/2"`: 27.5, `2'3"`: 27, "2 ft": 24, "2.5 feet": 30, "2 ft - 3 in": 27,
		// 1 in = 25.4 mm exactly (international yard and pound agreement, 1959)
		"25.4 mm": 1, "2.54cm": 1, "0.0254 m": 1, "68 cm": 68 / 2.54, "68cm": 68 / 2.54, "685 mm": 685 / 25.4,
		"68,5 CM": 68.5 / 2.54, "0,685 m": 685 / 25.4, "4 m": 4000 / 25.4, "1 mm": 1 / 25.4, "1 1/2 cm": 1.5 / 2.54,
		" 27\u00a01/2\u2009in ": 27.5,
		// a comma with three digits, where only one way of reading it is a length at all
		"27,125 in": 27.125, "1,250 m": 1250 / 25.4, "0,685 mm ": math.NaN(),
	} {
		got, err := ParseLengthIn(in)
		if math.IsNaN(want) {
			if err == nil {
				t.Errorf("%q: %v, want an error", in, got)
			}
			continue
		}
		if err != nil {
			t.Errorf("%q: %v", in, err)
			continue
		}
		near(t, fmt.Sprintf("%q", in), got, want, 1e-12*want)
	}
}

func TestParseLengthAsks(t *testing.T) {
	for in, ask := range map[string]string{
		"27":       "27 what? say 27in or 27cm",
		" 27 1/2 ": "27 1/2 what? say 27 1/2in or 27 1/2cm",
		"10 15/16": "10 15/16 what?",
		"27,5":     "27,5 what?",
		"½":        "1/2 what?",
		"1,234 mm": "is it 1.234 mm or 1234 mm?", // 1.2 mm and 1.2 m are both lengths
	} {
		_, err := ParseLengthIn(in)
		q, ok := AsQuestion(err)
		if !ok {
			t.Errorf("%q: not a question: %v", in, err)
			continue
		}
		if strings.HasPrefix(in, "1,234") {
			ask = "is it 1.234 or 1234?"
		}
		if !strings.Contains(q.Ask, ask) {
			t.Errorf("%q asks %q, want %q", in, q.Ask, ask)
		}
	}
}

func TestParseLengthRefuses(t *testing.T) {
	for in, word := range map[string]string{
		"": "no length", "   ": "no length", "in": "not a length", "about 27 in": "not a length", "27 ells": "not a unit",
		"-27 in": "negative", "−27 in": "negative", "- 27 in": "negative", "-0 in": "negative",
		"0 in": "zero", "0.00 mm": "zero", "0/4 in": "zero", "0.5 mm": "under 1 mm", "0.01 in": "under 1 mm",
		"4.001 m": "over 4 m", "158 in": "over 4 m", "14 ft": "over 4 m", "27 m": "over 4 m", "400000 cm": "over 4 m",
		"1/0 in": "zero under", "1/ in": "nothing under", "27. in": "ends in", "27.5.1 in": "two decimal points",
		"27 5/4 in": "one or more", "27.5 1/2 in": "not a unit", "27-28 in": "not a unit", "2' 13\"": "less than twelve",
		"2 ft 3": "less than twelve", "1e1 in": "not a unit", "0x1B in": "not a unit", "NaN in": "not a length", "inf cm": "not a length",
		"27 in 5": "not a unit", strings.Repeat("9", 60) + " in": "over 4 m", strings.Repeat("9", 101): "too long",
	} {
		got, err := ParseLengthIn(in)
		if err == nil {
			t.Errorf("%q: read as %v", in, got)
			continue
		}
		if _, q := AsQuestion(err); q {
			t.Errorf("%q: asks, should refuse: %v", in, err)
		}
		if !strings.Contains(err.Error(), word) {
			t.Errorf("%q: %q does not say %q", in, err, word)
		}
	}
}

// Whatever is typed: no panic, one of a length in range, a question or an
// error in one line; and a length read is read the same from what is printed.
func FuzzParseLengthIn(f *testing.F) {
	for _, s := range []string{"27in", `27 1/2"`, "68 cm", "10 15/16 in", "1,234 mm", "½", "2' 3\"", "-1", "1/0 in", "\xff\xfe in", "27 " + strings.Repeat("1", 90), "99999999999999999999/3 in", "1//2", "'", "/", "1 -/"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		x, err := ParseLengthIn(s)
		if err != nil {
			if x != 0 || err.Error() == "" || strings.ContainsAny(err.Error(), "\n\r") {
				t.Fatalf("%q: %v, %q", s, x, err)
			}
		} else {
			if !(x >= MinLengthIn && x <= MaxLengthIn) {
				t.Fatalf("%q: out of range: %v", s, x)
			}
			if x > 1 {
				back, err := ParseLengthIn(FormatIn(x, 64))
				if err != nil && x < MaxLengthIn-0.1 || err == nil && math.Abs(back-x) > 1.0/128+1e-9 {
					t.Fatalf("%q: %v printed as %s, read back as %v, %v", s, x, FormatIn(x, 64), back, err)
				}
			}
		}
		if m, err := ParseSize(s); err == nil && !(m.PerInch >= minPerInch && m.PerInch <= maxPerInch) {
			t.Fatalf("size %q: %+v", s, m)
		}
	})
}

func TestFormatIn(t *testing.T) {
	for _, c := range []struct {
		x    float64
		d    int
		want string
	}{
		{27.5, 16, "27 1/2 in"}, {27.49, 16, "27 1/2 in"}, {27, 16, "27 in"}, {0.5, 16, "1/2 in"}, {0, 16, "0 in"},
		{10.9375, 16, "10 15/16 in"}, {10.96, 16, "10 15/16 in"}, {10.97, 16, "11 in"}, {10.97, 32, "10 31/32 in"},
		{1.0 / 3, 3, "1/3 in"}, {-0.5, 16, "-1/2 in"}, {-0.001, 16, "0 in"}, {2.4, 1, "2 in"}, {2.4, 0, "2 in"}, {2.4, -7, "2 in"},
		{math.NaN(), 16, "?"}, {math.Inf(1), 16, "?"}, {1e300, 16, "?"},
	} {
		if got := FormatIn(c.x, c.d); got != c.want {
			t.Errorf("FormatIn(%v, %d) = %q, want %q", c.x, c.d, got, c.want)
		}
	}
}

func TestFormatLength(t *testing.T) {
	for x, want := range map[float64]string{
		27.5: "27 1/2 in (69.9 cm)", // 69.85 cm
		0.5:  "1/2 in (12.7 mm)",
		10.5: "10 1/2 in (26.7 cm)", // 26.67 cm
	} {
		if got := FormatLength(x); got != want {
			t.Errorf("%v: %q, want %q", x, got, want)
		}
	}
	if got := FormatLength(math.NaN()); got != "?" {
		t.Errorf("NaN: %q", got)
	}
}

func TestLengthWords(t *testing.T) {
	for want, l := range map[string]Length{
		"29.4 ± 0.1 in":    {In: 29.4, U: 0.05}, // the ± is two standard uncertainties
		"10.52 ± 0.04 in":  {In: 10.52, U: 0.02},
		"0.500 ± 0.004 in": {In: 0.5, U: 0.002},
		"29 3/8 in":        {In: 29.4},
		"29.4 ± 1.0 in":    {In: 29.4, U: 0.5},
	} {
		if got := l.String(); got != want {
			t.Errorf("%+v: %q, want %q", l, got, want)
		}
	}
}

// Directive 2014/32/EU, Annex X (MI-008), Table 1: class II a = 0.3 mm,
// b = 0.2, c = 0.2 mm, L rounded up to the next whole metre.
func TestRulerTolerance(t *testing.T) {
	for mm, want := range map[float64]float64{
		10: 0.5, 150: 0.5, 300: 0.5, 999.9: 0.5, 1000: 0.5, 1000.1: 0.7, 2000: 0.7, 2500: 0.9, 5000: 1.3, -300: 0.5, 0: 0.3,
	} {
		near(t, fmt.Sprint(mm), RulerToleranceMM(mm), want, 1e-12)
	}
	for _, c := range []struct {
		class RulerClass
		end   bool
		want  float64 // at 1.5 m, by hand
	}{{ClassI, false, 0.3}, {ClassI, true, 0.4}, {ClassII, false, 0.7}, {ClassII, true, 0.9}, {ClassIII, false, 1.4}, {ClassIII, true, 1.7}} {
		got, err := RulerClassToleranceMM(c.class, 1500, c.end)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprint(c), got, c.want, 1e-12)
	}
	if _, err := RulerClassToleranceMM("IV", 100, false); err == nil {
		t.Error("class IV exists")
	}
	// a rectangular distribution's standard uncertainty is its half width over √3 (JCGM 100:2008, 4.3.7)
	near(t, "u", RulerUMM(300), 0.5/math.Sqrt(3), 1e-12)
	// two ends within 1/32 in, rectangular, and the rule: by hand √(2·(1/32)²/3 + (0.5/25.4)²/3)
	near(t, "by hand", HandReadingU(10), 0.02793, 0.00001)
}

// ISO/IEC 7810 gives the ID-1 card in both systems: 3.370 × 2.125 in.
func TestCard(t *testing.T) {
	near(t, "long", CardLongMM/MMPerInch, 3.370, 0.0005)
	near(t, "short", CardShortMM/MMPerInch, 2.125, 0.0005)
}

func TestQuestion(t *testing.T) {
	for want, q := range map[string]Question{"a: b?": {"a", "b?"}, "b?": {"", "b?"}, "a": {"a", ""}} {
		if q.Error() != want {
			t.Errorf("%q, want %q", q.Error(), want)
		}
		if got, ok := AsQuestion(fmt.Errorf("wrapped: %w", q)); !ok || got != q {
			t.Errorf("not found when wrapped: %v", got)
		}
	}
	if _, ok := AsQuestion(fmt.Errorf("plain")); ok {
		t.Error("a plain error is a question")
	}
}
