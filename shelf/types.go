package shelf

import (
	"encoding/json"
	"math"
	"strings"
	"time"
	"unicode/utf8"
)

// By says whose word a believed value is.
type By string

// Who can be believed.
const (
	ByNobody By = ""       // nothing known
	ByPhoto  By = "photo"  // measured
	ByPerson By = "person" // settled by a person
)

// Size is a dent size: a label in a system ("12", "inch"; "40/10", "metric"),
// and what it is in dents per inch.
type Size struct {
	Label   string
	System  string
	PerInch float64
}

// SizeBelief is the size that is believed of a part.
type SizeBelief struct {
	Size
	U          float64 // standard uncertainty of the measured dents per inch; 0 where a person's word counts
	Confidence float64 // probability that the label is right; 0 where a person's word counts
	By         By
	// Doubt says why the size is not to be relied on yet; empty where it is.
	// Advice says what would settle it.
	Doubt, Advice string
}

// LengthBelief is a length that is believed of a part, in inches; By is
// ByNobody where none is known.
type LengthBelief struct {
	In float64
	U  float64 // standard uncertainty; 0 where a person's word counts
	By By
}

// Part is one reed or heddle that is owned.
type Part struct {
	ID      ID
	Kind    string
	Name    string // what its owner calls it
	Place   string // where it hangs
	Note    string
	Origin  string // how it came here
	AddedAt time.Time

	// What is believed of it now. AddPart ignores these: they follow from
	// measurements and decisions.
	Size                 SizeBelief
	Length, Sley, Height LengthBelief
	Gone                 bool
}

// Photo is one picture file by its content.
type Photo struct {
	SHA256 string // hex
	Path   string // where it was last seen
	Bytes  int64
	Part   ID // "" until it is known whose picture it is
	Tag    ID // id read from a tag in the picture; "" where there is none
	SeenAt time.Time
}

// What can be measured of a part: the dent size, or one of the lengths.
const (
	WhatDentSize    = "dent-size"
	WhatReedLength  = "reed-length"
	WhatSleyWidth   = "sley-width"
	WhatReedHeight  = "reed-height"
	WhatHeddleWidth = "heddle-width"
	WhatString      = "string-heddle"
	WhatWire        = "wire-heddle"
)

// The statuses of a measurement: measured and the size trusted, measured and
// the size not certain, nothing measured.
const (
	Answered = "answered"
	Unsure   = "unsure"
	Refused  = "refused"
)

var statuses = []string{Refused, Unsure, Answered} // weakest first

// Measurement is what one photo said, by one version of the measuring.
// Zero numbers mean: not measured.
type Measurement struct {
	Photo      string // its SHA256
	What       string
	Version    string // of the measuring, together with the facts it was told
	Status     string // Answered, Unsure or Refused
	Kind       string // the part as the photo was read
	Size       Size
	U          float64 // standard uncertainty of Size.PerInch, or of LengthIn
	Confidence float64
	LengthIn   float64
	Reason     string
	Advice     string
	Result     json.RawMessage // the whole result
	Evidence   json.RawMessage // the geometry behind it
	Picture    []byte          // small annotated JPEG
	At         time.Time
}

// Fields that a person can settle.
const (
	FieldSize   = "size"
	FieldLength = "length"
	FieldSley   = "sley-width"
	FieldHeight = "height"
	FieldKind   = "kind"
	FieldGone   = "gone" // sold, broken, given away
)

var fields = []string{FieldSize, FieldLength, FieldSley, FieldHeight, FieldKind, FieldGone}

// Decision is a person's word about one field of a part. It is kept for good;
// the last word counts.
type Decision struct {
	UID       string // made by Settle
	Part      ID
	Field     string
	Size      Size    // for FieldSize; Label alone for FieldKind
	In        float64 // for the lengths
	Withdrawn bool    // takes back what was said before: what was measured counts again
	Note      string
	At        time.Time
}

// Order is an order sheet as it was made out.
type Order struct {
	UID   string // made by SaveOrder where empty
	Title string
	State string // draft, sent, received
	Facts json.RawMessage
	Lines []OrderLine
	At    time.Time
}

// OrderLine is one line of an Order.
type OrderLine struct {
	Part     ID // what it replaces or resembles; may be ""
	Quantity int
	Words    string // the line as it is read
	Facts    json.RawMessage
}

// checkText holds the rule for all stored text.
func checkText(what string, texts ...string) error {
	for _, s := range texts {
		if !utf8.ValidString(s) {
			return badValue("write it in UTF-8", "the %s %q is not valid text", what, s)
		}
		if strings.IndexByte(s, 0) >= 0 {
			return badValue("leave the NUL character out", "the %s %q holds a NUL character", what, s)
		}
	}
	return nil
}

// checkNumbers refuses what SQL cannot hold (NaN) and what no part can be.
func checkNumbers(what string, xs ...float64) error {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
			return badValue("", "the %s %v is not a length, count or probability", what, x)
		}
	}
	return nil
}

// compactJSON gives raw in the one form that is stored, so that an export and
// its import are the same to the byte. Empty stays empty, and null is empty.
func compactJSON(what string, raw json.RawMessage) (string, error) {
	if len(raw) == 0 {
		return "", nil
	}
	if !utf8.Valid(raw) {
		return "", badValue("", "the %s is not valid UTF-8", what)
	}
	if !json.Valid(raw) {
		return "", badValue("", "the %s is not valid JSON", what)
	}
	if text := string(mustCompact(raw)); text != "null" {
		return text, nil
	}
	return "", nil
}
