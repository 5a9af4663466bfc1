package tables

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/BurntSushi/toml"

	"nestround/config/diag"
)

// Parse reads src, the content of the file called name, and adds the problems
// of the file to list. It always returns a table with everything that it could
// read. Table.Lost reports whether records may be missing from the table.
func Parse(name string, src []byte, list *diag.List) *Table {
	return NewBatch(list).Parse(name, src, false)
}

// Batch is several files that share a list of problems and a limit of values.
type Batch struct {
	list *diag.List
	left int // values and tables that may still be read
}

// NewBatch returns a batch that adds the problems of its files to list.
func NewBatch(list *diag.List) *Batch { return &Batch{list: list, left: MaxValues} }

// Full reports whether the files have more than [MaxValues]. The last file was
// then not read to its end, and the caller must report that and use no table of
// the batch.
func (b *Batch) Full() bool { return b.left < 0 }

// Parse does the same as the function [Parse] for the next file.
//
// A private file does not belong to the books, such as the target of a symbolic
// link that leaves their folder. Its problems have their places, but none of the
// file's words: a link to a list of passwords would otherwise show the list in a
// terminal, a log or a mail.
func (b *Batch) Parse(name string, src []byte, private bool) *Table {
	f := &file{name: name, list: b.list, lines: []int{0}, private: private, batch: b}
	root := &Table{f: f, name: "the file", how: headed}
	if len(src) > MaxFile {
		f.lost = true
		Place{f: f}.Error(fmt.Sprintf("the file is larger than %d MiB and is not read", MaxFile>>20), "split it; any file may hold any table")
		return root
	}
	text := strings.TrimPrefix(string(src), "\ufeff")
	f.src = text
	for i := 0; i < len(text); i++ {
		if text[i] == '\n' {
			f.lines = append(f.lines, i+1)
		}
	}
	f.src = f.mendBytes(text)
	s := scanner{f: f, root: root, table: root, pending: make([]pendingValue, 0, atOnce)}
	s.file()
	s.fill()
	return root
}

// Lost reports whether an unreadable part of the file may have held a record or
// its id. An unknown id then proves nothing: its record may be in that part.
func (t *Table) Lost() bool { return t.f.lost }

// mendBytes reports bytes that no TOML file may hold (TOML 1.0.0, "Spec": UTF-8
// only; control characters other than tab and line ends nowhere). It returns
// the text with blanks in their place, so that the rest can be read.
func (f *file) mendBytes(text string) string {
	m := mender{f: f, text: text}
	m.longLines()
	for i := 0; i < len(text); {
		r, size := utf8.DecodeRuneInString(text[i:])
		switch {
		case m.mended != nil && m.mended[i] == ' ':
		case r == utf8.RuneError && size == 1:
			m.blank(i, i+1, fmt.Sprintf("byte 0x%02x is not UTF-8", text[i]), "save the file as UTF-8")
		case r == 0:
			m.blank(i, i+1, "a NUL byte stands here", "the file is damaged, or saved as UTF-16; save it as UTF-8")
		case r == '\r' && strings.HasPrefix(text[i+1:], "\n"):
		case r != '\t' && r != '\n' && isControl(r):
			m.blank(i, i+1, fmt.Sprintf("a control character (0x%02x) stands here", r), "delete it")
		}
		i += size
	}
	if m.mended == nil {
		return text
	}
	return string(m.mended)
}

// isControl reports whether r is an ASCII control character.
func isControl(r rune) bool { return r < ' ' || r == 0x7f }

// mender blanks out unreadable bytes.
type mender struct {
	f      *file
	text   string
	mended []byte // nil: nothing was blanked out
}

// longLines blanks out the lines that are too long.
func (m *mender) longLines() {
	for i, from := range m.f.lines {
		to := len(m.text)
		if i+1 < len(m.f.lines) {
			to = m.f.lines[i+1] - 1
		}
		if to-from > MaxLine {
			m.blank(from, to, fmt.Sprintf("the line is longer than %d KiB and is not read", MaxLine>>10), "")
		}
	}
}

