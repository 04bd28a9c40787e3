package box

import (
	"path"
	"regexp"
	"strings"

	"dentcount/shelf"
)

// GroupBy says which photos show one part. Id tags in the pictures always
// count; these are for the photos without one.
type GroupBy string

// The ways to group.
const (
	// ByName takes photos of one folder together whose names differ in the
	// shot alone: reed-07-1 and reed-07-2, reed7a and reed7b, 12 and 12 (2).
	ByName GroupBy = "name"
	// ByFolder takes the photos of each sub-folder together, and those
	// directly in the sorted folder by name.
	ByFolder GroupBy = "folder"
	// Apart takes every photo for a part of its own.
	Apart GroupBy = "none"
)

// shotSuffix is what numbers the shots of one part at the end of a name: one
// or two digits after a hyphen, underscore or space, or in brackets, or one
// small letter after a digit or one of these. Longer numbers count photos, as
// cameras do, not shots.
var (
	shotNumber = regexp.MustCompile(`^(.*[0-9].*?)(?:[-_ ]+[0-9]{1,2}|[-_ ]*\([0-9]{1,2}\))$`)
	shotLetter = regexp.MustCompile(`^(.*[0-9])[-_ ]?[a-z]$`)
	// A date ends in two digits after a hyphen, too: 2024-05-17.
	dateStart = regexp.MustCompile(`(?:19|20)[0-9]{2}[-_][0-9]{2}$`)
)

// nameKey is the name of a photo without its ending and the number of the
// shot. What is left must hold a digit, so that reed-1 and reed-2, img-01 and
// img-02 stay apart.
func nameKey(rel string) string {
	dir, file := path.Split(rel)
	stem := strings.TrimSuffix(file, path.Ext(file))
	for _, shot := range []*regexp.Regexp{shotNumber, shotLetter} {
		if m := shot.FindStringSubmatch(stem); m != nil && !dateStart.MatchString(m[1]) {
			return dir + m[1]
		}
	}
	return dir + stem
}

// shown is a photo that can be grouped.
type shown struct {
	rel    string
	sha256 string
	tag    shelf.ID
	kind   string // what it was taken for; "" where that is not known
}

// group is what shows one part.
type group struct {
	name   string // from the names, for the part's origin
	tag    shelf.ID
	photos []shown
}

// groups sorts photos, given in the folder's order, into groups, in the order
// of their first photos. Photos with one id tag belong together wherever they
// lie. A tag in one photo of a group names the whole group; where a group
// holds several tags, the photos without one stay a group of their own.
func groups(photos []shown, by GroupBy) []group {
	keyOf := func(p shown) string {
		switch by {
		case Apart:
			return p.rel
		case ByFolder:
			if dir := path.Dir(p.rel); dir != "." {
				return dir + "/"
			}
		}
		return nameKey(p.rel)
	}
	tagsOf := map[string][]shelf.ID{}
	for _, p := range photos {
		k := keyOf(p)
		if p.tag != "" && (len(tagsOf[k]) == 0 || tagsOf[k][0] != p.tag) {
			tagsOf[k] = append(tagsOf[k], p.tag)
		}
	}
	var out []group
	at := map[string]int{}
	for _, p := range photos {
		k := keyOf(p)
		tag := p.tag
		if tag == "" && len(tagsOf[k]) == 1 {
			tag = tagsOf[k][0]
		}
		id, name := "name "+k, strings.TrimSuffix(k, "/")
		if tag != "" {
			id = "tag " + string(tag)
		}
		i, ok := at[id]
		if !ok {
			i = len(out)
			at[id] = i
			out = append(out, group{name: name, tag: tag})
		}
		out[i].photos = append(out[i].photos, p)
	}
	return out
}
