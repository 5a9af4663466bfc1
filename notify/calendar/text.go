package calendar

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"nestround/tasks"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Limits of the text that a person reads: in characters for single lines, in
// octets for whole descriptions.
const (
	maxTitle       = 200
	maxWhy         = 400
	maxDescription = 6 << 10
	// maxRows is the largest number of tasks that an event lists one by one,
	// for today or a past day. In a longer list, and on every future day, tasks
	// that differ only in their subject share a line. Nobody reads three
	// hundred lines on a phone, and a file with such lists would cover fewer
	// days.
	maxRows     = 40
	maxCautions = 10
	// near is the number of days ahead for which all cautions are shown. On
	// later days, only watches and alarms show their cautions; other tasks show
	// theirs when their day is near.
	near = 7
)

// dayText is the text of a day in a room.
type dayText struct {
	name string // name of the room, clean
	when int    // days from today; negative for a past day
	rows []row
}

func (t *dayText) count(s tasks.Status) int {
	n := 0
	for _, r := range t.rows {
		if r.Status == s {
			n++
		}
	}
	return n
}

// alarms returns the number of alarms: the tasks that are listed before all
// other tasks.
func (t *dayText) alarms() (n int) {
	for _, r := range t.rows {
		if t.when <= 0 && r.Alarm() {
			n++
		}
	}
	return n
}

// open returns the number of tasks still to do.
func (t *dayText) open() int {
	if t.when > 0 {
		return len(t.rows)
	}
	return t.count(tasks.Due) + t.count(tasks.Overdue)
}

// summary returns the line for a month's view: "Lizard room 5/7 done, 1
// overdue", "Lizard room: 7 tasks".
func (t *dayText) summary() string {
	lapsed := t.count(tasks.Lapsed)
	all := len(t.rows) - lapsed
	done, skipped := t.count(tasks.Done), t.count(tasks.Skipped)
	var s strings.Builder
	s.WriteString(t.name)
	if t.when < 0 || done+skipped > 0 {
		fmt.Fprintf(&s, " %d/%d done", done, all)
	} else {
		s.WriteString(": " + english.Count(all, "task"))
	}
	also := func(n int, word string) {
		if n > 0 {
			fmt.Fprintf(&s, ", %d %s", n, word)
		}
	}
	if n := t.alarms(); n > 0 {
		s.WriteString(", " + english.Count(n, "alarm"))
	}
	also(t.count(tasks.Overdue), "overdue")
	also(skipped, "skipped")
	if t.when <= 0 {
		also(t.count(tasks.Upcoming), "put off")
	}
	also(lapsed, "lapsed")
	return s.String()
}

// description lists the tasks in the order of the board. Future days have no
// numbers, because the numbers of a reply belong to the digest of a single
// morning.
func (t *dayText) description() string {
	var lines []string
	several := slices.ContainsFunc(t.rows, func(r row) bool { return t.heading(r) != t.heading(t.rows[0]) })
	listed := t.rows
	heading := ""
	put := func(r row, line string) {
		if h := t.heading(r); several && h != heading {
			heading = h
			lines = append(lines, h+":")
		}
		lines = append(lines, line)
	}
	size, left := 0, 0
	if len(t.rows) > maxRows || t.when > 0 {
		for _, g := range t.grouped() {
			if size += len(g.line); size > maxDescription {
				left += g.rows
				continue
			}
			put(g.first, string(g.line))
		}
		listed = nil
	}
	for _, r := range listed {
		line := t.line(r)
		if size += len(line); size > maxDescription {
			left++
			continue
		}
		put(r, line)
		if why := t.why(r); why != "" {
			if size += len(why); size <= maxDescription {
				lines = append(lines, "   "+why)
			}
		}
	}
	if left > 0 {
		lines = append(lines, fmt.Sprintf("and %s more; the digest has all of them.", english.Count(left, "task")))
	}
	lines = append(lines, t.cautions()...)
	if t.when > 0 {
		lines = append(lines, "Numbers for replies come with that morning's digest.")
	}
	return strings.Join(lines, "\n")
}

// why returns the reason of an open task of today, shortened, or "".
func (t *dayText) why(r row) string {
	if t.when != 0 || !isOpen(r) {
		return ""
	}
	return clean(r.Why, maxWhy)
}

func isOpen(r row) bool { return r.Status == tasks.Due || r.Status == tasks.Overdue }

func (t *dayText) heading(r row) string {
	switch {
	case t.when <= 0 && r.Alarm():
		return "Alarm"
	case t.when <= 0 && r.Status == tasks.Overdue:
		return "Overdue"
	case r.Status == tasks.Lapsed:
		return "Lapsed"
	case r.Part == husbandry.Midday:
		return "Midday"
	case r.Part == husbandry.Evening:
		return "Evening"
	}
	return "Morning"
}

// line returns a task as it is listed: "3. ✓ Top up the nest box of E07 –
// done".
func (t *dayText) line(r row) string {
	number := "• "
	if t.when <= 0 && r.n > 0 {
		number = fmt.Sprintf("%d. ", r.n)
	}
	tick, after := t.standing(r)
	return number + tick + title(r) + after
}

