package reply

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"nestround/tasks"
	"nestround/tasks/husbandry"
)

// Limits of a text. One that exceeds the first two yields no command at all,
// because half an answer may say something else than the whole.
const (
	maxText     = 64 << 10 // bytes
	maxCommands = 200
	maxLine     = 4 << 10 // bytes of a line that may be a command
	maxWords    = 1000    // bytes of a note or a reason
)

// Refused is a line, or a part of one, that was meant as a command and is
// none, or one that cannot be carried out.
type Refused struct {
	Text string
	Why  string // a sentence's worth, lower case: what is wrong and what to write instead
}

// Parsed is what Parse made of a text.
type Parsed struct {
	Commands []Command // in the order of the text
	Refused  []Refused // lines that look like commands and are none
	Unread   []string  // the other lines, without greetings, signatures and the like

	meant bool // a refused line names a verb of the grammar with its number
}

// Parse reads the commands of a text, an answer without its quotes or a
// shell's arguments. A line is one command, or several with commas, semicolons
// or "and" between them:
//
//	done 1 3 5-7        all        all but 4 and 6
//	skip 2 [why]        later 5 2 days | tomorrow | friday | 2027-05-12
//	7 laid 6 [and 2 slugs]         7 laid (not counted yet)      7 slugs 4
//	7 laid 2 more       7 laid 6 outside      9 mother F03
//	9 hatched 3         9 dead 2       9 veins 5      9 ended
//	9 moved to cool     4 weighs 41 g         6 added 60 ml
//	4 weighs 3.1 3.4 5.2 g (each of a group)
//	8 refused           5 mated    5 gravid   5 not gravid   5 digging
//	12 male | female | unsure      12 sexed 2.1.3 (males.females.unsure)
//	8 ill [signs]       13 uvi 3.1
//	note 2 female digging          undo 3
//	5 ordered 3 [boxes]            crickets stock 200
//
// A finding, a note or an undo may name a record of the books instead of a
// number. Case, punctuation, bullets, greetings, full-width figures and
// numbers spelled out up to twenty are forgiven; nothing else is: a line that
// does not read from its first to its last word as commands is refused whole.
func Parse(text string, known Known) Parsed {
	if len(text) > maxText {
		return Parsed{Refused: []Refused{{shortened(text), fmt.Sprintf("the text is longer than %d KiB; send the commands alone", maxText>>10)}}}
	}
	var out Parsed
	var all []line
	for raw := range strings.Lines(text) {
		l := readLine(raw, known)
		all = append(all, l)
	}
	hush(all)
	mistrust(all)
	for _, l := range all {
		switch l.is {
		case isCommands:
			out.Commands = append(out.Commands, l.commands...)
		case isRefused:
			out.Refused = append(out.Refused, Refused{shortened(l.text), l.why})
			out.meant = out.meant || l.meant
		case isUnread:
			out.Unread = append(out.Unread, shortened(l.text))
		}
	}
	if len(out.Commands) > maxCommands {
		return Parsed{Refused: []Refused{{shortened(text), fmt.Sprintf("these are more than %d commands; send them in several mails", maxCommands)}}}
	}
	return out
}

// shortened is foreign text as it may be quoted.
func shortened(s string) string {
	s = tidy(s)
	if r := []rune(s); len(r) > 200 {
		return string(r[:200]) + "..."
	}
	return s
}

// line is a line of the text and what it was taken for.
type line struct {
	text     string
	is       lineKind
	commands []Command
	why      string
	meant    bool // refused, though a verb stands with its number
	loose    bool // refused, and may belong to a command of another line
	joins    bool // it is numbers alone, or begins with "and": the end of the line before?
	rule     bool // programs that quote without marks draw it above the quote
	field    bool // it looks like a field of a mail's header
}

// lineKind is what a line was taken for.
type lineKind int

const (
	isSilent lineKind = iota // blank, a greeting, a signature, a mail's header
	isCommands
	isRefused
	isUnread
)

// hush silences a quote without marks, from the rule or the header fields above
// it to the end, if no line of it is a command: Outlook renders the digest's
// HTML in lines of its own, which nobody remembers, and a number alone on one
// of them is no slip of the keeper's. Lines that are commands are never
// silenced, and then neither is what stands around them.
func hush(lines []line) {
	for q := range lines {
		if !lines[q].rule && !(lines[q].field && q+1 < len(lines) && lines[q+1].field) {
			continue
		}
		quote := lines[q:]
		if !slices.ContainsFunc(quote, func(l line) bool { return l.is == isCommands }) {
			clear(quote)
		}
		return
	}
}

// mistrust refuses lines that are commands by themselves, but perhaps not the
// whole of what their writer meant.
func mistrust(lines []line) {
	loose := false
	for i := range lines {
		l := &lines[i]
		loose = loose || l.is == isRefused && l.loose
		// A mail program that wraps lines leaves the end of a list on a line
		// of its own: "all but 4" and then "and 6".
		if l.joins && i > 0 && lines[i-1].is == isCommands && endsInList(lines[i-1].commands) {
			lines[i-1].refuse("the next line looks like the rest of this one; write it in one line")
		}
	}
	if !loose {
		return
	}
	// "all" is the one command that says something of tasks it does not name,
	// and an exception may stand on a line of its own: "except 4".
	for i := range lines {
		l := &lines[i]
		sweeping := slices.ContainsFunc(l.commands, func(c Command) bool { return c.Verb == All || c.Verb == AllBut })
		if l.is == isCommands && sweeping {
			l.refuse(`another line was not understood, which may take something out of "all"; send it again without that line`)
		}
	}
}

func (l *line) refuse(why string) {
	l.is, l.commands, l.why, l.meant = isRefused, nil, why, true
}

func endsInList(cs []Command) bool {
	switch cs[len(cs)-1].Verb {
	case Done, AllBut, Skip, Undo, All:
		return true
	}
	return false
}