// blank reports unreadable bytes and writes blanks in their place.
func (m *mender) blank(from, to int, message, hint string) {
	m.f.syntax++
	m.f.lost = true
	if m.f.syntax <= maxSyntaxErrors {
		Place{f: m.f, at: from}.Error(message, hint)
	}
	if m.mended == nil {
		m.mended = []byte(m.text)
	}
	for i := from; i < to; i++ {
		m.mended[i] = ' '
	}
}

// scanner walks through the statements of a file. It finds the places of keys,
// values and headers. The library decodes the values.
type scanner struct {
	f     *file
	i     int
	root  *Table
	table *Table // table of the last header
	stop  bool   // a table has too many keys, so the rest of the file is not read

	pending []pendingValue
}

// atOnce is the number of values that are decoded together.
const atOnce = 64

func (s *scanner) more() bool { return s.i < len(s.f.src) }

func (s *scanner) peek(c byte) bool { return s.more() && s.f.src[s.i] == c }

func (s *scanner) starts(word string) bool { return strings.HasPrefix(s.f.src[s.i:], word) }

// blanks skips spaces and tabs.
func (s *scanner) blanks() {
	for s.peek(' ') || s.peek('\t') {
		s.i++
	}
}

// space skips spaces, line ends and comments.
func (s *scanner) space() {
	for s.more() {
		switch s.f.src[s.i] {
		case ' ', '\t', '\r', '\n':
			s.i++
		case '#':
			s.i = s.lineEnd(s.i)
		default:
			return
		}
	}
}

// lineEnd returns the offset of the line feed that ends the line at i, or the
// end of the file if there is none.
func (s *scanner) lineEnd(i int) int {
	if n := strings.IndexByte(s.f.src[i:], '\n'); n >= 0 {
		return i + n
	}
	return len(s.f.src)
}

// error reports a syntax error. It returns whether reading may go on.
func (s *scanner) error(p Place, message, hint string) bool {
	s.f.syntax++
	if s.f.syntax > maxSyntaxErrors {
		s.f.lost = true
		p.Error("too many faults; the rest of the file is not read", "mend the ones above and check again")
		s.i = len(s.f.src)
		return false
	}
	p.Error(message, hint)
	return true
}

func (s *scanner) place(at int) Place {
	return Place{f: s.f, at: at, withhold: s.table.secret}
}

func (s *scanner) file() {
	for {
		s.space()
		if !s.more() || s.stop {
			return
		}
		if s.peek('[') {
			s.header()
		} else {
			s.statement()
		}
	}
}

// part is one part of a dotted key.
type part struct {
	name string
	at   int
}

func isBare(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '_'
}

// key reads a dotted key and moves i behind the key and the blanks that follow.
// If the key has an error, i is at the place of the error.
func (s *scanner) key() ([]part, error) {
	var parts []part
	for {
		s.blanks()
		at := s.i
		var name string
		switch {
		case s.peek('"') || s.peek('\''):
			quotes, end, closed := s.quoted(s.i)
			if !closed || len(quotes) == 3 {
				return nil, errors.New("a quoted key is closed on its line")
			}
			values, err := decode("v = " + s.f.src[s.i:end])
			if err != nil {
				words, _ := reword(err.Message)
				return nil, errors.New(words)
			}
			name, _ = values["v"].(string)
			s.i = end
		default:
			for s.more() && isBare(s.f.src[s.i]) {
				s.i++
			}
			name = s.f.src[at:s.i]
			if name == "" {
				return nil, errors.New("a key is expected here")
			}
		}
		parts = append(parts, part{name, at})
		s.blanks()
		if !s.peek('.') {
			return parts, nil
		}
		if len(parts) == MaxParts {
			return nil, fmt.Errorf("the key has more than %d parts", MaxParts)
		}
		s.i++
	}
}

