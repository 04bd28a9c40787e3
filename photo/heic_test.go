package photo

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image/color"
	"sync"
	"testing"
)

// A HEIC is turned by its container's irot and imir, and the EXIF orientation
// that phones write beside them, meaning the same turn, is not applied again
// (ISO/IEC 23008-12: transformative properties are normative, EXIF is not).
func TestHEICTurnedOnce(t *testing.T) {
	// Which properties say the same as an EXIF orientation: irot turns
	// anticlockwise by quarters; imir 1 swaps left and right, 0 top and
	// bottom; they are applied in the order given.
	irot := func(quarters byte) heicProp { return heicProp{"irot", []byte{quarters}, true} }
	imir := func(axis byte) heicProp { return heicProp{"imir", []byte{axis}, true} }
	for o, props := range map[int][]heicProp{
		1: nil,
		2: {imir(1)},
		3: {irot(2)},
		4: {imir(0)},
		5: {irot(1), imir(0)},
		6: {irot(3)},
		7: {irot(3), imir(0)},
		8: {irot(1)},
	} {
		t.Run(fmt.Sprint(o), func(t *testing.T) {
			data := heicTurned(t, o, props)
			if m := readMeta(formatHEIC, data); m.orientation != o {
				t.Fatalf("the block of EXIF says orientation %d, the test wants %d", m.orientation, o)
			}
			p := mustDecode(t, data)
			if p.Focal35 != 26 {
				t.Errorf("focal length %v, want 26", p.Focal35)
			}
			w, h := cardW, cardH
			if o >= 5 {
				w, h = h, w
			}
			if p.Pixels.Cols() != w || p.Pixels.Rows() != h {
				t.Fatalf("%d × %d px, want %d × %d", p.Pixels.Cols(), p.Pixels.Rows(), w, h)
			}
			// The stored picture is the upright card; shown, it is turned.
			for _, s := range cardPoints {
				x, y := whereTurned(o, s.X, s.Y)
				v := p.Pixels.GetVecbAt(y, x)
				got, want := color.NRGBA{v[2], v[1], v[0], 255}, cardAt(s.X, s.Y)
				if max(absInt(int(got.R)-int(want.R)), absInt(int(got.G)-int(want.G)),
					absInt(int(got.B)-int(want.B))) > 12 {
					t.Errorf("stored pixel %v is shown at %d, %d as %v, want %v", s, x, y, got, want)
				}
			}
		})
	}
}

// whereTurned is whereShown for a stored picture of the card's size.
func whereTurned(o, sx, sy int) (x, y int) {
	right, bottom := cardW-1, cardH-1
	switch o {
	case 1:
		return sx, sy
	case 2:
		return right - sx, sy
	case 3:
		return right - sx, bottom - sy
	case 4:
		return sx, bottom - sy
	case 5:
		return sy, sx
	case 6:
		return bottom - sy, sx
	case 7:
		return bottom - sy, right - sx
	case 8:
		return sy, right - sx
	}
	panic("no such orientation")
}

type heicProp struct {
	kind string
	body []byte
	ours bool // whether it is one of the picture's properties
}

// heicTurned is the card's HEIC with properties added to its picture and
// another orientation in its EXIF.
func heicTurned(t *testing.T, o int, props []heicProp) []byte {
	t.Helper()
	be := binary.BigEndian
	data := bytes.Clone(cardHEIC)
	tag := []byte{0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, 6}
	i := bytes.Index(data, tag)
	if i < 0 {
		t.Fatal("testdata/card.heic has no orientation 6 in its EXIF")
	}
	data[i+9] = byte(o)
	grown := 0
	insert := func(at int, b []byte) {
		data = append(data[:at:at], append(bytes.Clone(b), data[at:]...)...)
		grown += len(b)
	}
	grow := func(box string, by int) int { // and where the box's size field is
		at := bytes.Index(data, []byte(box)) - 4
		be.PutUint32(data[at:], be.Uint32(data[at:])+uint32(by))
		return at
	}
	ipco := bytes.Index(data, []byte("ipco")) - 4
	known := 0
	for at := ipco + 8; at < ipco+int(be.Uint32(data[ipco:])); at += int(be.Uint32(data[at:])) {
		known++
	}
	for _, p := range props {
		at := ipco + int(be.Uint32(data[ipco:]))
		size := 8 + len(p.body)
		insert(at, append(append([]byte{0, 0, 0, byte(size)}, p.kind...), p.body...))
		grow("ipco", size)
		grow("iprp", size)
		grow("meta", size)
		known++
		if !p.ours {
			continue
		}
		// ipma: version and flags, one entry: item, number of properties, them.
		ipma := grow("ipma", 1)
		if be.Uint32(data[ipma+8:]) != 0 || be.Uint32(data[ipma+12:]) != 1 {
			t.Fatal("testdata/card.heic has another kind of property list than the test knows")
		}
		n := int(data[ipma+18])
		data[ipma+18]++
		insert(ipma+19+n, []byte{0x80 | byte(known)}) // essential
		grow("iprp", 1)
		grow("meta", 1)
	}
	shiftItems(t, data, grown)
	return data
}

// shiftItems moves the places in the file that the item location box names.
func shiftItems(t *testing.T, data []byte, by int) {
	be := binary.BigEndian
	iloc := bytes.Index(data, []byte("iloc")) - 4
	if version, sizes := data[iloc+8], be.Uint16(data[iloc+12:]); version != 0 || sizes != 0x4440 {
		t.Fatalf("testdata/card.heic has an iloc of version %d and sizes %#x, which the test does not know", version, sizes)
	}
	at := iloc + 16
	for range be.Uint16(data[iloc+14:]) {
		// Item and data reference, base, number of extents, each 4 + 4 bytes.
		be.PutUint32(data[at+4:], be.Uint32(data[at+4:])+uint32(by))
		at += 10 + 8*int(be.Uint16(data[at+8:]))
	}
}

// The limits hold for everything a HEIC says it holds, not for the picture
// alone that is shown: a tile or a preview, too, would be decoded.
func TestHEICSecondSize(t *testing.T) {
	spatial := func(w, h uint32) heicProp {
		body := binary.BigEndian.AppendUint32(make([]byte, 4), w)
		return heicProp{"ispe", binary.BigEndian.AppendUint32(body, h), false}
	}
	_, err := Decode("tile", heicTurned(t, 1, []heicProp{spatial(60000, 60000)}))
	checkRefusal(t, "tile", err, ErrTooManyPx)
	checkCard(t, mustDecode(t, heicTurned(t, 1, []heicProp{spatial(80, 48)})).Pixels, 12)
}

// Several HEIC at once, as the batch and the page have them.
func TestHEICAtOnce(t *testing.T) {
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range 5 {
				p, err := Decode("card", cardHEIC)
				if err != nil {
					t.Error(err)
					return
				}
				p.Close()
			}
		})
	}
	wg.Wait()
}