var (
	bullet = regexp.MustCompile(`^[-*+>\x{2022}\x{25aa}\x{25cf}\x{00b7}] `)
	// A greeting before a command has its own punctuation.
	greeting = regexp.MustCompile(`(?i)^(?:(?:hi|hello|hey|hallo|dear|good (?:morning|afternoon|evening|day)|morning|evening)((?: \pL+){0,2})|thanks|thank you|ok|okay|yes) ?[-,.!:;]+ ?`)
	// Lines that are nobody's attempt at a command and need not be quoted
	// back. Which lines these are decides nothing but that.
	silent = regexp.MustCompile(`(?i)^(?:` +
		`(?:hi|hello|hey|hallo|dear|good (?:morning|afternoon|evening|day)|morning|evening|thanks|thank you|many thanks|cheers|best|bye)(?: \pL+){0,3}[ .,!]*` +
		`|(?:best|kind|warm|many)(?: regards| wishes| thanks)[ .,!]*|regards[ .,!]*` +
		`|(?:sent|get|gesendet|enviado|envoy\x{e9}|inviato) (?:from|with|via|outlook|von|mit|desde|de|depuis|da) .*` +
		`|von mein\pL+ .* gesendet[ .]*` +
		`|.*<[^<> ]+@[^<> ]+>.*` +
		`|.*\b(?:wrote|schrieb|a \x{e9}crit|escribi\x{f3}) ?:` +
		`|` + headerField +
		`|[-_=*\x{2022} ]{2,}|-{3,} ?.*-{3,}` +
		`)$`)
	field = regexp.MustCompile(`(?i)^` + headerField + `$`)
	rule  = regexp.MustCompile(`^(?:_{10,}|-{3,} ?\pL.*\pL ?-{3,})$`)
)

const headerField = `\*?(?:from|sent|to|cc|subject|date|von|gesendet|an|betreff|datum|de|envoy\x{e9}|\x{e0}|objet|enviado|para|asunto) ?:\*? .*`

// readLine takes one line for what it is.
func readLine(raw string, known Known) line {
	text := tidy(raw)
	l := line{text: text}
	if text == "" {
		return l
	}
	if len(text) > maxLine {
		l.is = isUnread
		return l
	}
	rest := bullet.ReplaceAllString(text, "")
	greeted := false
	if g := greeting.FindStringSubmatch(rest); g != nil && !holdsGrammar(g[1]) {
		rest, greeted = rest[len(g[0]):], true
	}
	p := &parser{line: rest, toks: lex(rest), known: known, memo: make(map[int]outcome)}
	cs, f := p.commands(0)
	if f == nil && greeted && len(cs) == 1 && cs[0].Verb == All && len(p.toks) <= 2 && !strings.Contains(strings.ToLower(rest), "done") {
		// "Hi, all" greets; it does not report.
		f = &fault{why: `is this a greeting? say "all done"`}
	}
	if f == nil {
		if len(cs) > 0 {
			l.is, l.commands = isCommands, cs
		} else if greeted && !silent.MatchString(text) {
			l.is = isUnread
		}
		return l
	}
	if silent.MatchString(text) {
		l.rule, l.field = rule.MatchString(text), field.MatchString(text)
		return l
	}
	l.joins = p.joins()
	if l.is = isUnread; p.attempted() {
		l.is, l.why = isRefused, f.why
		l.meant = p.meant()
		l.loose = !f.clear
	}
	return l
}

// holdsGrammar reports whether somebody greeted so may be a command instead:
// "morning done, 3 refused". "Hi all" greets.
func holdsGrammar(words string) bool {
	return slices.ContainsFunc(strings.Fields(strings.ToLower(words)), func(w string) bool { return w != "all" && grammarWords[w] })
}

// fault says why words are not commands.
type fault struct {
	why string
	// clear says that it is plain which task was meant and what is missing,
	// so that nothing else in the mail hangs on it.
	clear bool
}

type outcome struct {
	commands []Command
	fault    *fault
}

// parser reads one line. Its methods take the index of a token and return the
// index after what they read.
type parser struct {
	line  string
	toks  []token
	known Known
	memo  map[int]outcome // what commands returned, by index

	ends      []int // see split
	ambiguous []bool
}

// The words that begin a command, or follow its target. A line that holds one
// in such a place is an attempt at a command.
var (
	leading      = set("done", "did", "all", "skip", "skipped", "later", "undo", "note")
	findingVerbs = set("laid", "slugs", "mother", "hatched", "dead", "veins", "moved", "ended", "weighs", "weighed", "added", "refused", "mated", "gravid", "digging",
		"male", "female", "unsure", "sexed", "ill", "uvi", "ordered", "stock")
	exceptWords = set("but", "except", "excepting")
	// fillers may stand between a target and what was found: "F03 has laid 6".
	fillers  = set("has", "have", "had", "is", "was")
	courtesy = set("thanks", "cheers", "please")
	// grammarWords are all of them, and near misses that people type.
	grammarWords = func() map[string]bool {
		m := set("weigh", "weight", "slug", "skips", "put", "postpone", "tomorrow", "hatch", "lay", "lays", "add", "not",
			"isn't", "finished", "eggs", "g", "ml", "oz")
		for _, words := range []map[string]bool{leading, findingVerbs, exceptWords} {
			for w := range words {
				m[w] = true
			}
		}
		return m
	}()
	weekdays = map[string]time.Weekday{
		"sunday": time.Sunday, "sun": time.Sunday, "monday": time.Monday, "mon": time.Monday,
		"tuesday": time.Tuesday, "tue": time.Tuesday, "tues": time.Tuesday,
		"wednesday": time.Wednesday, "wed": time.Wednesday,
		"thursday": time.Thursday, "thu": time.Thursday, "thur": time.Thursday, "thurs": time.Thursday,
		"friday": time.Friday, "fri": time.Friday, "saturday": time.Saturday, "sat": time.Saturday,
	}
)

