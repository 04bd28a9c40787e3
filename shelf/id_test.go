package shelf

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// Every single wrong character and every exchange of two characters must be
// caught: tried exhaustively on a few hundred ids, not argued.
func TestIDCatchesTypingErrors(t *testing.T) {
	for n := 0; n < 300; n++ {
		id := DerivedID("seed", n)
		if got, err := ParseID(string(id)); err != nil || got != id {
			t.Fatalf("ParseID(%q) = %q, %v", id, got, err)
		}
		for i := range id {
			for _, c := range []byte(idAlphabet) {
				if c == id[i] {
					continue
				}
				bad := []byte(id)
				bad[i] = c
				if got, err := ParseID(string(bad)); !errors.Is(err, ErrID) {
					t.Fatalf("%s mistyped as %s was taken for %q (%v)", id, bad, got, err)
				}
			}
			for j := i + 1; j < len(id); j++ {
				if id[i] == id[j] {
					continue
				}
				bad := []byte(id)
				bad[i], bad[j] = bad[j], bad[i]
				if got, err := ParseID(string(bad)); !errors.Is(err, ErrID) {
					t.Fatalf("%s exchanged to %s was taken for %q (%v)", id, bad, got, err)
				}
			}
		}
	}
}

func TestIDAlphabet(t *testing.T) {
	for _, group := range []string{"0OQD", "1IL", "2Z", "5S", "6G", "8B", "UV"} {
		n := 0
		for _, c := range group {
			n += strings.Count(idAlphabet, string(c))
		}
		if n > 1 {
			t.Errorf("%d of the look-alikes %s are in the alphabet", n, group)
		}
	}
	if strings.ContainsAny(idAlphabet, "AEIOU") {
		t.Error("a vowel is in the alphabet: ids could spell words")
	}
	n := len(idAlphabet)
	for d := 2; d < n; d++ {
		if n%d == 0 {
			t.Errorf("the alphabet's size %d is not prime: the check misses errors", n)
		}
	}
}

func TestParseIDAsTyped(t *testing.T) {
	id := DerivedID("a photo", 0)
	for _, s := range []string{id.String(), strings.ToLower(string(id)), " " + string(id[:4]) + " " + string(id[4:]), string(id[:4]) + "\u2011" + string(id[4:])} {
		if got, err := ParseID(s); err != nil || got != id {
			t.Errorf("ParseID(%q) = %q, %v; want %q", s, got, err, id)
		}
	}
	for _, s := range []string{"", "-", "K7M", string(id) + "3", "O" + string(id[1:]), "ſ" + string(id[1:]), "\xff\xfe", strings.Repeat("3", 1000)} {
		if got, err := ParseID(s); !errors.Is(err, ErrID) {
			t.Errorf("ParseID(%q) = %q, %v; want ErrID", s, got, err)
		}
	}
}

func TestNewIDIsEvenAndHonestAboutNoRandomness(t *testing.T) {
	var count [256]int
	const n = 4000
	seen := map[ID]bool{}
	for range n {
		id, err := NewID(nil)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := ParseID(string(id)); err != nil {
			t.Fatal(err)
		}
		seen[id] = true
		for i := range idLen - 1 {
			count[id[i]]++
		}
	}
	if len(seen) < n-1 {
		t.Errorf("%d ids of %d are different", len(seen), n)
	}
	// Pearson's chi-square over 19 classes; one run in a million may be over.
	limit := distuv.ChiSquared{K: float64(len(idAlphabet) - 1)}.Quantile(1 - 1e-6)
	want := float64(n*(idLen-1)) / float64(len(idAlphabet))
	chi := 0.0
	for _, c := range []byte(idAlphabet) {
		d := float64(count[c]) - want
		chi += d * d / want
	}
	if chi > limit {
		t.Errorf("the characters are not evenly drawn: chi-square %.1f over %.1f", chi, limit)
	}
	if _, err := NewID(bytes.NewReader(nil)); err == nil {
		t.Error("an id was made without randomness")
	}
}

func TestTagText(t *testing.T) {
	for _, tag := range []Tag{{ID: DerivedID("x", 0)}, {ID: DerivedID("x", 1), SideMM: 21}, {ID: DerivedID("x", 2), SideMM: 105}} {
		text := tag.Text()
		if len(text) > 20 {
			t.Errorf("%q has %d characters; the smallest QR symbol holds 20", text, len(text))
		}
		if got, ok := ParseTag(text); !ok || got != tag {
			t.Errorf("ParseTag(%q) = %+v, %v; want %+v", text, got, ok, tag)
		}
	}
	id := string(DerivedID("x", 0))
	for _, text := range []string{"", "https://example.org", "DENT:", "DENT:" + id[:7], "DENT:" + id + ":Q0", "DENT:" + id + ":Qx", "DENT:" + strings.ToLower(id), "dent:" + id} {
		if got, ok := ParseTag(text); ok {
			t.Errorf("ParseTag(%q) = %+v, want nothing", text, got)
		}
	}
	if got, ok := ParseTag("DENT:" + id + ":Q21:Z7"); !ok || got.SideMM != 21 {
		t.Errorf("a field of a later dentcount spoilt the tag: %+v %v", got, ok)
	}
}
