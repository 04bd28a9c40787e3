package calib

import (
	"math"
	"math/rand/v2"
	"testing"
)

// veiledRow are wires of unlike brightness along a row: as they are, and as they are seen
// through a face that lets a share see of their light through and adds its own, blurs them
// and shows them a little aside. Both are encoded as photos are and lack their mean.
func veiledRow(n int, pitchPx float64, rng *rand.Rand) (wires []float64, seen []float32) {
	const see, face, gamma = 0.7, 0.5, 2.2
	bright := make([]float64, int(float64(n)/pitchPx)+2)
	for i := range bright {
		bright[i] = 0.3 + 0.6*rng.Float64()
	}
	light := func(x, sigma float64) float64 {
		sum := 0.03
		for k, b := range bright {
			sum += b * math.Exp(-math.Pow((x-float64(k)*pitchPx)/sigma, 2)/2) * 1.6 / sigma
		}
		return math.Min(sum, 1)
	}
	encode := func(v float64) float64 { return 255 * math.Pow(v, 1/gamma) }
	bare, through := make([]float64, n), make([]float64, n)
	for i := range n {
		bare[i] = encode(light(float64(i), 1.6))
		through[i] = encode(see*light(float64(i)-0.4, 2) + (1-see)*face)
	}
	wires = highPass(bare, 32)
	for _, v := range highPass(through, 32) {
		seen = append(seen, float32(v))
	}
	return wires, seen
}

// A transparent face blurs wires and lightens what is dark the most: that goes with
// them, and marks stay.
func TestTakingTakesWiresThatAreVeiledAndBlurred(t *testing.T) {
	const n = 900
	wires, seen := veiledRow(n, 15.3, rand.New(rand.NewPCG(41, 42)))
	rms := func(v []float32) float64 {
		var sum float64
		for _, x := range v[20 : n-20] {
			sum += float64(x) * float64(x)
		}
		return math.Sqrt(sum / (n - 40))
	}
	take := newTaking(wires, nil, 120)
	left, off := take.from(seen)
	if got := rms(left) / rms(seen); got > 0.06 { // 0.07 without the square, 0.12 without how the slope turns
		t.Errorf("%.3f of the wires is left", got)
	}
	for i := range left {
		if d := float64(left[i] + off[i] - seen[i]); math.Abs(d) > 1e-3 {
			t.Fatalf("at %d %.3f is neither left nor taken off", i, d)
		}
	}
	const ink = 90 // grey levels
	marked := append([]float32(nil), seen...)
	var at []int
	for x := 25.0; x < n-25; x += 15.3 * 4 / 3 { // every third on a wire
		at = append(at, int(x))
		marked[int(x)] -= ink
	}
	still, _ := take.from(marked)
	kept := 0.0
	for _, i := range at {
		kept += float64(left[i]-still[i]) / ink / float64(len(at))
	}
	if kept < 0.85 {
		t.Errorf("%.2f of the marks is kept", kept)
	}
	for i := range still {
		if marked[i] != seen[i] {
			still[i] = left[i]
		}
	}
	if got := rms(still) / rms(left); got > 1.3 {
		t.Errorf("beside the marks %.2f times as much of the wires is left as without marks", got)
	}
	// what the picture's rim cuts off is nothing, and spoils nothing beside it
	for i := range 300 {
		seen[i] = nan32
	}
	left, off = take.from(seen)
	if left[0] != 0 || off[299] != 0 {
		t.Errorf("%.3f left and %.3f taken off where nothing is seen", left[0], off[299])
	}
	if got := rms(left) / rms(off); got > 0.1 {
		t.Errorf("%.3f of the wires is left beside the rim", got)
	}
}

// Wires that go on as they are beside the edge, and others that go on as they are farther
// inside, are both taken off: the row tells which, and where.
func TestTakingAsksTheRowWhichWiresGoOn(t *testing.T) {
	const n, half = 1800, 120
	_, seen := veiledRow(n, 15.3, rand.New(rand.NewPCG(41, 42)))
	other, _ := veiledRow(n, 15.3, rand.New(rand.NewPCG(43, 44)))
	right := make([]float64, n)
	for i, v := range seen {
		right[i] = float64(v)
	}
	beside := append(append([]float64(nil), right[:n/2]...), other[n/2:]...)
	within := append(append([]float64(nil), other[:n/2]...), right[n/2:]...)
	left := func(take *taking, lo, hi int) float64 {
		l, _ := take.from(seen)
		var rest, all float64
		for i := lo; i < hi; i++ {
			rest, all = rest+float64(l[i])*float64(l[i]), all+right[i]*right[i]
		}
		return math.Sqrt(rest / all)
	}
	alone, both := newTaking(beside, nil, half), newTaking(beside, within, half)
	for _, s := range [][2]int{{half, n/2 - half}, {n/2 + half, n - half}} {
		if got := left(both, s[0], s[1]); got > 0.05 {
			t.Errorf("from %d to %d %.3f of the wires is left", s[0], s[1], got)
		}
	}
	if got := left(alone, n/2+half, n-half); got < 0.2 {
		t.Errorf("%.3f is left by wires that are others: nothing is tried here", got)
	}
}
