package finding

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"nestround/tasks/husbandry"
)

// reader reads the words after a verb of a finding into g, from the token at i
// on. next is the index after the last token that it read.
type reader func(l *Line, verb string, i int, g *Values) (next int, f *Fault)

// flag reads a finding that consists of its verb alone. Some words may follow
// the verb; they are skipped.
func flag(set func(*Values), words ...string) reader {
	return func(l *Line, _ string, i int, g *Values) (int, *Fault) {
		set(g)
		return l.pass(i, words), nil
	}
}

// counted reads a whole number and an optional noun after it. none is the fault
// for a count of 0; if none is "", 0 is allowed.
func counted(field func(*Values) **int, none string, nouns ...string) reader {
	return func(l *Line, verb string, i int, g *Values) (int, *Fault) {
		if f := l.whole(i); f != nil {
			return 0, f
		}
		if !l.Is(i, Number) {
			return 0, &Fault{Why: fmt.Sprintf("say how many, as in %q", verb+" 3"), Clear: l.End(i)}
		}
		n := l.Tokens[i].N
		*field(g) = &n
		if n == 0 && none != "" {
			return 0, &Fault{Why: none, Clear: true}
		}
		return l.pass(i+1, nouns), nil
	}
}

// fraction matches a number with a decimal point or comma.
var fraction = regexp.MustCompile(`^[0-9]+[.,][0-9]+$`)

// IsPart reports whether a word is a number with a fraction: "1.5".
func IsPart(word string) bool { return fraction.MatchString(word) }

// whole refuses a count that is not a whole number, or perhaps not: "2.5", "2½",
// "2,5". It returns nil for a whole number and for words without a number. In "laid
// 2, 5 refused", the space after the comma shows that the next command begins.
func (l *Line) whole(i int) *Fault {
	if l.End(i) {
		return nil
	}
	raw := l.Tokens[i].Raw
	tight := func(i int) bool { return !l.End(i) && l.Tokens[i].Tight }
	switch {
	case IsPart(raw):
	case !l.Is(i, Number):
		return nil
	case l.Is(i+1, Comma) && tight(i+1) && tight(i+2) && l.Is(i+2, Number) && l.Figures(i):
		return &Fault{Why: fmt.Sprintf("is %q a part, or are these two numbers? write a whole number, and a space after a comma", short(l.Text[l.Tokens[i].From:l.Tokens[i+2].At]))}
	case l.Is(i+1, Other) && strings.ContainsAny(l.Tokens[i+1].Raw, "½¼¾⅓⅔/"):
		raw = l.Text[l.Tokens[i].From:l.Tokens[i+1].At]
	default:
		return nil
	}
	return &Fault{Why: fmt.Sprintf("%q is not a whole number", short(raw))}
}

// pass returns the index after the word at i if it is one of words, and else i.
func (l *Line) pass(i int, words []string) int {
	if slices.Contains(words, l.Word(i)) {
		return i + 1
	}
	return i
}

// readLaid reads "", "6", "6 eggs", "6 and 2 slugs", "6 (2 slugs)", "4 slugs",
// "2 more".
func readLaid(l *Line, _ string, i int, g *Values) (int, *Fault) {
	if f := l.whole(i); f != nil {
		return 0, f
	}
	if !l.Is(i, Number) {
		uncounted := Uncounted
		g.Laid = &uncounted
		return l.outside(i, g), nil
	}
	n := l.Tokens[i].N
	switch {
	case l.Word(i+1) == "more":
		g.More = &n
		if n == 0 {
			return 0, &Fault{Why: "if no more were laid there is nothing to record but that you looked: say done", Clear: true}
		}
		return l.pass(i+2, eggWords), nil
	case l.slugs(i + 1):
		zero := 0
		g.Laid, g.Slugs = &zero, &n
		return l.outside(i+2, g), nil
	}
	g.Laid = &n
	i, f := l.besides(l.pass(i+1, eggWords), g)
	switch {
	case f != nil:
		return 0, f
	case n == 0 && (g.Slugs == nil || *g.Slugs == 0):
		return 0, &Fault{Why: "if nothing was laid there is nothing to record but that you looked: say done", Clear: true}
	}
	return l.outside(i, g), nil
}