func set(words ...string) map[string]bool {
	m := make(map[string]bool, len(words))
	for _, w := range words {
		m[w] = true
	}
	return m
}

func (p *parser) kind(i int) tokenKind {
	if i < len(p.toks) {
		return p.toks[i].kind
	}
	return tOther
}

func (p *parser) is(i int, kind tokenKind) bool { return i < len(p.toks) && p.toks[i].kind == kind }

// word returns the word at i in lower case, "" where there is none.
func (p *parser) word(i int) string {
	if p.is(i, tWord) {
		return p.toks[i].word
	}
	return ""
}

func (p *parser) end(i int) bool { return i >= len(p.toks) }

// record looks the token at i up in the books.
func (p *parser) record(i int) (Target, bool) {
	if p.known == nil || p.end(i) || p.is(i, tNumber) && p.figures(i) {
		return Target{}, false
	}
	switch p.kind(i) {
	case tWord, tNumber, tRange, tDate:
		t, ok := p.known(p.toks[i].raw)
		return t, ok && t.Scope != OfIncubator
	}
	return Target{}, false
}

// figures reports whether the number at i is written in figures.
func (p *parser) figures(i int) bool {
	c := p.toks[i].raw[0]
	return c >= '0' && c <= '9'
}

// joins reports whether the line may be the rest of the line before it.
func (p *parser) joins() bool {
	numbers := 0
	for i, t := range p.toks {
		switch t.kind {
		case tNumber, tRange:
			numbers++
		case tAnd:
			if i == 0 {
				return true
			}
		case tComma, tStop, tDash:
		default:
			return false
		}
	}
	return numbers > 0
}

// attempted reports whether the line looks like a command.
func (p *parser) attempted() bool {
	if p.end(0) {
		return false
	}
	w := p.word(0)
	if leading[w] || findingVerbs[w] || exceptWords[w] || p.joins() {
		return true
	}
	if _, ok := p.record(0); !ok && !p.is(0, tNumber) && !p.is(0, tRange) {
		return false
	}
	return slices.ContainsFunc(p.toks, func(t token) bool { return t.kind == tWord && grammarWords[t.word] })
}

// meant reports whether a verb stands beside the number or record it needs: a
// person's slip rather than prose.
func (p *parser) meant() bool {
	_, known := p.record(0)
	if known || p.is(0, tNumber) || p.is(0, tRange) {
		return findingVerbs[p.word(1)] || findingVerbs[p.word(2)] || leading[p.word(1)]
	}
	return (leading[p.word(0)] || findingVerbs[p.word(0)]) && (p.is(1, tNumber) || p.is(1, tRange))
}