// header reads [a.b] or [[a.b]] and makes its table the current one.
func (s *scanner) header() {
	at := s.i
	if !s.spend() {
		return
	}
	many := s.starts("[[")
	open, close := "[", "]"
	if many {
		open, close = "[[", "]]"
	}
	s.i += len(open)
	parts, err := s.key()
	// Until the header is known to be right, the following keys go into a table
	// that nobody reads.
	s.table = &Table{f: s.f, broken: true, secret: secretive(parts), how: headed}
	switch {
	case err != nil:
		s.badHeader(s.i, err.Error())
		return
	case !s.starts(close):
		s.badHeader(s.i, fmt.Sprintf("the header is not closed by `%s`", close))
		return
	}
	s.i += len(close)
	s.blanks()
	if s.peek('\r') && s.starts("\r\n") {
		s.i++
	}
	if s.more() && !s.peek('\n') && !s.peek('#') {
		s.badHeader(s.i, "nothing but a comment may follow a header on its line")
		return
	}
	if t := s.open(at, parts, many); t != nil {
		s.table = t
	} else {
		s.f.lost = true
	}
}

func (s *scanner) badHeader(at int, message string) {
	s.f.lost = true
	if s.error(s.place(at), message, "a header looks like [digest] or [[animal]]") {
		s.i = s.lineEnd(s.i)
	}
}

// open finds or makes the table that a header names. If the header contradicts
// an earlier line, open reports the contradiction and returns nil.
func (s *scanner) open(at int, parts []part, many bool) *Table {
	t := s.root
	for n, p := range parts {
		h := header{at: at, parts: parts[:n+1], last: n == len(parts)-1}
		h.many = many && h.last
		if e := t.find(p.name); e == nil {
			t = s.newTable(t, h)
		} else if t = s.reopen(e, h); t == nil {
			return nil
		}
	}
	return t
}

// header is the beginning of a header, up to one of its names.
type header struct {
	at    int
	parts []part
	last  bool // the beginning is the whole header
	many  bool // the beginning is the whole header, in double brackets
}

// table makes the table of the header.
func (h header) table(f *file) *Table {
	t := &Table{f: f, at: h.at, name: headerName(h.parts, h.many), secret: secretive(h.parts)}
	if h.last {
		t.how = headed
	}
	return t
}

// newTable makes the table of the header h in t. The name of the header must be
// new in t.
func (s *scanner) newTable(t *Table, h header) *Table {
	p := h.parts[len(h.parts)-1]
	s.f.batch.left--
	child := h.table(s.f)
	v := &Value{f: s.f, at: h.at, kind: subtable, table: child}
	if h.many {
		v = &Value{f: s.f, at: h.at, kind: tables, items: []*Value{v}}
	}
	if wrong := s.add(t, &entry{key: p.name, at: p.at, value: v}); wrong != nil {
		s.error(s.place(p.at), wrong.message, wrong.hint)
	}
	return child
}

// reopen returns the table for a header whose name exists already. If the name
// stands for a list of tables and the header has double brackets, reopen adds a
// table to the list.
func (s *scanner) reopen(e *entry, h header) *Table {
	p := h.parts[len(h.parts)-1]
	place, first := s.place(p.at), Place{f: s.f, at: e.at}
	switch {
	case e.value.kind == tables && h.many:
		child := h.table(s.f)
		e.value.items = append(e.value.items, &Value{f: s.f, at: h.at, kind: subtable, table: child})
		return child
	case e.value.kind == tables && h.last:
		s.error(place, fmt.Sprintf("`%s` is a list of tables since %v", p.name, first), fmt.Sprintf("write [[%s]]", joined(h.parts)))
		return nil
	case e.value.kind == tables:
		return e.value.items[len(e.value.items)-1].table
	case e.value.kind != subtable || e.value.table.how == inline:
		s.error(place, fmt.Sprintf("`%s` already has a value, at %v", p.name, first), "a key stands once; delete one of the two")
		return nil
	case h.many:
		s.error(place, fmt.Sprintf("`%s` is a single table since %v", p.name, first), fmt.Sprintf("write [[%s]] there as well if there may be several", joined(h.parts)))
		return nil
	case h.last && e.value.table.how != implied:
		s.error(place, fmt.Sprintf("the table [%s] stands twice; first at %v", joined(h.parts), first), "put their keys under one header")
		return nil
	}
	t := e.value.table
	if h.last {
		t.how, t.at, e.value.at, e.at = headed, h.at, h.at, p.at
	}
	return t
}