// besides reads the slugs behind a number of eggs: "", "and 2 slugs", "(2
// slugs)", "with no slugs".
func (l *Line) besides(i int, g *Values) (int, *Fault) {
	k := l.joint(i)
	slugs, counted := 0, l.Word(k) == "no"
	if f := l.whole(k); f != nil {
		return 0, f
	}
	if l.Is(k, Number) {
		slugs, counted = l.Tokens[k].N, true
	}
	// In "7 laid 6, 8 slugs 2", the 8 is the number of the next task, not a
	// number of slugs: the line has two findings.
	if counted && l.slugs(k+1) && !l.Is(k+2, Number) {
		g.Slugs = &slugs
		switch {
		case !l.Is(i, Open):
			return k + 2, nil
		case !l.Is(k+2, Close):
			return 0, &Fault{Why: "it opens a bracket and does not close it"}
		}
		return k + 3, nil
	}
	if k == i && l.Is(k, Number) && !l.Begins(k) {
		return 0, &Fault{Why: fmt.Sprintf("two counts; say %q", fmt.Sprintf("laid %d and %d slugs", *g.Laid, slugs))}
	}
	return i, nil
}

// joint moves past the token that joins eggs and slugs, if there is one.
func (l *Line) joint(i int) int {
	switch {
	case l.Is(i, Open), l.Is(i, And):
		return i + 1
	case l.Is(i, Comma) && l.Is(i+1, And):
		return i + 2
	case l.Is(i, Comma):
		return i + 1
	}
	return l.pass(i, []string{"plus", "with"})
}

// slugs reports whether the token at i is the word for infertile eggs.
func (l *Line) slugs(i int) bool { return l.Word(i) == "slugs" || l.Word(i) == "slug" }

// eggWords are the nouns that may follow a number of eggs.
var eggWords = []string{"eggs", "egg"}

// outside reads "outside", "outside the box", "outside the nest box".
func (l *Line) outside(i int, g *Values) int {
	if l.Word(i) != "outside" {
		return i
	}
	g.Outside = true
	if i++; l.Word(i) == "the" {
		i++
		if l.Word(i) == "nest" {
			i++
		}
		if l.Word(i) == "box" {
			i++
		}
	}
	return i
}

func readMother(l *Line, _ string, i int, g *Values) (int, *Fault) {
	t, ok := l.Record(i)
	if !ok || t.Scope != husbandry.OfAnimal {
		return 0, &Fault{Why: "say which animal of the books is the mother, by her id", Clear: true}
	}
	g.Mother = t.ID
	return i + 1, nil
}

// readVeins reads "", "5", "in 5 eggs".
func readVeins(l *Line, verb string, i int, g *Values) (int, *Fault) {
	count := counted(func(g *Values) **int { return &g.Veins }, "", eggWords...)
	switch {
	case l.whole(i) != nil, l.Is(i, Number) && !l.Begins(i):
		return count(l, verb, i, g)
	case l.Word(i) == "in":
		return count(l, verb, i+1, g)
	}
	uncounted := Uncounted
	g.Veins = &uncounted
	return i, nil
}

// readMoved reads "cool", "to cool", "into the cool".
func readMoved(l *Line, _ string, i int, g *Values) (int, *Fault) {
	i = l.pass(l.pass(i, []string{"to", "into"}), []string{"the"})
	if l.Known != nil && !l.End(i) {
		if t, ok := l.Known(l.Tokens[i].Raw); ok && t.Scope == OfIncubator {
			g.Moved = t.ID
			return i + 1, nil
		}
	}
	return 0, &Fault{Why: "say which incubator of the books it was moved to, by its id", Clear: true}
}

// readGravid reads "gravid", "not gravid", "isn't gravid".
func readGravid(l *Line, verb string, i int, g *Values) (int, *Fault) {
	yes := verb == "gravid"
	if !yes {
		if l.Word(i) != "gravid" {
			return 0, &Fault{Why: `say "5 gravid" or "5 not gravid"`}
		}
		i++
	}
	g.Gravid = &yes
	return i, nil
}

// ratio is the notation of the trade for sexes: males.females, or
// males.females.unsure.
var ratio = regexp.MustCompile(`^([0-9]{1,3})\.([0-9]{1,3})(?:\.([0-9]{1,3}))?$`)

// readSexed reads "male", "female", "unsure", "sexed 2.1.3".
func readSexed(l *Line, verb string, i int, g *Values) (int, *Fault) {
	switch verb {
	case "male":
		g.Sexed = &Sexed{Males: 1}
		return i, nil
	case "female":
		g.Sexed = &Sexed{Females: 1}
		return i, nil
	case "unsure":
		g.Sexed = &Sexed{Unsure: 1}
		return i, nil
	}
	const why = `say males.females.unsure, as in "12 sexed 2.1.3", or "12 male", "12 female", "12 unsure" of one`
	if l.End(i) {
		return 0, &Fault{Why: why, Clear: true}
	}
	m := ratio.FindStringSubmatch(l.Tokens[i].Raw)
	if m == nil {
		return 0, &Fault{Why: why}
	}
	var n [3]int
	for k, s := range m[1:] {
		n[k], _ = strconv.Atoi(s) // n[k] is 0 for "", and the pattern allows only three digits
	}
	s := Sexed{Males: n[0], Females: n[1], Unsure: n[2]}
	if s.All() == 0 {
		return 0, &Fault{Why: "if none was looked at there is nothing to record", Clear: true}
	}
	g.Sexed = &s
	return i + 1, nil
}

