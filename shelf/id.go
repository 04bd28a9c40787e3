package shelf

import (
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"
)

// ID names a part: seven characters and a check character, written in two
// groups of four ("K7M4-PXWC"). It is short enough to read aloud or to write
// on an end cap with a marker.
//
// The alphabet has 19 characters. Left out are those a reader mixes up on a
// worn label (0 O Q D, 1 I L, 2 Z, 5 S, 6 G, 8 B, U V: of each group at most
// one stays) and the vowels, so that no id spells a word. Nineteen is prime:
// with the character at place i (from 1) weighted by i, the sum over all
// eight places is 0 modulo 19, and so every single wrong character and every
// exchange of two characters, neighbours or not, is caught.
type ID string

const (
	idAlphabet = "346789CFHJKMNPRTWXY"
	idLen      = 8
)

// ErrID is wrapped by every complaint about a mistyped id.
var ErrID = errors.New("not an id")

// NewID draws an id from r; nil means the system's random source.
func NewID(r io.Reader) (ID, error) {
	if r == nil {
		r = rand.Reader
	}
	// 19·13 = 247: bytes from there on would favour some characters.
	const fair = 256 - 256%len(idAlphabet)
	var body [idLen - 1]byte
	var b [1]byte
	for i := 0; i < len(body); {
		if _, err := io.ReadFull(r, b[:]); err != nil {
			return "", fmt.Errorf("no random numbers for a new id: %w", err)
		}
		if int(b[0]) < fair {
			body[i] = b[0] % byte(len(idAlphabet))
			i++
		}
	}
	return idFrom(body), nil
}

// DerivedID gives the id that belongs to a seed (such as the digest of a
// photo): the same for the same seed and attempt, on every machine. attempt
// counts up from 0 while an id is already taken by something else.
func DerivedID(seed string, attempt int) ID {
	sum := sha256.Sum256([]byte(strconv.Itoa(attempt) + "\x00" + seed))
	// 8 bytes hold far more than 19⁷, so the remainders are as good as even.
	var n uint64
	for _, b := range sum[:8] {
		n = n<<8 | uint64(b)
	}
	var body [idLen - 1]byte
	for i := range body {
		body[i] = byte(n % uint64(len(idAlphabet)))
		n /= uint64(len(idAlphabet))
	}
	return idFrom(body)
}

func idFrom(body [idLen - 1]byte) ID {
	var out [idLen]byte
	sum := 0
	for i, v := range body {
		out[i] = idAlphabet[v]
		sum += (i + 1) * int(v)
	}
	n := len(idAlphabet)
	// Find c with sum + idLen·c ≡ 0; idLen has an inverse modulo a prime.
	for c := 0; c < n; c++ {
		if (sum+idLen*c)%n == 0 {
			out[idLen-1] = idAlphabet[c]
			break
		}
	}
	return ID(out[:])
}

// ParseID reads an id as a person types it: any case, with or without
// hyphens and spaces. The error says which character is wrong, as far as can
// be told; it wraps ErrID.
func ParseID(s string) (ID, error) {
	var out []byte
	sum := 0
	for _, r := range s {
		if r == '-' || r == ' ' || r == '\u00a0' || r == '\u2011' || r == '\u2013' {
			continue
		}
		u := r
		if 'a' <= u && u <= 'z' {
			u -= 'a' - 'A'
		}
		v := -1
		if u < utf8.RuneSelf {
			v = strings.IndexByte(idAlphabet, byte(u))
		}
		if v < 0 {
			return "", fmt.Errorf("%w: %q is in no id; ids have only the characters %s", ErrID, string(r), idAlphabet)
		}
		if len(out) == idLen {
			return "", fmt.Errorf("%w: %q is too long; an id has %d characters", ErrID, s, idLen)
		}
		out = append(out, byte(u))
		sum += len(out) * v
	}
	if len(out) != idLen {
		return "", fmt.Errorf("%w: %q has %d characters; an id has %d, such as %s", ErrID, s, len(out), idLen, DerivedID("", 0))
	}
	if sum%len(idAlphabet) != 0 {
		return "", fmt.Errorf("%w: %q has a wrong or exchanged character (its check character does not fit); read the label again", ErrID, s)
	}
	return ID(out), nil
}

// String gives the id as it is printed, in two groups of four.
func (id ID) String() string {
	if len(id) != idLen {
		return string(id)
	}
	return string(id[:4]) + "-" + string(id[4:])
}

// tagPrefix opens the text in a QR code, so that another QR code that happens
// to lie in a photo (on a parcel, say) is not taken for one of ours.
const tagPrefix = "DENT:"

// A Tag is what the QR code of a label or an id tag says.
type Tag struct {
	ID ID
	// SideMM is the printed side of the QR symbol in whole millimetres,
	// outer edge to outer edge without its quiet zone; 0: not told.
	SideMM int
	// Ruled says that the print is an id tag, with scales on two of its edges,
	// and no label.
	Ruled bool
}

// Text gives the text for the QR code. It stays within the letters of QR's
// alphanumeric mode and within 20 characters, which fit the smallest symbol
// (version 1, 21 modules a side) at error level M, so that the modules are as
// large as the label allows (ISO/IEC 18004, capacity table: version 1-M holds
// 20 alphanumeric characters).
func (t Tag) Text() string {
	s := tagPrefix + string(t.ID)
	if t.SideMM > 0 {
		s += ":Q" + strconv.Itoa(t.SideMM)
	}
	if t.Ruled {
		s += ":R1" // the first layout of its scales
	}
	return s
}

// ParseTag reads the text of a QR code. ok is false where it is not one of
// ours; a text that claims to be ours and is damaged is not one either.
func ParseTag(text string) (t Tag, ok bool) {
	rest, ours := strings.CutPrefix(text, tagPrefix)
	if !ours {
		return Tag{}, false
	}
	idText, extra, _ := strings.Cut(rest, ":")
	id, err := ParseID(idText)
	if err != nil || string(id) != idText {
		return Tag{}, false
	}
	t.ID = id
	// Fields after the id are each a letter and a value; unknown ones are for
	// a later dentcount and are passed over.
	for _, f := range strings.Split(extra, ":") {
		if v, isSide := strings.CutPrefix(f, "Q"); isSide {
			n, err := strconv.Atoi(v)
			if err != nil || n <= 0 || n > 999 {
				return Tag{}, false
			}
			t.SideMM = n
		}
		t.Ruled = t.Ruled || f == "R1"
	}
	return t, true
}