func joined(parts []part) string {
	var names []string
	for _, p := range parts {
		names = append(names, p.name)
	}
	return strings.Join(names, ".")
}

func headerName(parts []part, many bool) string {
	if many {
		return "[[" + joined(parts) + "]]"
	}
	return "[" + joined(parts) + "]"
}

// secretive reports whether tables with the given name hold secrets. A misspelt
// key in such a table must be reported without its line.
func secretive(parts []part) bool {
	return len(parts) > 0 && (parts[0].name == "mail" || parts[0].name == "watch")
}

// keyOf reads the key of a statement up to its "=", or reports that there is
// none.
func (s *scanner) keyOf(start int) (parts []part, ok bool) {
	parts, err := s.key()
	if err == nil && s.peek('=') {
		return parts, true
	}
	if err == nil {
		err = fmt.Errorf("`=` is expected here, after the key `%s`", joined(parts))
	}
	s.table.broken, s.f.lost = true, true
	if s.error(s.place(s.i), err.Error(), "") {
		s.i = s.lineEnd(start)
	}
	return nil, false
}

// endsLine reports whether nothing but a comment follows on the line.
func (s *scanner) endsLine() bool {
	return !s.more() || s.peek('#') || s.peek('\n') || s.starts("\r\n")
}

// statement reads `key = value` and adds it to the table.
func (s *scanner) statement() {
	start := s.i
	parts, ok := s.keyOf(start)
	if !ok {
		return
	}
	s.i++
	s.blanks()
	at := s.i
	withhold := s.table.secret || secretive(parts) || mayBeSecret(s.f.text(s.f.line(start)))
	v, wrong := s.value(1, withhold)
	s.blanks()
	if wrong == nil && !s.endsLine() {
		wrong = &fault{at: s.i, message: "nothing but a comment may follow a value on its line"}
	}
	end := s.lineEnd(s.i)
	pending := pendingValue{value: v, from: at, to: end, withhold: withhold, table: s.table, isID: parts[0].name == "id"}
	if wrong != nil {
		pending.spoil()
	}
	if twice := s.insert(s.table, parts, v, withhold); wrong == nil {
		wrong = twice
	}
	s.i = end
	if wrong == nil {
		s.pending = append(s.pending, pending)
		if len(s.pending) == cap(s.pending) {
			s.fill()
		}
		return
	}
	s.fill()
	s.table.broken = true
	s.f.lost = s.f.lost || wrong.open || pending.isID
	if s.error(Place{f: s.f, at: wrong.at, withhold: withhold}, wrong.message, wrong.hint) && wrong.open {
		s.i = s.resume(s.lineEnd(at))
	}
}

// pendingValue is a value whose extent is known, but which is not decoded yet.
type pendingValue struct {
	value    *Value
	from, to int // offsets of its text and the rest of its last line
	withhold bool
	table    *Table
	isID     bool
}

// spoil marks the value as unreadable. The value still counts as present, so
// its key is not reported as missing.
func (p *pendingValue) spoil() { *p.value = Value{f: p.value.f, at: p.value.at, kind: unread} }

// resume returns the offset at which to go on after a value that is never
// closed. That is the first line end from i on before a line that looks like a
// header or like `key =`.
func (s *scanner) resume(i int) int {
	for i < len(s.f.src) {
		end := s.lineEnd(i + 1)
		probe := scanner{f: s.f, i: i + 1}
		probe.blanks()
		header := probe.peek('[')
		for probe.peek('[') {
			probe.i++
		}
		_, err := probe.key()
		if err == nil && probe.i <= end && (header && probe.peek(']') || !header && probe.peek('=')) {
			return i
		}
		i = end
	}
	return len(s.f.src)
}

