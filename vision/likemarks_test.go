package vision

import (
	"testing"

	"dentcount/calib"
)

// Sixteenths that stand before the traced edge, and slots of 6.4 an inch beyond them, come
// again together after two slots and five marks.
func TestToneLikeMarks(t *testing.T) {
	s := calib.Scale{Unit: calib.Inch, Divisions: 16}
	for _, c := range []struct {
		name string
		tone tone
		want bool
	}{
		{"the marks", tone{PerInch: 16.01, Strongest: 16.01}, true},
		{"marks twice as fine", tone{PerInch: 31.97, Strongest: 31.97}, true},
		{"marks and slots", tone{PerInch: 3.2, Strongest: 15.99}, true},
		{"slots of whose lines the second is the strongest", tone{PerInch: 6.4, Strongest: 12.8}, false},
	} {
		if got := c.tone.likeMarks(s); got != c.want {
			t.Errorf("%s: like marks %v, want %v", c.name, got, c.want)
		}
	}
}
