package box

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"image"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
	"dentcount/shelf"
)

// Tag is an id tag that was seen in a photo; the zero Tag is none.
type Tag struct{ seen seenTag }

// ReadTag looks for an id tag of ours in a photo.
func ReadTag(p *photo.Photo) Tag {
	t, ok := findTag(p)
	if !ok {
		return Tag{}
	}
	return Tag{t}
}

// ID is the id on the tag; empty where there is none.
func (t Tag) ID() shelf.ID { return t.seen.ID }

// Check holds the ruler's scale against the printed one of the tag, and takes
// the certainty out of an answer where they disagree.
func (t Tag) Check(r *measure.Result) { compareScales(r, t.seen) }

// Covered runs f while the tag is covered in the photo's pixels, so that the
// scales on its edges are not taken for the ruler.
func (t Tag) Covered(p *photo.Photo, f func()) { t.seen.covered(p, f) }

// Measure measures a photo in which the tag was seen: the tag is covered
// meanwhile, so that its scales are not taken for the ruler, and the ruler is
// held against it afterwards. Where there is no other ruler the tag's own
// scales are one, and measuring is called a second time. For a tag that is
// none it just calls measuring.
func (t Tag) Measure(p *photo.Photo, measuring func() (measure.Result, error)) (r measure.Result, err error) {
	t.Covered(p, func() { r, err = measuring() })
	if err != nil {
		return r, err
	}
	if t.seen.Ruled && r.Ruler == nil {
		if r, err = measuring(); err == nil && r.Ruler != nil {
			r.Warnings = append(r.Warnings, "the ruler is the id tag's own scale, as true as it was printed")
		}
		return r, err
	}
	t.Check(&r)
	return r, nil
}

// Item is one measured photo that is to be kept on a shelf.
type Item struct {
	Name   string // as its owner calls it; shown and grouped by, never opened
	SHA256 string // of the file that was measured
	Bytes  int64
	Tag    Tag
	Result measure.Result
	// Version of the measuring, and the facts it was told.
	Version string
	Facts   measure.Options
	// Picture opens the photo that the evidence is drawn on: upright, of the size
	// that was measured. The caller of Picture closes it.
	Picture func() (*photo.Photo, error)
}

// Keep records measured photos on the shelf, finds which show one part, and
// gives the parts: one for each item, in their order.
func Keep(ctx context.Context, s *shelf.Shelf, items []Item, by GroupBy) ([]shelf.Part, error) {
	var photos []shown
	for _, it := range items {
		m, err := it.measurement()
		if err != nil {
			return nil, err
		}
		ph := shelf.Photo{SHA256: it.SHA256, Path: valid(it.Name), Bytes: it.Bytes, Tag: it.Tag.ID()}
		if _, err := s.Record(ctx, ph, m); err != nil {
			return nil, err
		}
		photos = append(photos, shown{rel: it.Name, sha256: it.SHA256, tag: it.Tag.ID(), kind: m.Kind})
	}
	groupOf := map[string]int{} // by digest
	var gs []shelf.Group
	for i, g := range groups(photos, by) {
		gs = append(gs, shelfGroup(g))
		for _, p := range g.photos {
			groupOf[p.sha256] = i
		}
	}
	ids, err := s.Assign(ctx, gs)
	if err != nil {
		return nil, err
	}
	var parts []shelf.Part
	for _, it := range items {
		p, err := s.Part(ctx, ids[groupOf[it.SHA256]])
		if err != nil {
			return nil, err
		}
		parts = append(parts, p)
	}
	return parts, nil
}

func (it Item) measurement() (shelf.Measurement, error) {
	p, err := it.Picture()
	if err != nil {
		return shelf.Measurement{}, err
	}
	defer p.Close()
	r := it.Result
	r.Photo = it.Name
	m, err := toShelf(p, r)
	m.Version = factsVersion(it.Version, it.Facts)
	return m, err
}

// shelfGroup is a group in the shelf's words; a photo twice in it counts once.
func shelfGroup(g group) shelf.Group {
	sg := shelf.Group{Origin: valid(g.name), Tag: g.tag}
	seen := map[string]bool{}
	for _, p := range g.photos {
		if !seen[p.sha256] {
			seen[p.sha256] = true
			sg.Photos = append(sg.Photos, p.sha256)
		}
		if sg.Kind == "" {
			sg.Kind = p.kind
		}
	}
	return sg
}

// handDigest names what was set by hand; empty where nothing was.
func handDigest(h measure.Hand) string {
	if h.ScaleIn == 0 && len(h.AddBands)+len(h.DropBands) == 0 {
		return ""
	}
	b, err := json.Marshal(h)
	if err != nil { // a number that is none; measuring refuses it
		return "?"
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:6])
}

// KeepLength records a length that was measured in a photo which is kept
// already; told are the options it was measured with.
func KeepLength(ctx context.Context, s *shelf.Shelf, it Item, r measure.LengthResult, told measure.LengthOptions) error {
	facts, err := json.Marshal(told)
	if len(r.Joined) > 0 { // the other photos tell it, too
		facts, err = json.Marshal(map[string]any{"told": told, "joined": r.Joined})
	}
	if err != nil {
		return fmt.Errorf("the facts of a length have no JSON form: %w", err)
	}
	r.Photo = valid(it.Name)
	var b bytes.Buffer
	if err := report.LengthJSON(&b, r); err != nil {
		return err
	}
	sum := sha256.Sum256(facts)
	m := shelf.Measurement{What: string(r.What), Version: it.Version + " told=" + hex.EncodeToString(sum[:6]), Status: string(r.Status),
		Confidence: r.Confidence, Reason: valid(r.Reason), Advice: valid(r.Advice), Result: b.Bytes()}
	if r.Length != nil {
		m.LengthIn, m.U = r.Length.In, r.Length.U
	}
	p, err := it.Picture()
	if err != nil {
		return err
	}
	defer p.Close()
	overlay := report.LengthOverlay
	if len(r.Joined) > 0 {
		overlay = func(p *photo.Photo, r measure.LengthResult) (image.Image, error) {
			return report.JoinedOverlay(p, r, 0)
		}
	}
	img, err := overlay(p, r)
	if err != nil {
		return err
	}
	if m.Picture, err = smallJPEG(img); err != nil {
		return err
	}
	_, err = s.Record(ctx, shelf.Photo{SHA256: it.SHA256, Path: valid(it.Name), Bytes: it.Bytes, Tag: it.Tag.ID()}, m)
	return err
}