// separators skips what may stand between commands, and reports whether "and"
// was the last of it.
func (p *parser) separators(i int) (next int, and bool) {
	for !p.end(i) {
		switch p.kind(i) {
		case tComma, tSemicolon, tStop:
			and = false
		case tAnd:
			and = true
		case tWord:
			switch {
			case courtesy[p.word(i)]:
				and = false
			case p.word(i) == "thank" && p.word(i+1) == "you":
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

// commands reads the rest of the line from i as commands.
func (p *parser) commands(i int) ([]Command, *fault) {
	if o, ok := p.memo[i]; ok {
		return o.commands, o.fault
	}
	cs, f := p.readCommands(i)
	p.memo[i] = outcome{cs, f}
	return cs, f
}

func (p *parser) readCommands(i int) ([]Command, *fault) {
	if p.is(i, tAnd) {
		return nil, &fault{why: `it begins with "and"; write each command out`}
	}
	i, _ = p.separators(i)
	if p.end(i) {
		return nil, nil
	}
	c, after, f := p.command(i)
	if f != nil {
		return nil, f
	}
	next, and := p.separators(after)
	switch {
	case p.end(next) && and:
		return nil, &fault{why: `it ends with "and"; write it in one line`}
	case p.end(next):
		return []Command{c}, nil
	case next == after:
		return nil, p.stray(next)
	}
	rest, f := p.commands(next)
	if f != nil {
		return nil, f
	}
	if len(rest) >= maxCommands {
		return nil, &fault{why: fmt.Sprintf("these are more than %d commands", maxCommands)}
	}
	return append([]Command{c}, rest...), nil
}

// stray is the fault of a word that follows a command without belonging to it.
func (p *parser) stray(i int) *fault {
	if p.finds(i) || leading[p.word(i)] {
		return &fault{why: fmt.Sprintf("put a comma before %q, or write it on a line of its own", p.toks[i].raw)}
	}
	return &fault{why: fmt.Sprintf("the command ends before %q", shortened(p.toks[i].raw))}
}

// command reads one command.
func (p *parser) command(i int) (Command, int, *fault) {
	switch w := p.word(i); w {
	case "done", "did":
		i = p.setOff(i + 1)
		if p.word(i) == "all" {
			return p.all(i)
		}
		numbers, i, f := p.list(i)
		if f != nil {
			return Command{}, 0, f
		}
		return Command{Verb: Done, Numbers: numbers}, i, nil
	case "all":
		return p.all(i)
	case "skip", "skipped":
		return p.skip(i + 1)
	case "later":
		return p.later(i + 1)
	case "undo":
		if t, ok := p.record(i + 1); ok {
			return Command{Verb: Undo, Record: t}, i + 2, nil
		}
		numbers, i, f := p.list(p.setOff(i + 1))
		if f != nil {
			return Command{}, 0, f
		}
		return Command{Verb: Undo, Numbers: numbers}, i, nil
	case "note":
		return p.note(i + 1)
	default:
		if findingVerbs[w] {
			return Command{}, 0, &fault{why: fmt.Sprintf("say the number first: %q", "7 "+w+example[w])}
		}
	}
	return p.found(i)
}

// example has what follows a verb in an example.
var example = map[string]string{"laid": " 6", "slugs": " 4", "hatched": " 3", "weighs": " 41 g", "weighed": " 41 g", "added": " 60 ml", "sexed": " 2.1.3", "uvi": " 3.1", "ordered": " 3", "stock": " 200"}

// setOff skips a colon or dash that sets the number or text at i off.
func (p *parser) setOff(i int) int {
	if p.is(i, tColon) || p.is(i, tDash) {
		i++
	}
	return i
}

// list reads numbers: "1 3", "1, 3 and 5-7", "5 to 7". It ends before a number
// that begins a finding, as in "done 1, 7 laid 6", and before a count of days.
func (p *parser) list(i int) (numbers []int, next int, f *fault) {
	for first := true; ; first = false {
		k := i
		if !first {
			if p.is(k, tComma) {
				k++
			}
			if p.is(k, tAnd) {
				k++
			}
		}
		if !p.is(k, tNumber) && !p.is(k, tRange) {
			break
		}
		if days[p.word(k+1)] || p.finds(k) {
			break
		}
		t := p.toks[k]
		from, to := t.n, t.n
		k++
		if t.kind == tRange {
			to = t.to
		} else if w := p.word(k); (p.is(k, tDash) || w == "to" || w == "through") && p.is(k+1, tNumber) {
			to = p.toks[k+1].n
			k += 2
		}
		if to < from {
			return nil, 0, &fault{why: fmt.Sprintf("%d-%d runs backwards", from, to)}
		}
		if len(numbers)+to-from+1 > maxNumber {
			return nil, 0, &fault{why: "it names too many numbers"}
		}
		for n := from; n <= to; n++ {
			numbers = append(numbers, n)
		}
		i = k
	}
	if len(numbers) == 0 && p.finds(i) {
		return nil, 0, &fault{why: fmt.Sprintf("is %q a finding or a reason? write a finding without another verb, or note the reason: %q",
			shortened(p.line[p.toks[i].from:]), "note "+p.toks[i].raw+": ...")}
	}
	if len(numbers) == 0 {
		return nil, 0, &fault{why: `it needs the numbers of tasks, as in "1 3 5-7"`}
	}
	slices.Sort(numbers)
	return slices.Compact(numbers), i, nil
}

var days = map[string]bool{"day": true, "days": true, "week": true, "weeks": true}

// all reads "all", "all done", "all but 4 and 6", "all done except 4".
func (p *parser) all(i int) (Command, int, *fault) {
	i++
	if p.word(i) == "done" {
		i++
	}
	but := i
	if p.is(but, tComma) {
		but++
	}
	if !exceptWords[p.word(but)] {
		if next, _ := p.separators(i); next == i && !p.end(i) {
			return Command{}, 0, &fault{why: `"all" stands alone, or as in "all but 4"`}
		}
		return Command{Verb: All}, i, nil
	}
	i = but + 1
	if p.word(i) == "for" {
		i++
	}
	numbers, i, f := p.list(i)
	if f != nil {
		return Command{}, 0, f
	}
	return Command{Verb: AllBut, Numbers: numbers}, i, nil
}

// skip reads "2", "2 too cold", "2 4: too cold", "2, too cold".
func (p *parser) skip(i int) (Command, int, *fault) {
	numbers, i, f := p.list(p.setOff(i))
	if f != nil {
		return Command{}, 0, f
	}
	c := Command{Verb: Skip, Numbers: numbers}
	if p.setsOff(i) {
		c.Why, i, f = p.words(i)
		return c, i, f
	}
	next, _ := p.separators(i)
	if p.end(next) {
		return c, i, nil
	}
	if next > i {
		if _, f := p.commands(next); f == nil {
			return c, i, nil
		}
		// "skip 2, too cold", but not "skip 2, don 3".
		why, after, f := p.words(next)
		if f != nil {
			return Command{}, 0, f
		}
		if !p.is(i, tComma) || next > i+1 || strings.ContainsAny(why, "0123456789") || slices.ContainsFunc(lex(why), isNumeric) {
			return Command{}, 0, &fault{why: `write the reason after a colon, as in "skip 2: too cold", and other commands on lines of their own`}
		}
		c.Why = why
		return c, after, nil
	}
	if len(numbers) > 1 || isNumeric(p.toks[i]) {
		return Command{}, 0, &fault{why: `put a colon before the reason, as in "skip 2 4: too cold"`}
	}
	c.Why, i, f = p.words(i)
	return c, i, f
}

func isNumeric(t token) bool { return t.kind == tNumber || t.kind == tRange || t.kind == tDate }

// setsOff reports whether the token at i begins a reason or note beyond doubt.
func (p *parser) setsOff(i int) bool {
	return p.is(i, tColon) || p.is(i, tDash) || p.is(i, tOpen) || p.word(i) == "because"
}

// later reads "5 2 days", "5 6 until friday: no crickets".
func (p *parser) later(i int) (Command, int, *fault) {
	const until = `say until when, as in "later 5 2 days", "later 5 friday" or "later 5 2027-05-12"`
	numbers, i, f := p.list(p.setOff(i))
	if f != nil {
		return Command{}, 0, f
	}
	switch p.word(i) {
	case "by", "in", "for", "until", "till", "to", "on":
		i++
	}
	c := Command{Verb: Later, Numbers: numbers}
	w := p.word(i)
	weekday, byWeekday := weekdays[w]
	switch {
	case p.is(i, tNumber) && days[p.word(i+1)]:
		c.When.Days = p.toks[i].n * perUnit(p.word(i+1))
		i += 2
	case w == "a" && (p.word(i+1) == "day" || p.word(i+1) == "week"):
		c.When.Days = perUnit(p.word(i + 1))
		i += 2
	case w == "tomorrow":
		c.When.Days = 1
		i++
	case byWeekday:
		c.When.ByWeekday, c.When.Weekday = true, weekday
		i++
	case p.is(i, tDate):
		c.When.Date = p.toks[i].date
		i++
	case w == "next" || w == "this":
		return Command{}, 0, &fault{why: `a weekday alone is the next one, as in "later 5 friday"; for another write its date`, clear: true}
	default:
		return Command{}, 0, &fault{why: until, clear: p.end(i)}
	}
	if d := c.When; d.Days > maxNumber || d == (When{}) {
		return Command{}, 0, &fault{why: "that is not a number of days"}
	}
	if p.setsOff(i) {
		c.Why, i, f = p.words(i)
	}
	return c, i, f
}

func perUnit(unit string) int {
	if strings.HasPrefix(unit, "week") {
		return 7
	}
	return 1
}

// note reads "2 female digging".
func (p *parser) note(i int) (Command, int, *fault) {
	numbers, record, i, f := p.target(i)
	if f != nil {
		return Command{}, 0, &fault{why: `say what the note is about, as in "note 2 female digging"`}
	}
	if p.end(i) {
		return Command{}, 0, &fault{why: `say what to note, as in "note 2 female digging"`, clear: true}
	}
	if !p.setsOff(i) && (isNumeric(p.toks[i]) || p.is(i, tAnd) || p.is(i, tComma)) {
		return Command{}, 0, &fault{why: `put a colon before the note, as in "note 2: 3 eggs visible"`}
	}
	c := Command{Verb: Note, Numbers: numbers, Record: record}
	c.Finding.Note, i, f = p.words(i)
	if f == nil && c.Finding.Note == "" {
		f = &fault{why: `say what to note, as in "note 2 female digging"`, clear: true}
	}
	return c, i, f
}

// target reads the one number or record a finding is about.
func (p *parser) target(i int) (numbers []int, record Target, next int, f *fault) {
	record, ok := p.record(i)
	switch {
	case ok && p.is(i, tNumber):
		return nil, Target{}, 0, &fault{why: fmt.Sprintf("%q is a number and a record of the books; write the number in figures", p.toks[i].raw)}
	case ok:
		return nil, record, i + 1, nil
	case p.is(i, tNumber):
		return []int{p.toks[i].n}, Target{}, i + 1, nil
	case p.is(i, tRange):
		return nil, Target{}, 0, &fault{why: "a finding is about one task; write a line for each"}
	}
	return nil, Target{}, 0, &fault{why: "it begins with neither a command nor the number of a task"}
}

// verb returns where the verb of a finding stands whose target ends before i.
func (p *parser) verb(i int) int {
	// "7: laid 6", "7 - laid 6", "7. laid 6", "7) laid 6"
	if p.is(i, tColon) || p.is(i, tDash) || (p.is(i, tStop) || p.is(i, tClose)) && p.toks[i].tight {
		i++
	}
	if fillers[p.word(i)] {
		i++
	}
	return i
}

// finds reports whether a finding begins at i.
func (p *parser) finds(i int) bool {
	if !p.is(i, tNumber) {
		if _, ok := p.record(i); !ok {
			return false
		}
	}
	v := p.verb(i + 1)
	return findingVerbs[p.word(v)] || p.word(v) == "not" && p.word(v+1) == "gravid" || p.word(v) == "isn't"
}

// found reads a finding: "7 laid 6 and 2 slugs", "F03 weighs 41 g".
func (p *parser) found(i int) (Command, int, *fault) {
	if p.joins() {
		return Command{}, 0, &fault{why: fmt.Sprintf("numbers alone say nothing; say %q", "done "+strings.Trim(shortened(p.line), ".,-! "))}
	}
	numbers, record, next, f := p.target(i)
	if f != nil {
		return Command{}, 0, f
	}
	c := Command{Verb: Found, Numbers: numbers, Record: record}
	v := p.verb(next)
	switch w := p.word(v); w {
	case "laid":
		i, f = p.laid(v+1, &c)
	case "slugs":
		i, f = p.count(v+1, &c.Finding.Slugs, w, "eggs")
	case "hatched":
		i, f = p.count(v+1, &c.Finding.Hatched, w, "young", "hatchlings", "babies", "eggs")
		if f == nil && *c.Finding.Hatched == 0 {
			f = &fault{why: "if none hatched there is nothing to record but that you looked: say done", clear: true}
		}
	case "dead":
		i, f = p.count(v+1, &c.Finding.Dead, w, "eggs", "egg")
		if f == nil && *c.Finding.Dead == 0 {
			f = &fault{why: "if none was dead there is nothing to record but that you looked: say done", clear: true}
		}
	case "veins":
		uncounted := tasks.Uncounted
		c.Finding.Veins = &uncounted
		if i = v + 1; p.is(i, tNumber) && !p.finds(i) {
			i, f = p.count(i, &c.Finding.Veins, w, "eggs", "egg")
		} else if p.word(i) == "in" {
			i, f = p.count(i+1, &c.Finding.Veins, w, "eggs", "egg")
		}
	case "moved":
		i, f = p.moved(v+1, &c)
	case "ended":
		c.Finding.Ended = true
		i = v + 1
	case "weighs", "weighed":
		i, f = p.weights(v+1, &c)
	case "added":
		var x float64
		x, i, f = p.quantity(v+1, "ml or fl oz", "an amount of water", func(s string) (float64, error) {
			ml, err := husbandry.ParseVolume(s)
			return float64(ml), err
		})
		ml := husbandry.Millilitres(x)
		c.Finding.Added = &ml
	case "refused":
		c.Finding.Refused = true
		if i = v + 1; p.word(i) == "food" {
			i++
		}
	case "ordered":
		i, f = p.count(v+1, &c.Finding.Ordered, w, "boxes", "box", "packs", "pack", "tubs", "tub", "bags", "bag")
		if f == nil && *c.Finding.Ordered == 0 {
			f = &fault{why: "if none was ordered, say skip with its number", clear: true}
		}
	case "stock":
		i, f = p.count(v+1, &c.Finding.Stock, w)
	case "mother":
		t, ok := p.record(v + 1)
		if !ok || t.Scope != husbandry.OfAnimal {
			return Command{}, 0, &fault{why: "say which animal of the books is the mother, by her id", clear: true}
		}
		c.Finding.Mother = t.ID
		i = v + 2
	case "digging":
		c.Finding.Digging = true
		i = v + 1
	case "mated":
		c.Finding.Mated = true
		i = v + 1
	case "male":
		c.Finding.Sexed, i = &tasks.Sexed{Males: 1}, v+1
	case "female":
		c.Finding.Sexed, i = &tasks.Sexed{Females: 1}, v+1
	case "unsure":
		c.Finding.Sexed, i = &tasks.Sexed{Unsure: 1}, v+1
	case "sexed":
		i, f = p.sexed(v+1, &c)
	case "uvi":
		i, f = p.uvi(v+1, &c)
	case "ill":
		c.Finding.Ill = true
		i, f = p.signs(v+1, &c)
	case "gravid", "not", "isn't":
		yes := w == "gravid"
		if i = v + 1; !yes {
			if p.word(i) != "gravid" {
				return Command{}, 0, &fault{why: `say "5 gravid" or "5 not gravid"`}
			}
			i++
		}
		c.Finding.Gravid = &yes
	default:
		return Command{}, 0, p.notFound(i, next)
	}
	if f != nil {
		return Command{}, 0, f
	}
	return c, i, nil
}

// notFound says what is wrong with a line that begins with a number.
func (p *parser) notFound(i, next int) *fault {
	raw := p.toks[i].raw
	switch w := p.word(next); {
	case w == "done" || w == "did":
		return &fault{why: fmt.Sprintf("say the verb first: %q", "done "+raw)}
	case w == "skip" || w == "skipped" || w == "later" || w == "note" || w == "undo":
		return &fault{why: fmt.Sprintf("say the verb first, as in %q", strings.TrimSuffix(w, "ped")+" "+raw)}
	}
	return &fault{why: fmt.Sprintf("say what was found, as in %q or %q", raw+" laid 6", raw+" weighs 41 g")}
}

// laid reads "", "6", "6 eggs", "6 and 2 slugs", "6 (2 slugs)", "4 slugs".
func (p *parser) laid(i int, c *Command) (int, *fault) {
	if !p.is(i, tNumber) {
		uncounted := tasks.Uncounted
		c.Finding.Laid = &uncounted
		return p.outside(i, c), nil
	}
	n := p.toks[i].n
	if p.word(i+1) == "more" {
		c.Finding.More = &n
		if i += 2; p.word(i) == "eggs" || p.word(i) == "egg" {
			i++
		}
		if n == 0 {
			return 0, &fault{why: "if no more were laid there is nothing to record but that you looked: say done", clear: true}
		}
		return i, nil
	}
	c.Finding.Laid = &n
	i++
	if w := p.word(i); w == "slugs" || w == "slug" {
		zero := 0
		c.Finding.Laid, c.Finding.Slugs = &zero, &n
		return p.outside(i+1, c), nil
	}
	if w := p.word(i); w == "eggs" || w == "egg" {
		i++
	}
	k := i
	switch {
	case p.is(k, tOpen) || p.is(k, tAnd) || p.word(k) == "plus" || p.word(k) == "with":
		k++
	case p.is(k, tComma):
		if k++; p.is(k, tAnd) {
			k++
		}
	}
	slugs, ok := 0, false
	switch {
	case p.word(k) == "no":
		ok = true
	case p.is(k, tNumber):
		slugs, ok = p.toks[k].n, true
	}
	// "7 laid 6, 8 slugs 2" is two findings.
	if w := p.word(k + 1); ok && (w == "slugs" || w == "slug") && !p.is(k+2, tNumber) {
		c.Finding.Slugs = &slugs
		open := p.is(i, tOpen)
		i = k + 2
		if open {
			if !p.is(i, tClose) {
				return 0, &fault{why: "it opens a bracket and does not close it"}
			}
			i++
		}
	} else if k == i && p.is(k, tNumber) && !p.finds(k) {
		return 0, &fault{why: fmt.Sprintf("two counts; say %q", fmt.Sprintf("laid %d and %d slugs", n, slugs))}
	}
	if n == 0 && (c.Finding.Slugs == nil || *c.Finding.Slugs == 0) {
		return 0, &fault{why: "if nothing was laid there is nothing to record but that you looked: say done", clear: true}
	}
	return p.outside(i, c), nil
}

// outside reads "outside", "outside the box", "outside the nest box".
func (p *parser) outside(i int, c *Command) int {
	if p.word(i) != "outside" {
		return i
	}
	c.Finding.Outside = true
	if i++; p.word(i) == "the" {
		i++
		if p.word(i) == "nest" {
			i++
		}
		if p.word(i) == "box" {
			i++
		}
	}
	return i
}

// moved reads "cool", "to cool", "into the cool".
func (p *parser) moved(i int, c *Command) (int, *fault) {
	switch p.word(i) {
	case "to", "into":
		i++
	}
	if p.word(i) == "the" {
		i++
	}
	if p.known != nil && !p.end(i) {
		if t, ok := p.known(p.toks[i].raw); ok && t.Scope == OfIncubator {
			c.Finding.Moved = t.ID
			return i + 1, nil
		}
	}
	return 0, &fault{why: "say which incubator of the books it was moved to, by its id", clear: true}
}

// ratio is how the trade writes sexes: males.females, or males.females.unsure.
var ratio = regexp.MustCompile(`^([0-9]{1,3})\.([0-9]{1,3})(?:\.([0-9]{1,3}))?$`)

// sexed reads "2.1.3".
func (p *parser) sexed(i int, c *Command) (int, *fault) {
	const why = `say males.females.unsure, as in "12 sexed 2.1.3", or "12 male", "12 female", "12 unsure" of one`
	if p.end(i) {
		return 0, &fault{why: why, clear: true}
	}
	m := ratio.FindStringSubmatch(p.toks[i].raw)
	if m == nil {
		return 0, &fault{why: why}
	}
	var n [3]int
	for k, s := range m[1:] {
		n[k], _ = strconv.Atoi(s) // at most three figures; "" is none
	}
	s := tasks.Sexed{Males: n[0], Females: n[1], Unsure: n[2]}
	if s.All() == 0 {
		return 0, &fault{why: "if none was looked at there is nothing to record", clear: true}
	}
	c.Finding.Sexed = &s
	return i + 1, nil
}

// strongestUVI is far above what is measured under the midday sun anywhere
// lizards live.
const strongestUVI = 30

// uvi reads an index: "3.1", "3,1".
func (p *parser) uvi(i int, c *Command) (int, *fault) {
	number, next := p.decimal(i)
	if number == "" {
		return 0, &fault{why: `say the index, as in "13 uvi 3.1"`, clear: p.end(i)}
	}
	x, err := strconv.ParseFloat(number, 64)
	x = math.Round(x*100) / 100
	if err != nil || x > strongestUVI {
		return 0, &fault{why: fmt.Sprintf("a UV index of %q cannot be right", shortened(number)), clear: true}
	}
	c.Finding.UVI = &x
	return next, nil
}

// signs reads what stands behind "ill": nothing, or words.
func (p *parser) signs(i int, c *Command) (int, *fault) {
	if p.setsOff(i) {
		var f *fault
		c.Finding.Note, i, f = p.words(i)
		return i, f
	}
	if next, _ := p.separators(i); p.end(i) || next > i {
		return i, nil
	}
	if isNumeric(p.toks[i]) {
		return 0, &fault{why: `put a colon before the signs, as in "8 ill: limp"`}
	}
	var f *fault
	c.Finding.Note, i, f = p.words(i)
	return i, f
}

// weights reads a weight, or those of a group: "41 g", "3.1 3.4 5.2 g",
// "3.1, 3.4 and 5.2 g". One unit stands behind the last and is for all.
func (p *parser) weights(i int, c *Command) (int, *fault) {
	read := func(i int) (husbandry.Grams, int, *fault) {
		x, next, f := p.quantity(i, "g or oz", "a weight", func(s string) (float64, error) {
			g, err := husbandry.ParseMass(s)
			return float64(g), err
		})
		return husbandry.Grams(x), next, f
	}
	numbers, last := p.plainNumbers(i)
	if len(numbers) == 0 {
		g, next, f := read(i)
		c.Finding.Weighs = &g
		return next, f
	}
	if len(numbers) >= maxWeights {
		return 0, &fault{why: fmt.Sprintf("these are more than %d weights", maxWeights)}
	}
	final, next, f := read(last)
	if f != nil {
		return 0, f
	}
	unit := strings.Trim(p.line[p.toks[last].from:p.toks[next-1].at], "0123456789.,: ")
	hundredths := 0.0
	for _, s := range numbers {
		g, err := husbandry.ParseMass(s + " " + unit)
		g = husbandry.Grams(math.Round(float64(g)*100) / 100)
		if f := thousandOrDecimal(s); f != nil {
			return 0, f
		}
		if err != nil || g <= 0 || g > maxNumber {
			return 0, &fault{why: fmt.Sprintf("a weight of %q cannot be right", shortened(s+" "+unit)), clear: true}
		}
		c.Finding.Each = append(c.Finding.Each, g)
	}
	c.Finding.Each = append(c.Finding.Each, final)
	for _, g := range c.Finding.Each {
		hundredths += math.Round(100 * float64(g)) // whole, so that no order of adding matters
	}
	mean := husbandry.Grams(math.Round(hundredths/float64(len(c.Finding.Each))) / 100)
	c.Finding.Weighs = &mean
	return next, nil
}

// maxWeights is how many animals of a group are weighed in one line at most.
const maxWeights = 100

// plainNumbers reads numbers without a unit that further ones follow, and
// returns them and where the last one stands, which has the unit. A decimal
// comma is one between figures without white space.
func (p *parser) plainNumbers(i int) (numbers []string, last int) {
	for {
		number, next := p.decimal(i)
		if number == "" {
			return numbers, i
		}
		k := next
		if p.is(k, tComma) && !(!p.end(k+1) && p.toks[k+1].tight) {
			k++
		}
		if p.is(k, tAnd) {
			k++
		}
		if following, _ := p.decimal(k); following == "" && !p.startsMeasured(k) {
			return numbers, i
		}
		numbers = append(numbers, number)
		i = k
	}
}

// decimal reads a number without a unit, "" where there is none.
func (p *parser) decimal(i int) (number string, next int) {
	if p.end(i) {
		return "", i
	}
	m := measured.FindStringSubmatch(p.toks[i].raw)
	if m == nil || m[2] != "" {
		return "", i
	}
	number = m[1]
	if p.is(i, tNumber) && p.is(i+1, tComma) && p.toks[i+1].tight && p.is(i+2, tNumber) && p.toks[i+2].tight && p.figures(i+2) {
		return number + "." + p.toks[i+2].raw, i + 3
	}
	return number, i + 1
}

// startsMeasured reports whether the token at i is a number with its unit.
func (p *parser) startsMeasured(i int) bool {
	if p.end(i) {
		return false
	}
	return measured.MatchString(p.toks[i].raw)
}

// count reads the whole number a verb needs, and a noun after it.
func (p *parser) count(i int, slot **int, verb string, nouns ...string) (int, *fault) {
	if !p.is(i, tNumber) {
		return 0, &fault{why: fmt.Sprintf("say how many, as in %q", verb+" 3"), clear: p.end(i)}
	}
	n := p.toks[i].n
	*slot = &n
	if i++; slices.Contains(nouns, p.word(i)) {
		i++
	}
	return i, nil
}

var measured = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?)(\pL*)$`)

// quantity reads a number and its unit: "41 g", "41.5g", "41,5 g", "2 fl oz".
// The result is rounded to hundredths, which no keeper's scales exceed, so
// that it prints as it reads.
func (p *parser) quantity(i int, units, what string, parse func(string) (float64, error)) (float64, int, *fault) {
	if p.end(i) {
		return 0, 0, &fault{why: fmt.Sprintf("say how much, with %s", units), clear: true}
	}
	number := p.toks[i].raw
	if p.is(i, tNumber) {
		if !p.figures(i) {
			number = strconv.Itoa(p.toks[i].n)
		}
		if p.is(i+1, tComma) && p.toks[i+1].tight && !p.end(i+2) && p.toks[i+2].tight && p.toks[i+2].raw[0] >= '0' && p.toks[i+2].raw[0] <= '9' {
			number += "." + p.toks[i+2].raw
			i += 2
		}
	}
	i++
	m := measured.FindStringSubmatch(number)
	if m == nil {
		return 0, 0, &fault{why: fmt.Sprintf("%q is not %s; say it with %s", shortened(number), what, units)}
	}
	if f := thousandOrDecimal(m[1]); f != nil {
		return 0, 0, f
	}
	unit := m[2]
	if unit == "" {
		unit = p.word(i)
		if unit != "" {
			i++
		}
	}
	if u := strings.ToLower(unit); u == "fl" || u == "fluid" {
		if p.is(i, tStop) {
			i++
		}
		unit += " " + p.word(i)
		i++
	}
	if unit == "" {
		return 0, 0, &fault{why: fmt.Sprintf("say %s: a number alone has no unit", units), clear: true}
	}
	x, err := parse(m[1] + " " + unit)
	if err != nil {
		return 0, 0, &fault{why: fmt.Sprintf("%q is not %s; say it with %s", shortened(m[1]+" "+unit), what, units)}
	}
	x = math.Round(x*100) / 100
	if x <= 0 || x > maxNumber {
		return 0, 0, &fault{why: fmt.Sprintf("%s of %q cannot be right", what, shortened(m[1]+" "+unit)), clear: true}
	}
	return x, i, nil
}

// thousandOrDecimal refuses "1.234", which is either.
func thousandOrDecimal(number string) *fault {
	if whole, fraction, _ := strings.Cut(number, "."); len(fraction) == 3 && strings.Trim(whole, "0") != "" {
		return &fault{why: fmt.Sprintf("is %q a thousand or a decimal? write it without the mark, or with two decimals", number), clear: true}
	}
	return nil
}

// words reads a note or a reason from i on. It ends at the end of the line, or
// where a comma, semicolon or full stop is followed by commands. Where such
// commands may as well be words of the note, as in "note 2 gave 3 crickets, 8
// refused", nothing is guessed.
func (p *parser) words(i int) (string, int, *fault) {
	p.split()
	end := len(p.toks)
	if i < end {
		end = p.ends[i]
	}
	if end == i {
		return "", end, nil
	}
	to := len(p.line)
	if end < len(p.toks) {
		to = p.toks[end].from
		if next, _ := p.separators(end); p.ambiguous[end] {
			return "", 0, &fault{why: fmt.Sprintf("is %q a command or part of the text before it? write it on a line of its own", shortened(p.line[p.toks[next].from:]))}
		}
	}
	text := unwrap(p.line[p.toks[i].from:to])
	if len(text) > maxWords {
		return "", 0, &fault{why: fmt.Sprintf("its text is longer than %d letters", maxWords), clear: true}
	}
	return text, end, nil
}

// split works out once, from the end of the line to its beginning, where a
// text ends that begins at each token: ends has the index of the separator
// before the commands that follow it, ambiguous those where it cannot be told.
func (p *parser) split() {
	if p.ends != nil {
		return
	}
	p.ends = make([]int, len(p.toks))
	p.ambiguous = make([]bool, len(p.toks))
	for m := len(p.toks) - 1; m >= 0; m-- {
		p.ends[m] = len(p.toks)
		if m+1 < len(p.toks) {
			p.ends[m] = p.ends[m+1]
		}
		switch p.kind(m) {
		case tComma, tSemicolon, tStop, tAnd:
		default:
			continue
		}
		next, _ := p.separators(m)
		if p.end(next) {
			p.ends[m] = m
			continue
		}
		if !p.begins(next) {
			continue
		}
		cs, f := p.commands(next)
		if f != nil {
			continue
		}
		plain := !slices.ContainsFunc(cs, func(c Command) bool { return c.Verb == All || c.Verb == AllBut || c.Verb == Found })
		p.ends[m] = m
		p.ambiguous[m] = !p.is(m, tSemicolon) && (!plain || p.is(m, tAnd))
	}
}

// begins reports whether a command may begin at i.
func (p *parser) begins(i int) bool {
	if leading[p.word(i)] || p.is(i, tNumber) {
		return true
	}
	_, ok := p.record(i)
	return ok
}

// unwrap takes away what sets a text off: a colon, a dash, "because".
func unwrap(s string) string {
	for {
		t := strings.Trim(s, " :-,;.!&+")
		if len(t) > len("because ") && strings.EqualFold(t[:len("because ")], "because ") {
			t = t[len("because "):]
		}
		if t == s {
			return t
		}
		s = t
	}
}