// insert adds a value under a dotted key.
func (s *scanner) insert(t *Table, parts []part, v *Value, withhold bool) *fault {
	for n, p := range parts {
		e := t.find(p.name)
		last := n == len(parts)-1
		switch {
		case e == nil && last:
			if v.kind == subtable {
				v.table.name = "`" + p.name + "`"
			}
			return s.add(t, &entry{key: p.name, at: p.at, value: v})
		case e == nil:
			s.f.batch.left--
			child := &Table{f: s.f, at: p.at, name: "`" + p.name + "`", how: dotted, secret: withhold}
			if wrong := s.add(t, &entry{key: p.name, at: p.at, value: &Value{f: s.f, at: p.at, kind: subtable, table: child}}); wrong != nil {
				return wrong
			}
			t = child
		case !last && e.value.kind == subtable && e.value.table.how == dotted:
			t = e.value.table
		default:
			return &fault{
				at:      p.at,
				message: fmt.Sprintf("`%s` stands twice; first at %v", p.name, Place{f: s.f, at: e.at}),
				hint:    "a key stands once in a table; delete one of the two",
			}
		}
	}
	return nil
}

// add adds a key to a table. If the table has too many keys, add drops them all,
// so that no problem of theirs is reported, and ends the reading of the file.
func (s *scanner) add(t *Table, e *entry) *fault {
	if len(t.entries) < MaxKeys {
		t.add(e)
		return nil
	}
	t.entries, t.index, t.broken = nil, nil, true
	s.f.lost, s.stop = true, true
	return &fault{
		at:      e.at,
		message: fmt.Sprintf("this is more than the %d keys that a table may have; the rest of the file is not read", MaxKeys),
		hint:    "is this a file of records? take it out of the folder if it is not",
	}
}

// spend counts a value or a table. If there are too many, it goes to the end of
// the file and returns false.
func (s *scanner) spend() bool {
	s.f.batch.left--
	if !s.f.batch.Full() {
		return true
	}
	s.f.lost = true
	s.i = len(s.f.src)
	return false
}

// fault describes what is wrong with a value.
type fault struct {
	at            int
	open          bool // brackets or quotes are not closed, so the end of the value is not known
	message, hint string
}

// value finds the extent of the value at i and the places of its parts. depth
// is the number of brackets around it. fill decodes the content later.
func (s *scanner) value(depth int, withhold bool) (*Value, *fault) {
	at := s.i
	v := &Value{f: s.f, at: at}
	if !s.spend() {
		return v, nil
	}
	if depth > MaxParts {
		return v, &fault{at: at, message: fmt.Sprintf("more than %d levels of brackets", MaxParts)}
	}
	switch {
	case s.peek('"') || s.peek('\''):
		quotes, end, closed := s.quoted(at)
		s.i = end
		if !closed {
			return v, &fault{
				at: at, open: len(quotes) == 3,
				message: "the text that begins here is not closed", hint: "end it with " + quotes,
			}
		}
		if end-at > MaxText {
			return v, &fault{at: at, message: fmt.Sprintf("the text is longer than %d KiB and is not read", MaxText>>10), hint: "keep such a text in a file of its own, outside of the records"}
		}
		return v, nil
	case s.peek('['):
		v.kind = array
		return v, s.array(v, depth, withhold)
	case s.peek('{'):
		v.kind = subtable
		v.table = &Table{f: s.f, at: at, name: "this table", how: inline, secret: withhold}
		return v, s.inline(v.table, depth, withhold)
	}
	for s.more() && strings.IndexByte(",]}#\r\n", s.f.src[s.i]) < 0 {
		s.i++
	}
	if s.i == at {
		return v, &fault{at: at, message: "a value is expected here"}
	}
	return v, nil
}

