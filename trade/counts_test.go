package trade

import (
	"math"
	"strings"
	"testing"
)

func count(t *testing.T, id string) Count {
	t.Helper()
	c, err := CountByID(id)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Published worked examples and, where none was at hand, the definition
// worked out by hand.
func TestOldCountsAgainstBooks(t *testing.T) {
	const (
		taylor  = "J. T. Taylor, Cotton Weaving and Designing, 6th ed., Reeds and Setts"
		brooks  = "C. P. Brooks, Cotton Manufacturing, Reed Counting"
		dict    = "Dictionary of the English textile terms, Sett Systems"
		artisan = "Shawl Weaving Artisan, Trade Theory, p. 74"
		byHand  = "definition worked by hand"
	)
	for _, c := range []struct {
		id      string
		number  float64
		perInch float64
		tol     float64
		source  string
	}{
		{"dents-per-inch", 16, 16, 0, dict},                  // 16's reed 3's: 16 dents, 48 threads
		{"dents-per-2-in", 60, 30, 0, taylor},                // "a 60 reed has 30 dents per inch"
		{"dents-per-10-cm", 40, 10.16, 1e-12, byHand},        // 40 / (100/25.4)
		{"dents-per-5-cm", 20, 10.16, 1e-12, byHand},         // 20 / (50/25.4)
		{"dents-per-cm", 4, 10.16, 1e-12, byHand},            // 4 × 2.54
		{"dents-per-french-inch", 36, 33.779, 0.001, byHand}, // 36 × 25.4 / 27.069917
		{"beers-24.25-in", 24.25, 20, 1e-12, brooks},         // "a Bolton 24-1/4 reed is equal to a Stockport 40's"
		{"beers-24.25-in", 30, 24.747, 0.006, brooks},        // "24-74/100 splits per inch (8·249 × 30 = 24·747)", by ·8249 for 20/24.25
		{"beers-36-in", 50, 500.0 / 18, 1e-12, taylor},       // "50 sett × 40/36 = 55 20/36 ends per inch", two in a dent
		{"beers-36-in", 72, 40, 1e-12, dict},                 // "72 × 40 / 36 = 80 ends per inch"
		{"beers-36-in", 72, 40, 1e-12, artisan},              // "72 × 20 / 36 = 40"
		{"beers-45-in", 45, 20, 1e-12, byHand},               // 45 × 20 / 45
		{"beers-34-in", 34, 20, 1e-12, byHand},               //
		{"beers-39-in", 39, 20, 1e-12, byHand},               //
		{"beers-44-in", 66, 30, 1e-12, byHand},               // 66 × 20 / 44
		{"beers-58-in", 29, 10, 1e-12, byHand},               // 29 × 20 / 58
		{"porters-37-in", 37, 20, 1e-12, byHand},             // 37 × 20 / 37
		{"porters-9-in", 12, 76.0 / 3, 1e-12, byHand},        // 12 × 19 / 9
		{"beers-90-in", 90, 19, 1e-12, byHand},               // 90 × 19 / 90
		{"dents-36-in", 1200, 33.333, 0.001, dict},           // "1,200 × 4 / 36 = 133 ends per inch" at four in a dent
		{"dents-37-in", 2000, 54.054, 0.001, taylor},         // "2000 dents in 37 inches"
		{"dents-40-in", 1200, 30, 1e-12, dict},               // "1,200 × 2 / 40 = 60 threads per inch"
		{"hundreds-36-in", 12, 33.333, 0.001, byHand},        //
		{"hundreds-37-in", 20, 54.054, 0.001, byHand},        //
		{"hundreds-40-in", 10, 25, 1e-12, artisan},           // "10s Irish = 25s Huddersfield"
	} {
		near(t, c.id+" ("+c.source+")", count(t, c.id).PerInch(c.number), c.perInch, c.tol)
	}
	// "To convert Stockport into Bolton counts multiply by ·60625 … Bolton
	// into Stockport by 1·6495" (Brooks)
	bolton, stockport := count(t, "beers-24.25-in"), count(t, "dents-per-2-in")
	near(t, "Stockport to Bolton (Brooks)", Convert(1, stockport, bolton), 0.60625, 1e-12)
	near(t, "Bolton to Stockport (Brooks)", Convert(1, bolton, stockport), 1.6495, 0.0001)
	// "40s Radcliff in the Stockport system … 80s" (Artisan, p. 74; Radcliff is dents per inch)
	near(t, "per inch to Stockport", Convert(40, count(t, "dents-per-inch"), stockport), 80, 1e-12)
}

// Every count converts both ways, into itself and through every other.
func TestOldCountsRoundTrip(t *testing.T) {
	all := Counts()
	if len(all) < 20 {
		t.Fatalf("only %d counts", len(all))
	}
	seen := map[string]bool{}
	for _, a := range all {
		if seen[a.ID] || a.Name == "" || a.Source == "" {
			t.Errorf("bad row %+v", a)
		}
		seen[a.ID] = true
		for _, n := range []float64{1, 7.5, 40, 1200} {
			near(t, a.ID+" there and back", a.Number(a.PerInch(n))/n, 1, 1e-12)
			for _, b := range all {
				near(t, a.ID+" through "+b.ID, Convert(Convert(n, a, b), b, a)/n, 1, 1e-12)
			}
		}
	}
}

func TestInAllCounts(t *testing.T) {
	got := InAllCounts(20)
	if len(got) != len(Counts()) {
		t.Fatalf("%d numbers", len(got))
	}
	for _, n := range got {
		switch n.Count.ID {
		case "dents-per-2-in":
			near(t, "number", n.Number, 40, 1e-12)
			near(t, "off", n.OffRel, 0, 1e-12)
		case "dents-per-10-cm": // 78.74: nearest whole 79, by hand (78.74-79)/78.74
			near(t, "number", n.Number, 78.7402, 1e-4)
			near(t, "off", n.OffRel, -0.0033, 1e-4)
		}
	}
	if InAllCounts(0) != nil || InAllCounts(math.Inf(1)) != nil || InAllCounts(math.NaN()) != nil {
		t.Error("a pitch that is none has numbers")
	}
}

// A "40" on an old reed that counts 20 to the inch is dents per two inches;
// on one that counts 22.2 it is beers in 36 in (40 × 20 / 36).
func TestReadStamp(t *testing.T) {
	ids := func(r []StampReading) string {
		var s []string
		for _, x := range r {
			s = append(s, x.Count.ID)
		}
		return strings.Join(s, " ")
	}
	if got := ids(ReadStamp(40, 20.02, 0.001)); got != "dents-per-2-in" {
		t.Errorf("20 per inch stamped 40: %q", got)
	}
	if got := ids(ReadStamp(40, 22.2, 0.001)); got != "beers-36-in" {
		t.Errorf("22.2 per inch stamped 40: %q", got)
	}
	if got := ReadStamp(37, 12, 0.001); got != nil {
		t.Errorf("12 per inch stamped 37: %v", got)
	}
	if ReadStamp(0, 12, 0.001) != nil || ReadStamp(12, math.NaN(), 0) != nil {
		t.Error("nothing stamped means something")
	}
	// the nearest comes first, and a wider uncertainty lets more in
	wide := ReadStamp(40, 21.8, 0.02)
	if len(wide) < 2 || wide[0].Z > wide[1].Z || wide[0].Count.ID != "porters-37-in" {
		t.Errorf("wide: %v", wide)
	}
}

func TestCountByIDUnknown(t *testing.T) {
	_, err := CountByID("ells")
	if err == nil || !strings.Contains(err.Error(), "dents-per-2-in") {
		t.Errorf("the error does not name what there is: %v", err)
	}
}
