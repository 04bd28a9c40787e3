package box

import (
	"fmt"
	"image"
	"image/color"
	"math"

	"github.com/makiuchi-d/gozxing"
	zxqr "github.com/makiuchi-d/gozxing/qrcode"
	"gocv.io/x/gocv"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
	"dentcount/shelf"
)

// tagLongPx is the long side to which a photo is reduced before its QR code is
// looked for: at a foot of scene in view a module of 1 mm is still six pixels.
const tagLongPx = 2000

// seenTag is an id tag in a picture.
type seenTag struct {
	shelf.Tag
	// plane is the printed side of the tag as the photo shows it; nil where
	// the tag does not tell its size, or is too small or too blurred for it.
	plane *tagPlane
}

// findTag looks for an id tag of ours. Not finding one is no error.
func findTag(p *photo.Photo) (tag seenTag, ok bool) {
	// The decoder is meant for clean pictures of codes; a photo that it trips
	// over has no tag, and is measured all the same.
	defer func() {
		if recover() != nil {
			tag, ok = seenTag{}, false
		}
	}()
	grey := p.GrayMat()
	defer grey.Close()
	k := min(1, tagLongPx/float64(max(grey.Cols(), grey.Rows())))
	small := grey
	if k < 1 {
		small = gocv.NewMat()
		defer small.Close()
		gocv.Resize(grey, &small, image.Point{}, k, k, gocv.InterpolationArea)
	}
	img, err := small.ToImage()
	if err != nil {
		return seenTag{}, false
	}
	bmp, err := gozxing.NewBinaryBitmapFromImage(img)
	if err != nil {
		return seenTag{}, false
	}
	res, err := zxqr.NewQRCodeReader().Decode(bmp, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
	if err != nil {
		return seenTag{}, false
	}
	t, ok := shelf.ParseTag(res.GetText())
	if !ok {
		return seenTag{}, false
	}
	tag.Tag = t
	if pts := res.GetResultPoints(); t.SideMM > 0 && len(pts) >= 3 {
		var at [3]vec
		for i := range at {
			at[i] = vec{pts[i].GetX()/k - 0.5, pts[i].GetY()/k - 0.5}
		}
		tag.plane = registerTag(grey, at, float64(t.SideMM)/25.4)
	}
	return tag, true
}

// covered lays a plain card over an id tag in the picture while f runs.
func (tag seenTag) covered(p *photo.Photo, f func()) {
	if !tag.Ruled || tag.plane == nil {
		f()
		return
	}
	const around = 0.5 // mm, for a cut beside the line
	left, top, right, bottom := report.TagOutline()
	left, top, right, bottom = left-around, top-around, right+around, bottom+around
	half := float64(tag.SideMM) / 2
	var outline []image.Point
	box := image.Rectangle{}
	for _, c := range []vec{{left, top}, {right, top}, {right, bottom}, {left, bottom}} {
		q := tag.plane.toPhoto(vec{c.x / half, c.y / half})
		pt := image.Pt(int(math.Round(q.x)), int(math.Round(q.y)))
		outline = append(outline, pt)
		box = box.Union(image.Rectangle{Min: pt, Max: pt.Add(image.Pt(1, 1))})
	}
	box = box.Intersect(image.Rect(0, 0, p.Pixels.Cols(), p.Pixels.Rows()))
	if box.Empty() {
		f()
		return
	}
	view := p.Pixels.Region(box)
	defer view.Close()
	before := view.Clone()
	defer before.Close()
	defer func() { before.CopyTo(&view) }()
	poly := gocv.NewPointsVectorFromPoints([][]image.Point{outline})
	defer poly.Close()
	paper := uint8(tag.plane.light)
	gocv.FillPoly(&p.Pixels, poly, color.RGBA{R: paper, G: paper, B: paper})
	f()
}

// scaleTolerance is how far the scales of a tag and of the ruler may be apart
// beside what the reading of the tag leaves open, relative. A ruler of 3 mm
// lies 1 % nearer to a camera at 300 mm than a tag on the wires, a printer
// keeps its scale to half a per cent, and a lens that bends straight lines
// adds as much between the tag and the ruler (common practice, no source).
// What is to be found out is well over it: a page shrunk to fit (3 to 6 %),
// tenths taken for eighths, a centimetre taken for an inch.
const scaleTolerance = 0.02

// labelTolerance is the same for a label: it is stuck where there is room, on a
// baulk or an end cap, which lies up to 15 mm nearer to the camera.
const labelTolerance = 0.06

// compareScales holds the ruler's scale against that of the tag. Where they
// are at odds one of them is wrong, and the photo cannot say which.
func compareScales(r *measure.Result, tag seenTag) {
	if r.Ruler == nil || tag.plane == nil {
		return
	}
	ratio, relU, ok := tag.plane.perRuler(r.Ruler)
	off := max(ratio, 1/ratio) - 1
	tolerance := scaleTolerance
	if !tag.Ruled {
		tolerance = labelTolerance
	}
	if !ok || off <= tolerance+2*relU {
		return
	}
	what := "the printed scale of the id tag"
	advice := "see that the tag was printed at 100 % (its lower scale is 100 mm long) and lies flat on the wires beside the ruler; then take the photo again, or count by hand"
	if !tag.Ruled {
		what = "the QR code on the label"
		advice = "see that the label was printed at 100 % and lies flat, or leave it out of the photo; then take the photo again, or count by hand"
	}
	problem := fmt.Sprintf("the ruler and %s differ by %.0f %%", what, 100*off)
	if r.Status != measure.Answered {
		r.Warnings = append(r.Warnings, problem)
		return
	}
	r.Status, r.Order = measure.Unsure, ""
	r.Reason, r.Advice = problem, advice
	if r.Size != nil {
		r.Size.Confidence = min(r.Size.Confidence, 0.5)
	}
}
