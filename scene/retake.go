package scene

import "math"

// Retake describes another photo of the same part under the same ruler, as a
// person takes one who walks nearer or farther and holds the phone anew: the
// camera stands at `times` the distance, leans and aims otherwise, and nothing
// that lies on the table has moved. The same seed and factor give the same
// Spec. ok is false where no such photo can be answered by a person: then the
// Spec is only the last that was tried.
func Retake(s Spec, seed uint64, times float64, opt Ranges) (out Spec, ok bool) {
	m := &maker{Rand: stream(seed, forRetake), o: opt.filled()}
	m.perDent, m.shareGap, m.fineMark = m.o.PxPerDent, 0.3, 3.2
	const tries = 60
	for range tries {
		m.s = s
		m.s.Camera.DistanceMM = s.Camera.DistanceMM * times
		m.pose(m.viewMM())
		if m.s.Check() == nil && m.sharp() && m.answerable() {
			return m.s, true
		}
	}
	return m.s, false
}

// sharp says whether the marks of every scale stand far enough apart.
func (m *maker) sharp() bool {
	s := m.s
	pxMM := s.Camera.FocalPx(s.Width, s.Height) / s.Camera.DistanceMM
	for _, r := range s.Rulers {
		for _, sc := range r.Scales {
			step := sc.unitMM() / float64(sc.Divisions) * pxMM
			if step < m.fineMark || s.Sensor.BlurPx > 0.27*step {
				return false
			}
		}
	}
	return m.o.PxPerDent[0] <= s.Part.PitchMM()*pxMM && math.Abs(s.Camera.TiltDeg[0])+math.Abs(s.Camera.TiltDeg[1]) < 45
}