// strongestUVI is far above the midday sun of any place where lizards live.
const strongestUVI = 30

// readUVI reads an index: "3.1", "3,1".
func readUVI(l *Line, _ string, i int, g *Values) (int, *Fault) {
	number, next := l.decimal(i)
	if number == "" {
		return 0, &Fault{Why: `say the index, as in "13 uvi 3.1"`, Clear: l.End(i)}
	}
	x, err := strconv.ParseFloat(number, 64)
	x = math.Round(x*100) / 100
	if err != nil || x > strongestUVI {
		return 0, &Fault{Why: fmt.Sprintf("a UV index of %q cannot be right", short(number)), Clear: true}
	}
	g.UVI = &x
	return next, nil
}

// readIll reads the signs after "ill": nothing, or words.
func readIll(l *Line, _ string, i int, g *Values) (int, *Fault) {
	g.Ill = true
	return l.remark(i, g, `put a colon before the signs, as in "8 ill: limp"`)
}

// remark reads words into the note, up to the next command; there may be none.
// numeric is the fault for a number that may or may not belong to the words.
func (l *Line) remark(i int, g *Values, numeric string) (next int, f *Fault) {
	if !l.SetsOff(i) {
		if next, _ := l.Separators(i); l.End(i) || next > i {
			return i, nil
		}
		if l.Tokens[i].Numeric() {
			return 0, &Fault{Why: numeric}
		}
	}
	g.Note, next, f = l.Rest(i)
	return next, f
}

// readWeights reads a weight, or the weights of a group: "41 g", "3.1 3.4 5.2
// g", "3.1, 3.4 and 5.2 g". The unit after the last number holds for all.
func readWeights(l *Line, _ string, i int, g *Values) (int, *Fault) {
	read := func(i int) (husbandry.Grams, int, *Fault) {
		x, next, f := l.quantity(i, "g or oz", "a weight", func(s string) (float64, error) {
			g, err := husbandry.ParseMass(s)
			return float64(g), err
		})
		return husbandry.Grams(x), next, f
	}
	numbers, last := l.plainNumbers(i)
	if len(numbers) == 0 {
		w, next, f := read(i)
		g.Weighs = &w
		return next, f
	}
	if len(numbers) >= maxWeights {
		return 0, &Fault{Why: fmt.Sprintf("these are more than %d weights", maxWeights)}
	}
	final, next, f := read(last)
	if f != nil {
		return 0, f
	}
	unit := strings.Trim(l.Text[l.Tokens[last].From:l.Tokens[next-1].At], "0123456789.,: ")
	hundredths := 0.0
	for _, s := range numbers {
		w, err := husbandry.ParseMass(s + " " + unit)
		w = husbandry.Grams(math.Round(float64(w)*100) / 100)
		if f := thousandOrDecimal(s); f != nil {
			return 0, f
		}
		if err != nil || w <= 0 || w > MaxNumber {
			return 0, &Fault{Why: fmt.Sprintf("a weight of %q cannot be right", short(s+" "+unit)), Clear: true}
		}
		g.Each = append(g.Each, w)
	}
	g.Each = append(g.Each, final)
	for _, w := range g.Each {
		hundredths += math.Round(100 * float64(w)) // hundredths of a gram are whole numbers, so the order does not change the sum
	}
	mean := husbandry.Grams(math.Round(hundredths/float64(len(g.Each))) / 100)
	g.Weighs = &mean
	return next, nil
}

// maxWeights is the largest number of weights in one line.
const maxWeights = 100

func readAdded(l *Line, _ string, i int, g *Values) (int, *Fault) {
	x, next, f := l.quantity(i, "ml or fl oz", "an amount of water", func(s string) (float64, error) {
		ml, err := husbandry.ParseVolume(s)
		return float64(ml), err
	})
	ml := husbandry.Millilitres(x)
	g.Added = &ml
	return next, f
}

