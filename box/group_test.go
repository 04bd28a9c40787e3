package box

import (
	"fmt"
	"strings"
	"testing"

	"dentcount/shelf"
)

func TestNameKey(t *testing.T) {
	for _, c := range []struct {
		names string // that belong together; a bar sets others apart
	}{
		{"reed-07-1.jpg reed-07-2.jpg reed-07.jpg reed-07_12.png"},
		{"reed7a.jpg reed7b.JPG reed7-c.jpg"},
		{"12.jpg|12½.jpg"},
		{"reed-1.jpg|reed-2.jpg"},         // no number of its own: these count reeds
		{"IMG_0001.jpg|IMG_0002.jpg"},     // a camera counts photos
		{"IMG_1234.jpg IMG_1234-2.jpg"},   // two of one
		{"DSC-01.jpg|DSC-02.jpg|DSC.jpg"}, //
		{"2024-05-17.jpg|2024-05-18.jpg"}, // dates
		{"20240517_101112.jpg|20240517_101113.jpg"},
		{"a/7-1.jpg a/7-2.jpg|b/7-1.jpg"}, // other folders are other reeds
		{"front.jpg|back.jpg"},
	} {
		seen := map[string]int{}
		for i, together := range strings.Split(c.names, "|") {
			want := ""
			for _, n := range strings.Fields(together) {
				k := nameKey(n)
				if want == "" {
					want = k
				}
				if k != want {
					t.Errorf("%s: %q has the key %q, want %q", c.names, n, k, want)
				}
				if j, ok := seen[k]; ok && j != i {
					t.Errorf("%s: %q is taken together with another part (%q)", c.names, n, k)
				}
				seen[k] = i
			}
		}
	}
	if got := nameKey("12 (2).jpg"); got != nameKey("12.jpg") {
		t.Errorf("%q", got)
	}
}

func TestGroups(t *testing.T) {
	A, B := shelf.DerivedID("A", 0), shelf.DerivedID("B", 0)
	for _, c := range []struct {
		by     GroupBy
		photos string // name, or name=TAG
		want   string
	}{
		{ByName, "7-1 7-2 8", "7-1+7-2 8"},
		{Apart, "7-1 7-2 8", "7-1 7-2 8"},
		{"", "7-1 7-2 8", "7-1+7-2 8"},
		{ByFolder, "7-1 7-2 d/x d/y d/e/z", "7-1+7-2 d/x+d/y d/e/z"},
		{ByName, "7-1 7-2=A 8", "A:7-1+7-2 8"},         // the tag names its group
		{ByName, "7-1=A 8=A d/9=A", "A:7-1+8+d/9"},     // one tag, one part
		{ByName, "7-1=A 7-2=B 7-3", "A:7-1 B:7-2 7-3"}, // two tags: the rest stays apart
		{ByName, "7-1=A 7-2=B 7-3=A", "A:7-1+7-3 B:7-2"},
		{Apart, "7-1=A 7-2=A 8", "A:7-1+7-2 8"},
		{ByFolder, "d/x=A d/y e/x", "A:d/x+d/y e/x"},
		{ByName, "", ""},
	} {
		var photos []shown
		for _, f := range strings.Fields(c.photos) {
			name, tag, _ := strings.Cut(f, "=")
			photos = append(photos, shown{rel: name, sha256: name, tag: map[string]shelf.ID{"A": A, "B": B}[tag]})
		}
		var out []string
		for _, g := range groups(photos, c.by) {
			var names []string
			for _, p := range g.photos {
				names = append(names, p.rel)
			}
			s := strings.Join(names, "+")
			if g.tag != "" {
				s = map[shelf.ID]string{A: "A:", B: "B:"}[g.tag] + s
			}
			out = append(out, s)
		}
		if got := strings.Join(out, " "); got != c.want {
			t.Errorf("%s %q: %s, want %s", c.by, c.photos, got, c.want)
		}
	}
}

// However photos are named, none is lost and none is in two groups.
func FuzzGroups(f *testing.F) {
	f.Add("a-1\nb\nc/a-1", 0)
	f.Fuzz(func(t *testing.T, names string, by int) {
		var photos []shown
		for i, n := range strings.Split(names, "\n") {
			p := shown{rel: n, sha256: fmt.Sprint(i)}
			if len(n)%3 == 1 {
				p.tag = shelf.DerivedID(n[:1], 0)
			}
			photos = append(photos, p)
		}
		count := map[string]int{}
		for _, g := range groups(photos, []GroupBy{ByName, ByFolder, Apart}[uint(by)%3]) {
			for _, p := range g.photos {
				count[p.sha256]++
				if p.tag != "" && p.tag != g.tag {
					t.Errorf("%q with the tag %s is in the group of %s", p.rel, p.tag, g.tag)
				}
			}
		}
		for _, p := range photos {
			if count[p.sha256] != 1 {
				t.Errorf("%q is in %d groups", p.rel, count[p.sha256])
			}
		}
	})
}
