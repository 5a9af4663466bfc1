package finding

import (
	"slices"
	"strings"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// TokenKind is the kind of a token.
type TokenKind int

// The kinds of tokens.
const (
	Word   TokenKind = iota // lower-cased in Token.Word; also ids
	Number                  // 0 to MaxNumber, in figures or spelled out
	Range                   // 5-7
	Date                    // 2027-05-12
	Comma
	Semicolon
	Stop // full stop or exclamation mark
	Colon
	Dash
	And // and, &, +
	Open
	Close
	Other // any token without a use in the grammar
)

// MaxNumber is the largest number for a task, for days or for a quantity.
const MaxNumber = 9999

// Token is a word or sign of a line.
type Token struct {
	Kind     TokenKind
	Word     string // in lower case for a Word; as written for other kinds
	Raw      string // as written
	N, To    int    // N for a Number; N to To for a Range
	Date     civil.Date
	From, At int  // position in bytes: line[From:At]
	Tight    bool // no white space before the token
}

// Numeric reports whether t is a number, a range or a date.
func (t Token) Numeric() bool { return t.Kind == Number || t.Kind == Range || t.Kind == Date }

// Target is a record of the books that a command names in place of a task's
// number.
type Target struct {
	ID    husbandry.ID // as the books spell it
	Scope husbandry.Scope
}

// OfIncubator is the scope of an incubator. A finding may name an incubator to
// which a clutch was moved; no finding is about an incubator.
const OfIncubator husbandry.Scope = "incubator"

// Known finds a record of the books by its id, in any case. A nil Known finds
// no record, so that only task numbers are understood.
type Known func(id string) (Target, bool)

// Fault says why words are neither a finding nor a command.
type Fault struct {
	Why string // the problem and what to write instead: a sentence in lower case
	// Clear says that the task is certain and only a part of the finding is
	// missing. The other lines of the mail still count.
	Clear bool
}

// Line is one line of a reply. Its methods take the index of a token. An index
// behind the last token is allowed; the result is then empty.
type Line struct {
	Text   string
	Tokens []Token
	Known  Known
	// Rest reads a free text, such as the signs of an illness, from token i on.
	// next is the index of the next command or the end of the line.
	Rest func(i int) (text string, next int, f *Fault)
}

// courtesy has the polite words that may stand between commands.
var courtesy = map[string]bool{"thanks": true, "cheers": true, "please": true}

// fillers are words that may stand between a target and a finding: "F03 has
// laid 6".
var fillers = map[string]bool{"has": true, "have": true, "had": true, "is": true, "was": true}

// IsFiller reports whether a word may stand between a target and its finding.
func IsFiller(word string) bool { return fillers[word] }

// Kind returns the kind of the token at i.
func (l *Line) Kind(i int) TokenKind {
	if i < len(l.Tokens) {
		return l.Tokens[i].Kind
	}
	return Other
}

// Is reports whether the token at i is of a kind.
func (l *Line) Is(i int, kind TokenKind) bool { return i < len(l.Tokens) && l.Tokens[i].Kind == kind }

// Word returns the word at i in lower case, or "" if there is none.
func (l *Line) Word(i int) string {
	if l.Is(i, Word) {
		return l.Tokens[i].Word
	}
	return ""
}

// End reports whether the line ends before i.
func (l *Line) End(i int) bool { return i >= len(l.Tokens) }

// Figures reports whether the number at i is written in digits.
func (l *Line) Figures(i int) bool {
	c := l.Tokens[i].Raw[0]
	return c >= '0' && c <= '9'
}

// Record looks the token at i up in the books.
func (l *Line) Record(i int) (Target, bool) {
	if l.Known == nil || l.End(i) || l.Is(i, Number) && l.Figures(i) {
		return Target{}, false
	}
	switch l.Kind(i) {
	case Word, Number, Range, Date:
		t, ok := l.Known(l.Tokens[i].Raw)
		return t, ok && t.Scope != OfIncubator
	}
	return Target{}, false
}

// SetsOff reports whether the token at i certainly begins a reason or a note.
func (l *Line) SetsOff(i int) bool {
	return l.Is(i, Colon) || l.Is(i, Dash) || l.Is(i, Open) || l.Word(i) == "because"
}

// Separators skips the tokens that may stand between commands. and is true if
// the last of these tokens was "and".
func (l *Line) Separators(i int) (next int, and bool) {
	for !l.End(i) {
		switch l.Kind(i) {
		case Comma, Semicolon, Stop:
			and = false
		case And:
			and = true
		case Word:
			switch {
			case courtesy[l.Word(i)]:
				and = false
			case l.Word(i) == "thank" && l.Word(i+1) == "you":
				and = false
				i++
			default:
				return i, and
			}
		default:
			return i, and
		}
		i++
	}
	return i, and
}

// Verb returns the index of the verb of a finding; the target of the finding
// ends before i.
func (l *Line) Verb(i int) int {
	// The number and the verb may have a sign between them: "7: laid 6", "7 -
	// laid 6", "7. laid 6", "7) laid 6".
	if l.Is(i, Colon) || l.Is(i, Dash) || (l.Is(i, Stop) || l.Is(i, Close)) && l.Tokens[i].Tight {
		i++
	}
	if fillers[l.Word(i)] {
		i++
	}
	return i
}

// Begins reports whether a target with a finding begins at i.
func (l *Line) Begins(i int) bool {
	if !l.Is(i, Number) {
		if _, ok := l.Record(i); !ok {
			return false
		}
	}
	i = l.Verb(i + 1)
	r, v := rowOf(l.Word(i))
	return r != nil && (!v.Everyday || slices.ContainsFunc(r.Verbs, func(v Verb) bool { return !v.Denies && v.Word == l.Word(i+1) }))
}

// Find reads a finding into g. The verb of the finding is at i. The row is nil
// if no finding begins at i.
func (l *Line) Find(i int, g *Values) (r *Row, next int, f *Fault) {
	r, v := rowOf(l.Word(i))
	if r == nil {
		return nil, i, nil
	}
	next, f = r.Read(l, v.Word, i+1, g)
	return r, next, f
}

// short returns a part of the line, cut short for a quotation in an answer.
func short(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > 200 {
		return string(r[:200]) + "..."
	}
	return s
}
