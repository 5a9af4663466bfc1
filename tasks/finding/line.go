package finding

import (
	"slices"
	"strings"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// TokenKind tells the words of a line apart.
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
	Other // everything that the grammar has no use for
)

// MaxNumber is the largest number of a task, a day count or a quantity.
const MaxNumber = 9999

// Token is a word of a line.
type Token struct {
	Kind     TokenKind
	Word     string // of a Word: lower case; others: as written
	Raw      string // as written
	N, To    int    // of a Number: N; of a Range: N to To
	Date     civil.Date
	From, At int  // its bytes in the line: line[From:At]
	Tight    bool // follows the token before it without white space
}

// Numeric reports whether t is a number, a range or a date.
func (t Token) Numeric() bool { return t.Kind == Number || t.Kind == Range || t.Kind == Date }

// Target is a record of the books that a command names instead of a number.
type Target struct {
	ID    husbandry.ID // as the books spell it
	Scope husbandry.Scope
}

// OfIncubator is the scope of an incubator, which a clutch is moved to and
// nothing else is said of.
const OfIncubator husbandry.Scope = "incubator"

// Known finds a record of the books by its id, in any case. A nil Known knows
// none, and then only numbers are understood.
type Known func(id string) (Target, bool)

// Fault says why words are no finding and no command.
type Fault struct {
	Why string // a sentence's worth, lower case: what is wrong and what to write instead
	// Clear says that it is plain which task was meant and what is missing,
	// so that nothing else in the mail hangs on it.
	Clear bool
}

// Line is one line of an answer. Its methods take the index of a token; what
// they return of an index behind the last token is nothing.
type Line struct {
	Text   string
	Tokens []Token
	Known  Known
	// Rest reads a text, such as the signs of an illness, from a token on, and
	// returns the index where the next command or the end of the line is.
	Rest func(i int) (text string, next int, f *Fault)
}

// courtesy may stand wherever commands are parted.
var courtesy = map[string]bool{"thanks": true, "cheers": true, "please": true}

// fillers may stand between a target and what was found: "F03 has laid 6".
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

// Word returns the word at i in lower case, "" where there is none.
func (l *Line) Word(i int) string {
	if l.Is(i, Word) {
		return l.Tokens[i].Word
	}
	return ""
}

// End reports whether the line ends before i.
func (l *Line) End(i int) bool { return i >= len(l.Tokens) }

// Figures reports whether the number at i is written in figures.
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

// SetsOff reports whether the token at i begins a reason or note beyond doubt.
func (l *Line) SetsOff(i int) bool {
	return l.Is(i, Colon) || l.Is(i, Dash) || l.Is(i, Open) || l.Word(i) == "because"
}

// Separators skips the tokens that may stand between commands, and reports
// whether "and" was the last of them.
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

// Verb returns where the verb of a finding stands whose target ends before i.
func (l *Line) Verb(i int) int {
	// "7: laid 6", "7 - laid 6", "7. laid 6", "7) laid 6"
	if l.Is(i, Colon) || l.Is(i, Dash) || (l.Is(i, Stop) || l.Is(i, Close)) && l.Tokens[i].Tight {
		i++
	}
	if fillers[l.Word(i)] {
		i++
	}
	return i
}

// Begins reports whether a finding with its target begins at i.
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

// Find reads the finding that the verb at i begins into g. The row is nil where
// no finding begins there.
func (l *Line) Find(i int, g *Values) (r *Row, next int, f *Fault) {
	r, v := rowOf(l.Word(i))
	if r == nil {
		return nil, i, nil
	}
	next, f = r.Read(l, v.Word, i+1, g)
	return r, next, f
}

// short is a part of the line as it may be quoted.
func short(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > 200 {
		return string(r[:200]) + "..."
	}
	return s
}
