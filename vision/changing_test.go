package vision

import (
	"math"
	"testing"
)

// A row whose slots are bright at one end and dark at the other changes, one whose slots are
// of one shape does not, however its contrast and its places change.
func TestSlotsThatChange(t *testing.T) {
	const bands, T = 30, 0.2
	slot := func(u, at float64) float64 { return math.Exp(-math.Pow((u-at)/(0.12*T), 2) / 2) }
	row := make([]Band, bands)
	for k := range row {
		row[k] = Band{Index: k, In: 1 + T*float64(k)}
	}
	for _, c := range []struct {
		name  string
		of    func(share, u, at float64) float64 // share: how far along the row
		least float64
		most  float64
	}{
		{"one shape", func(_, u, at float64) float64 { return slot(u, at) }, 0, 0.01},
		{"fading", func(share, u, at float64) float64 { return (1 - 0.8*share) * slot(u, at) }, 0, 0.01},
		{"a little off", func(share, u, at float64) float64 { return slot(u, at+0.1*T*share) }, 0, 0.1},
		{"bright to dark", func(share, u, at float64) float64 { return (1 - 2*share) * slot(u, at) }, 0.3, 1},
		{"wall to wall", func(share, u, at float64) float64 {
			return (1-share)*slot(u, at-0.1*T) - share*slot(u, at+0.1*T)
		}, 0.2, 1},
	} {
		g := signal{u0: 0.8, du: T / 40}
		for i := range int(math.Round((float64(bands) + 1) * 40)) {
			u := g.u0 + float64(i)*g.du
			k := math.Round((u - 1) / T)
			share := math.Min(math.Max(k/(bands-1), 0), 1)
			g.v = append(g.v, c.of(share, u, 1+T*k))
		}
		g = g.highPass(0.75 * T)
		if got := changedShape(g, row); got < c.least || got > c.most {
			t.Errorf("%s: changed by %.2f, want %.2f to %.2f", c.name, got, c.least, c.most)
		}
		if got := changedShape(g, row[:8]); got != 0 {
			t.Errorf("%s: %.2f of too few bands", c.name, got)
		}
	}
}

// Slots that change are in doubt where their backs are not seen apart from their fronts,
// from afar and in short rows, and there by millimetres of depth.
func TestDoubtOfSlotsThatChange(t *testing.T) {
	const perMM = 1.0 / 500
	for _, c := range []struct {
		changed, halfPx float64
		leastMM, mostMM float64
	}{{0, 150, 0, 0}, {0.1, 150, 0, 0}, {0.4, 150, 2, 4}, {0.4, 3000, 0, 0}} {
		if got := changingU(c.changed, c.halfPx, perMM) / perMM; got < c.leastMM || got > c.mostMM {
			t.Errorf("%+v: %.2f mm", c, got)
		}
	}
}