// standing returns the state of a task as a sign and as words.
func (t *dayText) standing(r row) (tick, after string) {
	switch {
	case t.when > 0:
		return "", ""
	case r.Status == tasks.Done:
		return "✓ ", " – done"
	case r.Status == tasks.Skipped:
		return "", " – skipped"
	case r.Status == tasks.Lapsed:
		return "", " – not done, no longer owed"
	case r.Status == tasks.Upcoming:
		return "", " – put off to " + english.ShortWeekdayDate(r.Due)
	case r.Status == tasks.Overdue:
		return "", " – overdue, was due " + english.ShortWeekdayDate(r.Due)
	case t.when < 0:
		return "", " – not done"
	}
	return "", ""
}

func title(r row) string {
	return cmp.Or(clean(r.Title, maxTitle), clean(string(r.Key), maxTitle))
}

// group is a line of tasks that differ only in their subject. A line that is
// too long for a description is not written to its end.
type group struct {
	first row
	rows  int
	line  []byte
}

// grouped puts tasks that differ only in their subject on one line: "Top up the
// nest box: E01 (1), E02 (2), E07 (5)". A watch keeps its own line.
func (t *dayText) grouped() []group {
	type same struct{ heading, do, tick, after string }
	var groups []group
	var after []string // what stands at the end of each line
	index := make(map[same]int)
	for _, r := range t.rows {
		tick, behind := t.standing(r)
		k := same{t.heading(r), clean(r.Do, maxTitle), tick, behind}
		i, ok := index[k]
		if r.Do == "" || r.Whom == "" || r.Window != nil || !ok {
			i = len(groups)
			groups, after = append(groups, group{first: r}), append(after, behind)
			if r.Do != "" && r.Whom != "" && r.Window == nil {
				index[k] = i
			}
		}
		g := &groups[i]
		g.rows++
		switch {
		case g.rows == 1:
			g.line = []byte("• " + tick + title(r) + t.number(r))
		case g.rows == 2:
			g.line = []byte("• " + tick + k.do + ": " + subject(g.first) + t.number(g.first) + ", " + subject(r) + t.number(r))
		case len(g.line) <= maxDescription:
			g.line = append(append(append(g.line, ", "...), subject(r)...), t.number(r)...)
		}
	}
	for i := range groups {
		groups[i].line = append(groups[i].line, after[i]...)
	}
	return groups
}

func subject(r row) string { return clean(string(r.Subject), maxTitle) }

func (t *dayText) number(r row) string {
	if t.when > 0 || r.n == 0 {
		return ""
	}
	return fmt.Sprintf(" (%d)", r.n)
}

// cautions returns the cautions of the tasks still to do, each only once.
func (t *dayText) cautions() []string {
	var lines []string
	seen := make(map[string]bool)
	for _, r := range t.rows {
		c := clean(r.Caution, maxWhy)
		if c == "" || seen[c] || t.when < 0 || (t.when == 0 && !isOpen(r)) {
			continue
		}
		if t.when > near && r.Window == nil && r.Missed != husbandry.Alarms {
			continue
		}
		seen[c] = true
		if len(seen) > maxCautions {
			return append(lines, "Caution: there are more cautions; read them in the digest before you begin.")
		}
		lines = append(lines, "Caution: "+c)
	}
	return lines
}

// clean turns a string of the caller into a line of at most limit characters.
// The line is valid UTF-8 without control characters, line or paragraph
// separators, or direction marks, and has only single blanks.
func clean(s string, limit int) string {
	if isClean(s, limit) {
		return s
	}
	// A character rarely has more than a few octets, so the rest of a huge
	// string is not needed.
	if most := limit * 16; len(s) > most {
		s = s[:most]
	}
	s = strings.ToValidUTF8(s, "\uFFFD")
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' ' // also U+0085, U+2028 and U+2029
		case isRemoved(r):
			return -1
		}
		return r
	}, s)
	s = strings.Join(strings.Fields(s), " ")
	if utf8.RuneCountInString(s) > limit {
		r := []rune(s)
		s = strings.TrimRight(string(r[:limit-1]), " \u200D") + "…"
	}
	return s
}

// isClean reports whether clean returns s itself. Most strings are clean, and
// checking a string costs much less than making a clean copy.
func isClean(s string, limit int) bool {
	n := 0
	after := ' ' // the character before, as if a blank stood before s
	for i, r := range s {
		n++
		switch {
		case n > limit, r == ' ' && after == ' ', r != ' ' && unicode.IsSpace(r), isRemoved(r):
			return false
		case r == utf8.RuneError && !strings.HasPrefix(s[i:], "\uFFFD"): // no valid UTF-8
			return false
		}
		after = r
	}
	return s == "" || after != ' '
}

func isRemoved(r rune) bool { return unicode.IsControl(r) || isDirection(r) || r == '\uFEFF' }

// isDirection reports whether r is a bidirectional embedding, override or
// isolate of Unicode UAX #9. Such a character, if nothing closes it, would
// reorder the rest of a list. Right-to-left scripts do not need these
// characters.
func isDirection(r rune) bool {
	return r >= '\u202A' && r <= '\u202E' || r >= '\u2066' && r <= '\u2069'
}

// cleanLines does the same as clean, but keeps line breaks. limit is in octets.
func cleanLines(s string, limit int) string {
	if len(s) > limit*4 {
		s = s[:limit*4]
	}
	breaks := strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u2028", "\n", "\u2029", "\n", "\u0085", "\n")
	var lines []string
	size := 0
	for l := range strings.SplitSeq(breaks.Replace(s), "\n") {
		l = clean(l, 1000)
		if l == "" {
			continue
		}
		if size += len(l) + 1; size > limit {
			lines = append(lines, "…")
			break
		}
		lines = append(lines, l)
	}
	return strings.Join(lines, "\n")
}
