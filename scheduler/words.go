package scheduler

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Everything a person reads of a plan is worded here or beside the rule that
// decides it. Titles are imperatives that name the subject and its place;
// reasons are phrases that begin with a capital letter, and neither may look
// like a command of a reply ("done 1", "7 laid 6").

// day writes a date, with its year where that is not the plan's.
func (p *planner) day(d civil.Date) string { return dayWords(d, p.on) }

func dayWords(d, on civil.Date) string {
	if d.Year() != on.Year() {
		return d.Format("2 January 2006")
	}
	return d.Format("2 January")
}

// weekday writes a date near the plan's with its day of the week: "Mon 10 May".
func (p *planner) weekday(d civil.Date) string {
	if d.Year() != p.on.Year() {
		return d.Format("Mon 2 January 2006")
	}
	return d.Format("Mon 2 January")
}

// spanWords writes "22-28 June" or "28 June to 3 July".
func spanWords(from, to, on civil.Date) string {
	switch {
	case from == to:
		return dayWords(from, on)
	case from.Year() == to.Year() && from.Month() == to.Month():
		return strconv.Itoa(from.Day()) + "-" + dayWords(to, on)
	}
	return dayWords(from, on) + " to " + dayWords(to, on)
}

// percent writes a probability: "18 %", "under 1 %".
func percent(p float64) string {
	switch {
	case p < 0.005:
		return "under 1 %"
	case p > 0.995:
		return "over 99 %"
	}
	return fmt.Sprintf("%.0f %%", p*100)
}

func days[N ~int](n N) string {
	if n == 1 {
		return "1 day"
	}
	return strconv.Itoa(int(n)) + " days"
}

// count writes "1 feeding" or "3 feedings".
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

func ordinal(n int) string {
	suffix := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			suffix = "st"
		case 2:
			suffix = "nd"
		case 3:
			suffix = "rd"
		}
	}
	return strconv.Itoa(n) + suffix
}

