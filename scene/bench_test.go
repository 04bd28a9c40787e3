package scene

import (
	"testing"
)

// benchSpecs are 3-megapixel scenes of the usual kinds.
func benchSpecs(n int) []Spec {
	var out []Spec
	for i := range n {
		out = append(out, Random(uint64(7000+i), Ranges{AdverseShare: -1, LongSidePx: Range{2000, 2000}}))
	}
	return out
}

// BenchmarkDraw is one scene of about 3 megapixels, drawn and encoded.
func BenchmarkDraw(b *testing.B) {
	specs := benchSpecs(24)
	px, i := 0, 0
	for b.Loop() {
		s := specs[i%len(specs)]
		i++
		img, _, err := Draw(s)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := Encode(s, img); err != nil {
			b.Fatal(err)
		}
		px += s.Width * s.Height
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(px)*3e6, "s/3MP")
}