// quoted returns the quotes that open the text at i, the offset behind the
// text, and whether the text is closed.
func (s *scanner) quoted(i int) (quotes string, end int, closed bool) {
	src := s.f.src
	quotes = src[i : i+1]
	if three := strings.Repeat(quotes, 3); strings.HasPrefix(src[i:], three) {
		quotes = three
	}
	for j := i + len(quotes); j < len(src); j++ {
		switch {
		case src[j] == '\n' && len(quotes) == 1:
			return quotes, j, false
		case src[j] == '\\' && quotes[0] == '"' && !strings.HasPrefix(src[j+1:], "\n"):
			j++
		case strings.HasPrefix(src[j:], quotes):
			j += len(quotes)
			// TOML allows one or two quotes just before the closing three.
			for n := 0; n < 2 && len(quotes) == 3 && j < len(src) && src[j] == quotes[0]; n++ {
				j++
			}
			return quotes, j, true
		}
	}
	return quotes, len(src), false
}

func (s *scanner) array(v *Value, depth int, withhold bool) *fault {
	open := s.i
	s.i++
	for {
		s.space()
		if s.peek(']') {
			s.i++
			return nil
		}
		if !s.more() {
			return &fault{at: open, open: true, message: "the list that begins here is not closed", hint: "end it with ]"}
		}
		item, wrong := s.value(depth+1, withhold)
		if wrong != nil {
			return wrong
		}
		v.items = append(v.items, item)
		s.space()
		if s.peek(',') {
			s.i++
		} else if s.more() && !s.peek(']') {
			return s.unexpected(open, "a comma or ] is expected here")
		}
	}
}

func (s *scanner) inline(t *Table, depth int, withhold bool) *fault {
	open := s.i
	s.i++
	for {
		s.space()
		if s.peek('}') {
			s.i++
			return nil
		}
		if !s.more() {
			return &fault{at: open, open: true, message: "the table that begins here is not closed", hint: "end it with }"}
		}
		parts, err := s.key()
		if err != nil {
			return s.unexpected(open, err.Error())
		}
		if !s.peek('=') {
			return s.unexpected(open, fmt.Sprintf("`=` is expected here, after the key `%s`", joined(parts)))
		}
		s.i++
		s.blanks()
		v, wrong := s.value(depth+1, withhold)
		if wrong == nil {
			wrong = s.insert(t, parts, v, withhold)
		}
		if wrong != nil {
			return wrong
		}
		s.space()
		if s.peek(',') {
			s.i++
		} else if s.more() && !s.peek('}') {
			return s.unexpected(open, "a comma or } is expected here")
		}
	}
}

// unexpected returns the fault for an unexpected character between brackets
// that opened at the offset open. If the character is on a later line, the
// likely cause is a forgotten closing bracket before the next key, so the fault
// points at the opening bracket.
func (s *scanner) unexpected(open int, message string) *fault {
	if s.f.line(open) != s.f.line(s.i) {
		closing := map[byte]string{'[': "]", '{': "}"}[s.f.src[open]]
		return &fault{at: open, open: true, message: "the brackets that open here are not closed", hint: "end them with " + closing}
	}
	return &fault{at: s.i, message: message}
}

// fill lets the library decode the pending values. Decoding several at once is
// faster. If any of them is wrong, each is decoded alone to find the wrong
// value and its place.
func (s *scanner) fill() {
	pending := s.pending
	s.pending = s.pending[:0]
	var document strings.Builder
	for i, p := range pending {
		fmt.Fprintf(&document, "v%d = %s\n", i, s.f.src[p.from:p.to])
	}
	values, err := decode(document.String())
	if err == nil && len(values) == len(pending) {
		good := true
		for i, p := range pending {
			good = p.value.take(values["v"+strconv.Itoa(i)]) && good
		}
		if good {
			return
		}
	}
	for _, p := range pending {
		wrong := s.fillAlone(p)
		if wrong == nil {
			continue
		}
		if p.withhold {
			wrong.message, wrong.hint = "this value cannot be read", ""
		}
		p.spoil()
		p.table.broken = true
		s.f.lost = s.f.lost || p.isID
		if !s.error(Place{f: s.f, at: wrong.at, withhold: p.withhold}, wrong.message, wrong.hint) {
			return
		}
	}
}

