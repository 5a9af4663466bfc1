package reply

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"nestround/tasks"
	"nestround/tasks/finding"
)

// The limits of a text. A text that exceeds maxText or maxCommands yields no
// command at all, because half an answer may mean something else than the whole
// answer.
const (
	maxText     = 64 << 10 // bytes
	maxCommands = 200
	maxLine     = 4 << 10 // bytes of a line that may be a command
	maxWords    = 1000    // bytes of a note or a reason
)

// Refused is a line, or part of a line, that looks like a command but is not
// one, or a command that cannot be carried out.
type Refused struct {
	Text string
	Why  string // reason and remedy in a sentence, lower case
}

// Parsed is the result of Parse.
type Parsed struct {
	Commands []Command // in the order of the text
	Refused  []Refused // lines that look like commands but are not
	Unread   []string  // all other lines, without greetings, signatures and the like

	meant bool // a refused line has a verb of the grammar with its number
}

// Parse reads the commands of a text: an answer without its quotes, or the
// arguments of a shell command. A line has one command, or several with commas,
// semicolons or "and" between them:
//
//	done 1 3 5-7        all        all but 4 and 6
//	skip 2 [why]        later 5 2 days | tomorrow | friday | 2027-05-12
//	7 laid 6 and 2 slugs       4 weighs 41 g      8 refused
//	note 2 female digging      undo 3      undo entry K7Q2M4
//
// The findings, such as those of the third line, are the rows of [finding.All].
// A finding, a note or an undo may name a record of the books in place of a
// number. Case, punctuation, bullets, greetings, full-width figures and numbers
// in words up to twenty are accepted. Nothing else is: a line must read as
// commands from its first to its last word, or the whole line is refused.
func Parse(text string, known Known) Parsed {
	if len(text) > maxText {
		return Parsed{Refused: []Refused{{shortened(text), fmt.Sprintf("the text is longer than %d KiB; send the commands alone", maxText>>10)}}}
	}
	var out Parsed
	var all []line
	commands := 0
	for raw := range strings.Lines(text) {
		l := readLine(raw, known)
		all = append(all, l)
		if commands += len(l.commands); commands > maxCommands {
			return tooMany(text)
		}
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
	return out
}

func tooMany(text string) Parsed {
	return Parsed{Refused: []Refused{{shortened(text), fmt.Sprintf("these are more than %d commands; send them in several mails", maxCommands)}}}
}

// shortened returns text of the sender, cut to a length that may be quoted in
// an answer.
func shortened(s string) string {
	s = tidy(s)
	if r := []rune(s); len(r) > 200 {
		return string(r[:200]) + "..."
	}
	return s
}

// line is a line of the text with its kind.
type line struct {
	text     string
	is       lineKind
	commands []Command
	why      string
	meant    bool // refused, but has a verb with its number
	loose    bool // refused, and may belong to a command on another line
	joins    bool // has only numbers, or begins with "and": perhaps the end of the line before
	ends     bool // its last character ends a sentence
	rule     bool // a rule that some programs draw above a quote without marks
	field    bool // looks like a field of a mail's header
}

// lineKind is the kind of a line.
type lineKind int

const (
	isSilent lineKind = iota // blank, a greeting, a signature, a mail's header
	isCommands
	isRefused
	isUnread
)

// hush silences a quote without marks if no line of the quote is a command.
// Such a quote begins at the rule or the header fields above it, and goes on to
// the end of the text. Outlook writes the digest's HTML as new lines that equal
// no line of the digest; a number alone on such a line is not the keeper's
// mistake.
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

// mistrust refuses lines that are complete commands, but perhaps not everything
// that the writer meant.
func mistrust(lines []line) {
	loose, width := false, 0
	for i := range lines {
		width = max(width, utf8.RuneCountInString(lines[i].text))
	}
	for i := range lines {
		l := &lines[i]
		if i > 0 && l.sweeping() {
			l.endsSentence(&lines[i-1])
		}
		if i+1 < len(lines) && l.sweeping() {
			l.beginsSentence(&lines[i+1], width)
		}
		loose = loose || l.is == isRefused && l.loose
		// A mail program that wraps lines leaves the end of a list on a
		// separate line: "all but 4" and then "and 6".
		if l.joins && i > 0 && lines[i-1].is == isCommands && endsInList(lines[i-1].commands) {
			lines[i-1].refuse("the next line looks like the rest of this one; write it in one line")
		}
	}
	if !loose {
		return
	}
	// Only "all" affects tasks that it does not name, and its exception may
	// stand on a separate line: "except 4".
	for i := range lines {
		l := &lines[i]
		if l.sweeping() {
			l.refuse(`another line was not understood, which may take something out of "all"; send it again without that line`)
		}
	}
}

// sweeping reports whether the line marks tasks that it does not name.
func (l *line) sweeping() bool {
	return slices.ContainsFunc(l.commands, func(c Command) bool { return c.Verb == All || c.Verb == AllBut })
}

// endsSentence refuses a sweeping line if it may be the end of a sentence that
// begins in the line above: "Thank you, that is" and then "all". Mail programs
// break a sentence at any space.
func (l *line) endsSentence(above *line) {
	greeted := above.is == isSilent && above.text != "" && !above.rule && !above.field
	switch {
	case greeted && !strings.Contains(strings.ToLower(l.text), "done") && l.commands[0].Verb == All:
		l.refuse(`is this the end of a greeting? say "all done"`)
	case (above.is == isUnread || above.is == isRefused) && !above.ends:
		l.refuse("is this the end of the line before it? leave an empty line between them")
	}
}

// beginsSentence refuses a sweeping line if the line below may be its rest:
// "all but 4" and then "of them look well". A mail program breaks a line only if
// the next word does not fit. width is the length of the text's longest line.
func (l *line) beginsSentence(below *line, width int) {
	first, _, _ := strings.Cut(below.text, " ")
	if r, _ := utf8.DecodeRuneInString(first); below.is != isUnread || l.ends || unicode.IsUpper(r) {
		return
	}
	if utf8.RuneCountInString(l.text)+1+utf8.RuneCountInString(first) > width {
		l.refuse("is the next line the rest of this one? leave an empty line between them")
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
	// A greeting before a command, with the punctuation that ends the greeting.
	greeting = regexp.MustCompile(`(?i)^(?:(?:hi|hello|hey|hallo|dear|good (?:morning|afternoon|evening|day)|morning|evening)((?: \pL+){0,2})|thanks|thank you|ok|okay|yes) ?[-,.!:;]+ ?`)
	// Lines that nobody means as a command and that need not be quoted back.
	// The pattern decides nothing else.
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

// readLine decides the kind of a line and reads its commands.
func readLine(raw string, known Known) line {
	text := tidy(raw)
	l := line{text: text, ends: text != "" && strings.ContainsRune(".!?:;", rune(text[len(text)-1]))}
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
	p := &parser{Line: finding.Line{Text: rest, Tokens: lex(rest), Known: known}, memo: make(map[int]outcome)}
	p.Rest = p.words
	cs, f := p.commands(0)
	if f == nil && greeted && p.greetsAll(cs) {
		f = &fault{Why: `is this a greeting? say "all done"`}
	}
	if f == nil {
		if len(cs) > 0 {
			l.is, l.commands = isCommands, cs
			if why := disguise(raw); why != "" {
				l.refuse(why)
			}
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
		l.is, l.why = isRefused, f.Why
		l.meant = p.meant()
		l.loose = !f.Clear
	}
	return l
}

// greetsAll reports whether the commands behind a greeting belong to it: "Hi,
// all" is a greeting, not a report.
func (p *parser) greetsAll(cs []Command) bool {
	return len(cs) == 1 && cs[0].Verb == All && len(p.Tokens) <= 2 && !strings.Contains(strings.ToLower(p.Text), "done")
}

// holdsGrammar reports whether a greeting may be a command after all: "morning
// done, 3 refused" may, "Hi all" may not.
func holdsGrammar(words string) bool {
	return slices.ContainsFunc(strings.Fields(strings.ToLower(words)), func(w string) bool { return w != "all" && isGrammar(w) })
}

// fault is the reason why words are not commands.
type fault = finding.Fault

type outcome struct {
	commands []Command
	fault    *fault
}

// parser reads a line. Its methods take the index of a token, and return the
// index after the tokens they read.
type parser struct {
	finding.Line
	memo map[int]outcome // results of commands, by index

	ends      []int // see split
	ambiguous []bool
}

// Words by which the parser recognises exceptions, failed attempts at a
// command, and weekdays.
var (
	exceptWords = set("but", "except", "excepting")
	// grammarWords are the words of findings, and similar words that people
	// type.
	grammarWords = func() map[string]bool {
		m := set("skips", "put", "postpone", "tomorrow", "finished")
		for w := range exceptWords {
			m[w] = true
		}
		for i := range finding.All {
			for _, v := range finding.All[i].Verbs {
				m[v.Word] = true
			}
			for _, w := range finding.All[i].Near {
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

// joins reports whether this line may be the end of the previous line: it has
// only numbers, or it begins with "and".
func (p *parser) joins() bool {
	numbers := 0
	for i, t := range p.Tokens {
		switch t.Kind {
		case finding.Number, finding.Range:
			numbers++
		case finding.And:
			if i == 0 {
				return true
			}
		case finding.Comma, finding.Stop, finding.Dash:
		default:
			return false
		}
	}
	return numbers > 0
}

// attempted reports whether the line looks like a command.
func (p *parser) attempted() bool {
	if p.End(0) {
		return false
	}
	w := p.Word(0)
	if finding.IsCommand(w) || isFinding(w) || exceptWords[w] || p.joins() {
		return true
	}
	if _, ok := p.Record(0); !ok && !p.Is(0, finding.Number) && !p.Is(0, finding.Range) {
		return false
	}
	return slices.ContainsFunc(p.Tokens, func(t finding.Token) bool { return t.Kind == finding.Word && isGrammar(t.Word) })
}

// isGrammar reports whether a word, in lower case, is a word of the grammar or
// close to one.
func isGrammar(word string) bool { return finding.IsCommand(word) || grammarWords[word] }

// isFinding reports whether a word can begin a finding after its target.
func isFinding(word string) bool {
	_, ok := finding.Leading(word)
	return ok
}

// meant reports whether a verb stands beside the number or record that it
// needs. Then the line is a mistake rather than prose.
func (p *parser) meant() bool {
	_, known := p.Record(0)
	if known || p.Is(0, finding.Number) || p.Is(0, finding.Range) {
		return isFinding(p.Word(1)) || isFinding(p.Word(2)) || finding.IsCommand(p.Word(1))
	}
	return (finding.IsCommand(p.Word(0)) || isFinding(p.Word(0))) && (p.Is(1, finding.Number) || p.Is(1, finding.Range))
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
	if p.Is(i, finding.And) {
		return nil, &fault{Why: `it begins with "and"; write each command out`}
	}
	i, _ = p.Separators(i)
	if p.End(i) {
		return nil, nil
	}
	c, after, f := p.command(i)
	if f != nil {
		return nil, f
	}
	next, and := p.Separators(after)
	switch {
	case p.End(next) && and:
		return nil, &fault{Why: `it ends with "and"; write it in one line`}
	case p.End(next):
		return []Command{c}, nil
	case next == after:
		return nil, p.stray(next)
	}
	rest, f := p.commands(next)
	if f != nil {
		return nil, f
	}
	if len(rest) >= maxCommands {
		return nil, &fault{Why: fmt.Sprintf("these are more than %d commands", maxCommands)}
	}
	return append([]Command{c}, rest...), nil
}

// stray returns the fault for a word after a command that does not belong to
// it.
func (p *parser) stray(i int) *fault {
	if p.Begins(i) || finding.IsCommand(p.Word(i)) {
		return &fault{Why: fmt.Sprintf("put a comma before %q, or write it on a line of its own", p.Tokens[i].Raw)}
	}
	return &fault{Why: fmt.Sprintf("the command ends before %q", shortened(p.Tokens[i].Raw))}
}

// command reads one command.
func (p *parser) command(i int) (Command, int, *fault) {
	switch w := p.Word(i); w {
	case "done", "did":
		i = p.setOff(i + 1)
		if p.Word(i) == "all" {
			return p.all(i)
		}
		return p.listing(Done, i)
	case "all":
		return p.all(i)
	case "skip", "skipped":
		return p.skip(i + 1)
	case "later":
		return p.later(i + 1)
	case "undo":
		if tag, next, ok := p.tag(i + 1); ok {
			return Command{Verb: Undo, Entry: tag}, next, nil
		}
		if t, ok := p.Record(i + 1); ok {
			return Command{Verb: Undo, Record: t}, i + 2, nil
		}
		return p.listing(Undo, p.setOff(i+1))
	case "note":
		return p.note(i + 1)
	default:
		// A record may have the name of a verb that came with a later version.
		if _, known := p.Record(i); known {
			break
		}
		if v, ok := finding.Leading(w); ok {
			return Command{}, 0, &fault{Why: fmt.Sprintf("say the number first: %q", strings.TrimSpace("7 "+w+" "+v.Example))}
		}
	}
	return p.found(i)
}

// tag reads the tag of an entry: "entry K7Q2M4", or "K7Q2M4" if no record has this
// id.
func (p *parser) tag(i int) (tag string, next int, ok bool) {
	named := p.Word(i) == "entry"
	if named {
		i++
	}
	if _, known := p.Record(i); known && !named || !p.Is(i, finding.Word) {
		return "", 0, false
	}
	tag, ok = tasks.AsTag(p.Tokens[i].Raw)
	return tag, i + 1, ok
}

// setOff skips a colon or dash before the number or text at i.
func (p *parser) setOff(i int) int {
	if p.Is(i, finding.Colon) || p.Is(i, finding.Dash) {
		i++
	}
	return i
}

// listing reads the numbers of a command with the given verb: "1 3", "1, 3 and
// 5-7", "5 to 7". It stops before a number that begins a finding, as in "done 1, 7 laid 6",
// and before a number of days.
func (p *parser) listing(verb Verb, i int) (c Command, next int, f *fault) {
	c.Verb = verb
	for k := i; p.isListed(k); k = p.and(i) {
		from, to, next := p.span(k)
		if to < from {
			return Command{}, 0, &fault{Why: fmt.Sprintf("%d-%d runs backwards", from, to)}
		}
		if len(c.Numbers)+to-from+1 > finding.MaxNumber {
			return Command{}, 0, &fault{Why: "it names too many numbers"}
		}
		if from < to {
			c.ranges = append(c.ranges, span{from, to})
		}
		for n := from; n <= to; n++ {
			c.Numbers = append(c.Numbers, n)
		}
		i = next
	}
	if why := p.noNumber(p.and(i)); why != "" {
		return Command{}, 0, &fault{Why: why}
	}
	if len(c.Numbers) == 0 && p.Begins(i) {
		return Command{}, 0, &fault{Why: fmt.Sprintf("is %q a finding or a reason? write a finding without another verb, or note the reason: %q",
			shortened(p.Text[p.Tokens[i].From:]), "note "+p.Tokens[i].Raw+": ...")}
	}
	if len(c.Numbers) == 0 {
		return Command{}, 0, &fault{Why: `it needs the numbers of tasks, as in "1 3 5-7"`}
	}
	slices.Sort(c.Numbers)
	c.Numbers = slices.Compact(c.Numbers)
	return c, i, nil
}

// noNumber says why the token at i looks like the number of a task but is none,
// such as "1.5" and "99999". It returns "" for all other tokens.
func (p *parser) noNumber(i int) string {
	if p.End(i) {
		return ""
	}
	raw := p.Tokens[i].Raw
	if t, ok := p.Record(i); ok && t.ID != "" {
		return ""
	}
	switch {
	case finding.IsPart(raw):
		return fmt.Sprintf("%q is not a whole number; separate the numbers of tasks by spaces", shortened(raw))
	case p.Word(i) == "" || strings.Trim(raw, "0123456789-") != "" || strings.Trim(raw, "-") == "":
		if strings.ContainsFunc(raw, func(r rune) bool { return unicode.IsDigit(r) && r > unicode.MaxASCII }) {
			return "write the numbers with the figures 0 to 9"
		}
		return ""
	}
	return fmt.Sprintf("no task has the number %q", shortened(raw))
}

// inWords reports whether the number before the token i is written in words. Such a
// number may also be part of a remark: "two ill".
func (p *parser) inWords(i int) bool { return i > 0 && p.Is(i-1, finding.Number) && !p.Figures(i-1) }

const inFigures = "is this the number of a task, or a word of a remark? write the number in figures"

// and skips the comma and the "and" before the next number of a list.
func (p *parser) and(i int) int {
	if p.Is(i, finding.Comma) {
		i++
	}
	if p.Is(i, finding.And) {
		i++
	}
	return i
}

// isListed reports whether the token at i is a number of a list: neither a
// number of days nor the beginning of a finding.
func (p *parser) isListed(i int) bool {
	return (p.Is(i, finding.Number) || p.Is(i, finding.Range)) && !days[p.Word(i+1)] && !p.Begins(i)
}

// span reads "5", "5-7" or "5 to 7".
func (p *parser) span(i int) (from, to, next int) {
	t := p.Tokens[i]
	if t.Kind == finding.Range {
		return t.N, t.To, i + 1
	}
	if w := p.Word(i + 1); (p.Is(i+1, finding.Dash) || w == "to" || w == "through") && p.Is(i+2, finding.Number) {
		return t.N, p.Tokens[i+2].N, i + 3
	}
	return t.N, t.N, i + 1
}

var days = map[string]bool{"day": true, "days": true, "week": true, "weeks": true}

// all reads "all", "all done", "all but 4 and 6", "all done except 4".
func (p *parser) all(i int) (Command, int, *fault) {
	i++
	if p.Word(i) == "done" {
		i++
	}
	but := i
	if p.Is(but, finding.Comma) {
		but++
	}
	if !exceptWords[p.Word(but)] {
		if next, _ := p.Separators(i); next == i && !p.End(i) {
			return Command{}, 0, &fault{Why: `"all" stands alone, or as in "all but 4"`}
		}
		return Command{Verb: All}, i, nil
	}
	i = but + 1
	if p.Word(i) == "for" {
		i++
	}
	c, i, f := p.listing(AllBut, i)
	if f == nil && slices.ContainsFunc(p.Tokens[but:i], func(t finding.Token) bool {
		return t.Kind == finding.Number && strings.Trim(t.Raw, "0123456789") != ""
	}) {
		f = &fault{Why: `"all but one" may mean any of them; write the numbers in figures, as in "all but 4"`}
	}
	return c, i, f
}

// skip reads "2", "2 too cold", "2 4: too cold", "2, too cold".
func (p *parser) skip(i int) (Command, int, *fault) {
	c, i, f := p.listing(Skip, p.setOff(i))
	if f != nil {
		return Command{}, 0, f
	}
	if p.SetsOff(i) {
		c.Why, i, f = p.words(i)
		return c, i, f
	}
	next, _ := p.Separators(i)
	if p.End(next) {
		return c, i, nil
	}
	if next > i {
		if _, f := p.commands(next); f == nil {
			return c, i, nil
		}
		// "skip 2, too cold" has a reason, but "skip 2, don 3" has a misspelt
		// command.
		why, after, f := p.words(next)
		if f != nil {
			return Command{}, 0, f
		}
		if !p.Is(i, finding.Comma) || next > i+1 || strings.ContainsAny(why, "0123456789") || slices.ContainsFunc(lex(why), finding.Token.Numeric) {
			return Command{}, 0, &fault{Why: `write the reason after a colon, as in "skip 2: too cold", and other commands on lines of their own`}
		}
		c.Why = why
		return c, after, nil
	}
	if p.inWords(i) {
		return Command{}, 0, &fault{Why: inFigures}
	}
	if len(c.Numbers) > 1 || p.Tokens[i].Numeric() {
		return Command{}, 0, &fault{Why: `put a colon before the reason, as in "skip 2 4: too cold"`}
	}
	c.Why, i, f = p.words(i)
	return c, i, f
}

// later reads "5 2 days", "5 6 until friday: no crickets".
func (p *parser) later(i int) (Command, int, *fault) {
	c, i, f := p.listing(Later, p.setOff(i))
	if f != nil {
		return Command{}, 0, f
	}
	switch p.Word(i) {
	case "by", "in", "for", "until", "till", "to", "on":
		i++
	}
	if c.When, i, f = p.when(i); f != nil {
		return Command{}, 0, f
	}
	if p.SetsOff(i) {
		c.Why, i, f = p.words(i)
	}
	return c, i, f
}

// when reads "2 days", "a week", "tomorrow", "friday" or a date.
func (p *parser) when(i int) (t When, next int, f *fault) {
	w := p.Word(i)
	weekday, byWeekday := weekdays[w]
	next = i + 1
	switch {
	case p.Is(i, finding.Number) && days[p.Word(i+1)]:
		t.Days = p.Tokens[i].N * perUnit(p.Word(i+1))
		next = i + 2
	case w == "a" && (p.Word(i+1) == "day" || p.Word(i+1) == "week"):
		t.Days = perUnit(p.Word(i + 1))
		next = i + 2
	case w == "tomorrow":
		t.Days = 1
	case byWeekday:
		t.ByWeekday, t.Weekday = true, weekday
	case p.Is(i, finding.Date):
		t.Date = p.Tokens[i].Date
	case w == "next" || w == "this":
		return When{}, 0, &fault{Why: `a weekday alone is the next one, as in "later 5 friday"; for another write its date`, Clear: true}
	default:
		return When{}, 0, &fault{Why: `say until when, as in "later 5 2 days", "later 5 friday" or "later 5 2027-05-12"`, Clear: p.End(i)}
	}
	if t.Days > finding.MaxNumber || t == (When{}) {
		return When{}, 0, &fault{Why: "that is not a number of days"}
	}
	return t, next, nil
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
		return Command{}, 0, &fault{Why: `say what the note is about, as in "note 2 female digging"`}
	}
	if p.inWords(i) && record.ID == "" && !p.SetsOff(i) {
		return Command{}, 0, &fault{Why: inFigures}
	}
	if p.End(i) {
		return Command{}, 0, &fault{Why: `say what to note, as in "note 2 female digging"`, Clear: true}
	}
	if !p.SetsOff(i) && (p.Tokens[i].Numeric() || p.Is(i, finding.And) || p.Is(i, finding.Comma)) {
		return Command{}, 0, &fault{Why: `put a colon before the note, as in "note 2: 3 eggs visible"`}
	}
	c := Command{Verb: Note, Numbers: numbers, Record: record}
	c.Finding.Note, i, f = p.words(i)
	if f == nil && c.Finding.Note == "" {
		f = &fault{Why: `say what to note, as in "note 2 female digging"`, Clear: true}
	}
	return c, i, f
}

// target reads the number or record that a finding is about.
func (p *parser) target(i int) (numbers []int, record Target, next int, f *fault) {
	record, ok := p.Record(i)
	switch {
	case ok && p.Is(i, finding.Number):
		return nil, Target{}, 0, &fault{Why: fmt.Sprintf("%q is a number and a record of the books; write the number in figures", p.Tokens[i].Raw)}
	case ok:
		return nil, record, i + 1, nil
	case p.Is(i, finding.Number):
		return []int{p.Tokens[i].N}, Target{}, i + 1, nil
	case p.Is(i, finding.Range):
		return nil, Target{}, 0, &fault{Why: "a finding is about one task; write a line for each"}
	}
	return nil, Target{}, 0, &fault{Why: "it begins with neither a command nor the number of a task"}
}

// found reads a finding: "7 laid 6 and 2 slugs", "F03 weighs 41 g".
func (p *parser) found(i int) (Command, int, *fault) {
	if p.joins() {
		return Command{}, 0, &fault{Why: fmt.Sprintf("numbers alone say nothing; say %q", "done "+strings.Trim(shortened(p.Text), ".,-! "))}
	}
	numbers, record, next, f := p.target(i)
	if f == nil && p.inWords(next) && record.ID == "" {
		f = &fault{Why: inFigures}
	}
	if f != nil {
		return Command{}, 0, f
	}
	c := Command{Verb: Found, Numbers: numbers, Record: record}
	v := p.Verb(next)
	row, after, f := p.Find(v, &c.Finding)
	switch {
	case row == nil:
		return Command{}, 0, p.notFound(i, next)
	case f != nil:
		return Command{}, 0, f
	}
	return c, after, nil
}

// notFound returns the fault of a line that begins with a number.
func (p *parser) notFound(i, next int) *fault {
	raw := p.Tokens[i].Raw
	switch w := p.Word(next); {
	case w == "done" || w == "did":
		return &fault{Why: fmt.Sprintf("say the verb first: %q", "done "+raw)}
	case w == "skip" || w == "skipped" || w == "later" || w == "note" || w == "undo":
		return &fault{Why: fmt.Sprintf("say the verb first, as in %q", strings.TrimSuffix(w, "ped")+" "+raw)}
	}
	return &fault{Why: fmt.Sprintf("say what was found, as in %q or %q", raw+" laid 6", raw+" weighs 41 g")}
}

// words reads a note or a reason from i on. The text ends at the end of the
// line, or at a comma, semicolon or full stop that commands follow. If these
// commands may be words of the text too, as in "note 2 gave 3 crickets, 8
// refused", words does not guess but returns a fault.
func (p *parser) words(i int) (string, int, *fault) {
	p.split()
	end := len(p.Tokens)
	if i < end {
		end = p.ends[i]
	}
	if end == i {
		return "", end, nil
	}
	to := len(p.Text)
	if end < len(p.Tokens) {
		to = p.Tokens[end].From
		if next, _ := p.Separators(end); p.ambiguous[end] {
			return "", 0, &fault{Why: fmt.Sprintf("is %q a command or part of the text before it? write it on a line of its own", shortened(p.Text[p.Tokens[next].From:]))}
		}
	}
	text := unwrap(p.Text[p.Tokens[i].From:to])
	if len(text) > maxWords {
		return "", 0, &fault{Why: fmt.Sprintf("its text is longer than %d letters", maxWords), Clear: true}
	}
	return text, end, nil
}

// split computes the end of a note or reason for each token at which the text
// may begin. It computes all ends in one pass, from the end of the line to the
// beginning. ends has the index of the separator before the commands that
// follow the text. ambiguous says that the words after a separator may also
// belong to the text.
func (p *parser) split() {
	if p.ends != nil {
		return
	}
	p.ends = make([]int, len(p.Tokens))
	p.ambiguous = make([]bool, len(p.Tokens))
	for m := len(p.Tokens) - 1; m >= 0; m-- {
		p.ends[m] = len(p.Tokens)
		if m+1 < len(p.Tokens) {
			p.ends[m] = p.ends[m+1]
		}
		switch p.Kind(m) {
		case finding.Comma, finding.Semicolon, finding.Stop, finding.And:
		default:
			continue
		}
		next, _ := p.Separators(m)
		if p.End(next) {
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
		p.ambiguous[m] = !p.Is(m, finding.Semicolon) && (!plain || p.Is(m, finding.And))
	}
}

// begins reports whether a command may begin at i.
func (p *parser) begins(i int) bool {
	if finding.IsCommand(p.Word(i)) || p.Is(i, finding.Number) {
		return true
	}
	_, ok := p.Record(i)
	return ok
}

// unwrap removes the separator before a text: a colon, a dash, "because".
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