// plainNumbers reads numbers without a unit, as long as another number follows.
// last is the index of the last number, which has the unit. A comma between
// digits without white space is a decimal comma.
func (l *Line) plainNumbers(i int) (numbers []string, last int) {
	for {
		number, next := l.decimal(i)
		if number == "" {
			return numbers, i
		}
		k := next
		if l.Is(k, Comma) && !(!l.End(k+1) && l.Tokens[k+1].Tight) {
			k++
		}
		if l.Is(k, And) {
			k++
		}
		if following, _ := l.decimal(k); following == "" && !l.startsMeasured(k) {
			return numbers, i
		}
		numbers = append(numbers, number)
		i = k
	}
}

// decimal reads a number without a unit, or returns "".
func (l *Line) decimal(i int) (number string, next int) {
	if l.End(i) {
		return "", i
	}
	m := measured.FindStringSubmatch(l.Tokens[i].Raw)
	if m == nil || m[2] != "" {
		return "", i
	}
	number = m[1]
	if l.Is(i, Number) && l.Is(i+1, Comma) && l.Tokens[i+1].Tight && l.Is(i+2, Number) && l.Tokens[i+2].Tight && l.Figures(i+2) {
		return number + "." + l.Tokens[i+2].Raw, i + 3
	}
	return number, i + 1
}

// startsMeasured reports whether the token at i is a number with its unit.
func (l *Line) startsMeasured(i int) bool {
	if l.End(i) {
		return false
	}
	return measured.MatchString(l.Tokens[i].Raw)
}

var measured = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?)(\pL*)$`)

// quantity reads a number and its unit: "41 g", "41.5g", "41,5 g", "2 fl oz".
// It rounds to hundredths, which are finer than a keeper's scale, so that the
// printed value reads back as the same value.
func (l *Line) quantity(i int, units, what string, parse func(string) (float64, error)) (float64, int, *Fault) {
	if l.End(i) {
		return 0, 0, &Fault{Why: fmt.Sprintf("say how much, with %s", units), Clear: true}
	}
	number, i := l.numeral(i)
	m := measured.FindStringSubmatch(number)
	if m == nil {
		return 0, 0, &Fault{Why: fmt.Sprintf("%q is not %s; say it with %s", short(number), what, units)}
	}
	if f := thousandOrDecimal(m[1]); f != nil {
		return 0, 0, f
	}
	unit, i := l.unit(i, m[2])
	if unit == "" {
		return 0, 0, &Fault{Why: fmt.Sprintf("say %s: a number alone has no unit", units), Clear: true}
	}
	said := m[1] + " " + unit
	x, err := parse(said)
	if err != nil {
		return 0, 0, &Fault{Why: fmt.Sprintf("%q is not %s; say it with %s", short(said), what, units)}
	}
	x = math.Round(x*100) / 100
	if x <= 0 || x > MaxNumber {
		return 0, 0, &Fault{Why: fmt.Sprintf("%s of %q cannot be right", what, short(said)), Clear: true}
	}
	return x, i, nil
}

// numeral reads the token of a number in figures. A number spelled out becomes
// figures, a decimal comma becomes a point.
func (l *Line) numeral(i int) (number string, next int) {
	number = l.Tokens[i].Raw
	if !l.Is(i, Number) {
		return number, i + 1
	}
	if !l.Figures(i) {
		number = strconv.Itoa(l.Tokens[i].N)
	}
	if l.Is(i+1, Comma) && l.Tokens[i+1].Tight && !l.End(i+2) && l.Tokens[i+2].Tight && l.Figures(i+2) {
		return number + "." + l.Tokens[i+2].Raw, i + 3
	}
	return number, i + 1
}

// unit reads the unit from token i on. If together is set, the unit was written
// without a space after the number, and unit returns together. Fluid ounces are
// two words.
func (l *Line) unit(i int, together string) (unit string, next int) {
	unit = together
	if unit == "" {
		if unit = l.Word(i); unit == "" {
			return "", i
		}
		i++
	}
	if u := strings.ToLower(unit); u == "fl" || u == "fluid" {
		if l.Is(i, Stop) {
			i++
		}
		return unit + " " + l.Word(i), i + 1
	}
	return unit, i
}

// thousandOrDecimal refuses "1.234", because the point may mark thousands or
// decimals.
func thousandOrDecimal(number string) *Fault {
	if whole, fraction, _ := strings.Cut(number, "."); len(fraction) == 3 && strings.Trim(whole, "0") != "" {
		return &Fault{Why: fmt.Sprintf("is %q a thousand or a decimal? write it without the mark, or with two decimals", number), Clear: true}
	}
	return nil
}