func (s *scanner) fillAlone(p pendingValue) *fault {
	const assignment = "v = "
	values, err := decode(assignment + s.f.src[p.from:p.to] + "\n")
	if err != nil {
		// The library's position may be off by a character, but it always falls
		// into the right scalar.
		at := p.value.lastBefore(p.from + err.Position.Start - len(assignment) + 1)
		message, hint := reword(err.Message)
		return &fault{at: at, message: message, hint: hint}
	}
	if !p.value.take(values["v"]) {
		return &fault{at: p.from, message: "this value cannot be read"}
	}
	return nil
}

// lastBefore returns the offset of the last scalar of v that begins at or
// before offset.
func (v *Value) lastBefore(offset int) int {
	at := v.at
	for _, item := range v.items {
		if item.at <= offset {
			at = item.lastBefore(offset)
		}
	}
	if v.table != nil {
		for _, e := range v.table.entries {
			if e.value.at <= offset {
				at = e.value.lastBefore(offset)
			}
		}
	}
	return at
}

func decode(document string) (values map[string]any, fault *toml.ParseError) {
	const unreadable = "this value cannot be read"
	defer func() {
		// The library panics if it finds a fault in itself.
		if recover() != nil {
			values, fault = nil, &toml.ParseError{Message: unreadable}
		}
	}()
	if _, err := toml.Decode(document, &values); err != nil {
		if parse, ok := errors.AsType[toml.ParseError](err); ok {
			return nil, &parse
		}
		return nil, &toml.ParseError{Message: unreadable}
	}
	return values, nil
}

// take puts the decoded value raw into v. It reports whether v and raw have the
// same shape.
func (v *Value) take(raw any) bool {
	switch v.kind {
	case subtable:
		m, ok := raw.(map[string]any)
		return ok && v.table.take(m)
	case array:
		var items []any
		switch raw := raw.(type) {
		case []any:
			items = raw
		case []map[string]any:
			for _, m := range raw {
				items = append(items, m)
			}
		default:
			return false
		}
		if len(items) != len(v.items) {
			return false
		}
		for i, item := range v.items {
			if !item.take(items[i]) {
				return false
			}
		}
		return true
	}
	switch raw.(type) {
	case string, int64, float64, bool, time.Time:
		v.raw = raw
		return true
	}
	return false
}

func (t *Table) take(m map[string]any) bool {
	if len(m) != len(t.entries) {
		return false
	}
	for _, e := range t.entries {
		if raw, ok := m[e.key]; !ok || !e.value.take(raw) {
			return false
		}
	}
	return true
}

// reword replaces the library's messages that are hard to understand by words
// of this program.
func reword(message string) (words, hint string) {
	// The library quotes the character after a damaged number, which may be the
	// end of the line.
	message = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return -1
		}
		return r
	}, message)
	switch {
	case strings.HasPrefix(message, "expected value but found"), strings.HasPrefix(message, "expected a top-level item to end"):
		return "this is not a value", "text, quantities with their units, and all but numbers, dates, true and false stand in quotes"
	case strings.HasPrefix(message, "invalid datetime"):
		return "there is no such date", "a date looks like 2027-05-12"
	case strings.HasPrefix(message, "invalid escape"):
		return message, `write \\ for a backslash, or put the text in single quotes`
	}
	if strings.HasPrefix(message, "TOML") {
		return strings.TrimSuffix(message, "."), ""
	}
	return strings.ToLower(message[:1]) + strings.TrimSuffix(message[1:], "."), ""
}