func list(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

// cadenceWords writes what a routine's tasks come from: "Every 2 days".
func cadenceWords(c husbandry.Cadence) string {
	every := func(n husbandry.Days) string {
		switch n {
		case 1:
			return "Every day"
		case 7:
			return "Every week"
		}
		return "Every " + days(n)
	}
	switch {
	case c.Pattern == husbandry.Stepped:
		return "When the day length has moved"
	case c.Pattern == husbandry.Riding:
		noun := nouns(c.Host).one
		if c.Nth <= 1 {
			return "With every " + noun
		}
		return "With every " + ordinal(c.Nth) + " " + noun
	case len(c.Weekdays) > 0:
		var names []string
		for d := range 7 { // from Monday, as a week is read
			if w := (d + 1) % 7; slices.ContainsFunc(c.Weekdays, func(x time.Weekday) bool { return int(x) == w }) {
				names = append(names, time.Weekday(w).String())
			}
		}
		if len(names) == 7 {
			return "Every day"
		}
		return "Every " + list(names)
	case len(c.MonthDays) > 0:
		days := slices.Clone(c.MonthDays)
		slices.Sort(days)
		var names []string
		for _, d := range slices.Compact(days) {
			names = append(names, ordinal(d))
		}
		return "On the " + list(names) + " of the month"
	case c.Cron != "":
		return "By the calendar rule " + c.Cron
	}
	return every(c.Every)
}

// noun is what one task of a kind is called, and what was done with it.
type noun struct{ one, done string }

func nouns(k husbandry.Kind) noun {
	switch k {
	case husbandry.Feed:
		return noun{"feeding", "fed"}
	case husbandry.Supplement:
		return noun{"dusting", "dusted"}
	case husbandry.Water:
		return noun{"change of water", "changed"}
	case husbandry.Mist:
		return noun{"misting", "misted"}
	case husbandry.Clean:
		return noun{"cleaning", "cleaned"}
	case husbandry.NestTopUp:
		return noun{"top-up", "topped up"}
	case husbandry.GutLoad:
		return noun{"gut-loading", "done"}
	case husbandry.Weigh:
		return noun{"weighing", "weighed"}
	case husbandry.LayWatch, husbandry.HatchWatch:
		return noun{"look", "looked"}
	case husbandry.GravidCheck, husbandry.TubCheck:
		return noun{"check", "checked"}
	case husbandry.Candle:
		return noun{"candling", "candled"}
	case husbandry.YoungCheck:
		return noun{"look", "looked"}
	case husbandry.Faecal:
		return noun{"test", "tested"}
	case husbandry.LampMeter:
		return noun{"reading", "metered"}
	case husbandry.Cool:
		return noun{"step", "taken"}
	case husbandry.LampChange:
		return noun{"lamp change", "changed"}
	}
	return noun{"time", "done"}
}

// count writes a number of them: "2 feedings", "2 changes of water".
func (n noun) count(c int) string {
	if c != 1 && strings.Contains(n.one, " of ") {
		first, rest, _ := strings.Cut(n.one, " ")
		return strconv.Itoa(c) + " " + first + "s " + rest
	}
	return count(c, n.one)
}

// title names what is to be done, and to whom: in the routine's own words, or
// in the kind's. do is the same without the subject, for lists that have the
// subject above it.
func (p *planner) title(s *subject, r *routine) (title, do string) {
	do = strings.TrimSpace(r.Title)
	if do == "" {
		do = kindAction(r.Kind, s, string(r.ID))
	}
	switch link := joint[do]; {
	case s.name == "":
		title = do
	case link != "":
		title = do + " " + link + " " + s.label()
	case do == "Feed" || do == "Mist" || do == "Clean" || do == "Weigh" || do == "Pair":
		title = do + " " + s.label()
	default:
		title = do + ": " + s.label()
	}
	return plainWords(title), plainWords(do)
}

// joint is the word that joins an action to its subject.
var joint = map[string]string{
	"Fresh water":            "for",
	"Dust the food":          "of",
	"Top up the nest box":    "of",
	"Weigh the young":        "of",
	"Look and feel for eggs": "in",
	"Watch for eggs":         "of",
	"Dig up the eggs":        "of",
	"Set up the egg tub":     "of",
	"Check the egg tub":      "of",
	"Add water to the tub":   "of",
	"Candle the eggs":        "of",
	"Look for hatchlings":    "of",
	"Sex the young":          "of",
	"Change the UVB lamp":    "of",
	"Meter the UVB lamp":     "of",
	"Look at the shed":       "of",
	"Label the tub":          "of",
	"Part the young":         "of",
	"End the quarantine":     "of",
	"See to the renewal":     "of",

	"Have a faecal sample tested":    "of",
	"Look after the quarantine":      "of",
	"Look into the tub of the young": "of",

	"Offer the first food to the young": "of",

	"Set the winter temperature": "of",

	"Review the health":                  "of",
	"Review the illness":                 "of",
	"Review the feeding of the young":    "of",
	"Review the overdue hatching":        "of",
	"Review calcium, vitamin D3 and UVB": "of",
}

func kindAction(k husbandry.Kind, s *subject, id string) string {
	switch k {
	case husbandry.Feed:
		return "Feed"
	case husbandry.Supplement:
		return "Dust the food"
	case husbandry.Water:
		return "Fresh water"
	case husbandry.Mist:
		return "Mist"
	case husbandry.Clean:
		return "Clean"
	case husbandry.NestTopUp:
		return "Top up the nest box"
	case husbandry.GutLoad:
		return "Gut-load the feeder insects"
	case husbandry.Weigh:
		if s.clutch != nil {
			return "Weigh the young"
		}
		return "Weigh"
	case husbandry.GravidCheck:
		return "Look and feel for eggs"
	case husbandry.LayWatch:
		return "Watch for eggs"
	case husbandry.DigEggs:
		return "Dig up the eggs"
	case husbandry.SetTub:
		return "Set up the egg tub"
	case husbandry.TubCheck:
		return "Check the egg tub"
	case husbandry.Candle:
		return "Candle the eggs"
	case husbandry.HatchWatch:
		return "Look for hatchlings"
	case husbandry.FirstFeed:
		return "Offer the first food to the young"
	case husbandry.Sexing:
		return "Sex the young"
	case husbandry.Pair:
		return "Pair"
	case husbandry.YoungCheck:
		return "Look into the tub of the young"
	case husbandry.Shed:
		return "Look at the shed"
	case husbandry.Label:
		return "Label the tub"
	case husbandry.Separate:
		return "Part the young"
	case husbandry.Place:
		return "Decide who stays and who goes"
	case husbandry.Quarantine:
		return "Look after the quarantine"
	case husbandry.Faecal:
		return "Have a faecal sample tested"
	case husbandry.Release:
		return "End the quarantine"
	case husbandry.LampMeter:
		return "Meter the UVB lamp"
	case husbandry.Papers:
		return "See to the renewal"
	case husbandry.Cool:
		return "Set the winter temperature"
	case husbandry.LampChange:
		return "Change the UVB lamp"
	case husbandry.LightStep:
		return "Set the lamps' timer"
	}
	return "Routine " + id
}

// label is the subject in words, with what it is where that is not plain.
func (s *subject) label() string {
	if s.clutch != nil {
		return "clutch " + s.name
	}
	return s.name
}

func (p *planner) speciesName(id husbandry.ID, n int) string {
	name := p.herd.Species(id).Name
	if name == "" {
		name = string(id)
	}
	if n > 1 && name != "" && !strings.HasSuffix(name, "s") {
		name += "s"
	}
	return lowerFirst(name)
}

// lowerFirst lowers a name's first letter for the middle of a sentence, unless
// a capital follows it or it is written as two words that both begin so.
func lowerFirst(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	for _, word := range strings.Fields(s)[min(1, len(strings.Fields(s))):] {
		if r, _ := utf8.DecodeRuneInString(word); unicode.IsUpper(r) {
			return s
		}
	}
	return string(unicode.ToLower(first)) + s[size:]
}

func animalWord(a *Animal) string {
	if a.Name != "" {
		return a.Name
	}
	return string(a.ID)
}

// enclosureName is "E07 (Ada, wall lizard)".
func (p *planner) enclosureName(s *subject) string {
	var names, species []string
	total := 0
	for _, a := range s.animals {
		if !a.PresentOn(p.on) {
			continue
		}
		total += a.Count
		names = append(names, animalWord(a))
		if !slices.Contains(species, string(a.Species)) {
			species = append(species, string(a.Species))
		}
	}
	id := string(s.id)
	if len(names) == 0 {
		return id
	}
	var kinds []string
	for _, sp := range species {
		kinds = append(kinds, p.speciesName(husbandry.ID(sp), total))
	}
	if len(names) > 3 || total > len(names) {
		return fmt.Sprintf("%s (%d %s)", id, total, list(kinds))
	}
	return fmt.Sprintf("%s (%s, %s)", id, list(names), list(kinds))
}

// animalName is "Ada (F03, wall lizard, in E07)".
func (p *planner) animalName(a *Animal) string {
	what := p.speciesName(a.Species, a.Count)
	if a.Count > 1 {
		what = strconv.Itoa(a.Count) + " " + what
	}
	where := ""
	if a.Enclosure != "" {
		where = ", in " + string(a.Enclosure)
	}
	if a.Name == "" {
		return fmt.Sprintf("%s (%s%s)", a.ID, what, where)
	}
	return fmt.Sprintf("%s (%s, %s%s)", a.Name, a.ID, what, where)
}

// clutchName is "C27-04 (wall lizard, in E07)".
func (p *planner) clutchName(c *Clutch) string {
	what := p.speciesName(c.Species, 1)
	if what == "" {
		what = "unknown species"
	}
	where := ""
	if at := p.clutchPlace(c).Enclosure; at != "" {
		where = ", in " + string(at)
	}
	return fmt.Sprintf("%s (%s%s)", c.ID, what, where)
}

// plainWords makes one line of a title that a person wrote, and sees to it
// that no line reads like a command.
func plainWords(s string) string {
	if strings.Contains(s, "  ") || strings.ContainsAny(s, "\n\r\t\v\f\u0085\u00a0") {
		s = strings.Join(strings.Fields(s), " ")
	}
	if looksLikeCommand(s) {
		return "To do: " + s
	}
	return upperFirst(s)
}

func upperFirst(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[size:]
}

// looksLikeCommand reports whether a line begins like a command of a reply: by
// one of its verbs, or by a number.
func looksLikeCommand(s string) bool {
	first, _, _ := strings.Cut(s, " ")
	first = strings.ToLower(strings.TrimRight(first, ".,:;!)"))
	switch first {
	case "", "done", "all", "skip", "skipped", "later", "note", "undo", "laid", "hatched", "weighs", "added", "refused", "male", "female", "unsure", "sexed", "uvi", "ill", "ordered", "stock", "none", "yes", "no", "ok":
		return true
	}
	r, _ := utf8.DecodeRuneInString(first)
	return unicode.IsDigit(r) || r == '#' || r == '>'
}
