package tasks

import (
	"crypto/sha256"
	"regexp"
	"slices"
	"strings"
)

// A tag is the short name of an entry, for the keeper to type. It is computed
// from the entry's id. A tag begins with a letter and a digit, so it is never a
// word or a number, and has no characters that people confuse: the alphabet is
// that of the ids of digests.
const (
	tagLetters = "ACDEFGHJKMNPQRTWXY"
	tagDigits  = "23456789"
	tagLength  = 6
)

var tagPattern = regexp.MustCompile(`^[` + tagLetters + `][` + tagDigits + `][` + tagLetters + tagDigits + `]{4,18}$`)

// Tag returns the tag of the entry with the given id, such as K7Q2M4. Of a
// hundred thousand entries, about one in seven hundred shares its tag with
// another entry; see [HasTag].
func Tag(id string) string { return longTag(id)[:tagLength] }

// longTag returns a tag of twenty letters and digits (about 92 bits).
func longTag(id string) string {
	sum := sha256.Sum256([]byte(id))
	tag := []byte{tagLetters[int(sum[0])%len(tagLetters)], tagDigits[int(sum[1])%len(tagDigits)]}
	const all = tagLetters + tagDigits
	for _, b := range sum[2:20] {
		tag = append(tag, all[int(b)%len(all)])
	}
	return string(tag)
}

// AsTag returns a word that the keeper typed, in upper or lower case, as a tag. ok is
// false if the word does not have the form of a tag.
func AsTag(word string) (tag string, ok bool) {
	tag = strings.ToUpper(word)
	return tag, tagPattern.MatchString(tag)
}

// HasTag reports whether tag is the tag of the entry with the given id. If two
// entries share a tag of six characters, the keeper types more characters, up to the
// twenty that [LongTags] gives.
func HasTag(id, tag string) bool { return len(tag) >= tagLength && strings.HasPrefix(longTag(id), tag) }

// LongTags returns a tag for each id, in the order of the ids. The tags have the
// smallest length at which they all differ.
func LongTags(ids ...string) []string {
	tags := make([]string, len(ids))
	for n := tagLength; n <= 20; n++ {
		for i, id := range ids {
			tags[i] = longTag(id)[:n]
		}
		if sorted := slices.Sorted(slices.Values(tags)); len(slices.Compact(sorted)) == len(ids) {
			break
		}
	}
	return tags
}

// back is an entry that takes other entries back.
type back struct {
	id string
	of []string // ids of the entries that it takes back
}

// backsOf returns the entries that take others back. They copy their texts.
func backsOf(entries []Entry) (list []back) {
	for i := range entries {
		var b back
		for _, a := range entries[i].Acts {
			if a.Entry != "" {
				b.of = append(b.of, strings.Clone(a.Entry))
			}
		}
		if b.of != nil {
			b.id = strings.Clone(entries[i].ID)
			list = append(list, b)
		}
	}
	return list
}

// takenBack returns the ids of the entries that are taken back, each with the id
// of an entry that takes it back. An entry that is taken back takes nothing back
// itself. Times and order do not matter, and the entries need not exist. Entries
// that take each other back in a circle, which only a correction by hand can
// make, take nothing back.
func takenBack(backs []back) map[string]string {
	if len(backs) == 0 {
		return nil
	}
	by := make(map[string][]string)
	for _, b := range backs {
		for _, of := range b.of {
			by[of] = append(by[of], b.id)
		}
	}
	counts := make(map[string]bool) // for an entry of backs, once it is known whether it counts
	for again := true; again; {
		again = false
		for _, b := range backs {
			if _, known := counts[b.id]; known {
				continue
			}
			open := false
			taken := slices.ContainsFunc(by[b.id], func(id string) bool {
				c, known := counts[id]
				open = open || !known
				return c
			})
			if taken || !open {
				counts[b.id], again = !taken, true
			}
		}
	}
	gone := make(map[string]string)
	for _, b := range backs {
		if !counts[b.id] {
			continue
		}
		for _, of := range b.of {
			if was, ok := gone[of]; !ok || b.id < was {
				gone[of] = b.id
			}
		}
	}
	return gone
}

// Know registers entries that are not added yet and may take back entries that are
// added next. It is too late to register an entry that takes back an added entry;
// see [Folder.OutdatedBy].
func (f *Folder) Know(entries []Entry) {
	for _, b := range backsOf(entries) {
		if !f.Knows(b.id) {
			f.backs = append(f.backs, b)
		}
	}
}

// Knows reports whether the entry with the given id is registered in f, and takes
// other entries back.
func (f *Folder) Knows(id string) bool {
	return slices.ContainsFunc(f.backs, func(b back) bool { return b.id == id })
}

// OutdatedBy reports whether e takes back an entry that f has counted before e was
// registered. Then f must be made anew. has reports whether an entry was added to f.
func (f *Folder) OutdatedBy(e *Entry, has func(id string) bool) bool {
	return slices.ContainsFunc(e.Acts, func(a Act) bool {
		return a.Entry != "" && !f.Knows(e.ID) && (has(a.Entry) || f.Knows(a.Entry))
	})
}

// Outdated reports whether an entry that is registered in f, but not added, is missing
// from later or takes other entries back there. Then f must be made anew.
func (f *Folder) Outdated(later []Entry, has func(id string) bool) bool {
	if len(f.backs) == 0 {
		return false
	}
	now := make(map[string][]string)
	for _, b := range backsOf(later) {
		now[b.id] = b.of
	}
	return slices.ContainsFunc(f.backs, func(b back) bool { return !has(b.id) && !slices.Equal(b.of, now[b.id]) })
}
