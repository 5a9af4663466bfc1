package finding

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"nestround/tasks/husbandry"
)

// All has every finding, in the order in which a task's findings are written in
// words.
var All = []Row{
	{
		Name: "laid", slot: at("laid", func(g *Values) **int { return &g.Laid }, Scanner.Int),
		Plans: true, Lasts: true,
		Record: "the eggs", Sitter: "any eggs",
		Verbs: []Verb{{Word: "laid", Example: "6", Complete: true}}, Read: readLaid,
		Takes: []string{"eggs", "egg", "plus", "with", "no", "outside"}, Near: []string{"lay", "lays", "eggs"},
		Command: func(g *Values) string {
			words := "laid"
			if *g.Laid != Uncounted {
				words += " " + strconv.Itoa(*g.Laid)
			}
			if g.Slugs != nil {
				words += " and " + strconv.Itoa(*g.Slugs) + " slugs"
			}
			if g.Outside {
				words += " outside"
			}
			return words
		},
		Say: func(g *Values, _ husbandry.Units) string {
			if *g.Laid == Uncounted {
				return "she has laid, not counted yet"
			}
			return fmt.Sprintf("eggs: %d", *g.Laid)
		},
		Misfit: notHerEggs,
	},
	{
		Name: "slugs", slot: at("slugs", func(g *Values) **int { return &g.Slugs }, Scanner.Int),
		Plans: true, Lasts: true,
		Record: "the slugs",
		Verbs:  []Verb{{Word: "slugs", Example: "4"}}, Read: counted(func(g *Values) **int { return &g.Slugs }, "", "eggs"), Near: []string{"slug"},
		Command: func(g *Values) string { return "slugs " + strconv.Itoa(*g.Slugs) },
		Say:     func(g *Values, _ husbandry.Units) string { return fmt.Sprintf("slugs: %d", *g.Slugs) },
		Misfit:  notHerEggs,
	},
	{
		Name: "more", slot: at("more", func(g *Values) **int { return &g.More }, Scanner.Int), // the row of laid reads this value
		Plans: true, Lasts: true,
		Command: func(g *Values) string { return "laid " + strconv.Itoa(*g.More) + " more" },
		Say:     func(g *Values, _ husbandry.Units) string { return fmt.Sprintf("more eggs: %d", *g.More) },
		Misfit:  notHerEggs,
	},
	{
		Name: "outside", slot: at("outside", func(g *Values) *bool { return &g.Outside }, Scanner.Bool), // the row of laid reads this word
		Say: say("outside the nest box"),
	},
	{
		Name: "mother", slot: at("mother", func(g *Values) *husbandry.ID { return &g.Mother }, scanID),
		Plans: true, Lasts: true,
		Verbs: []Verb{{Word: "mother"}}, Read: readMother,
		Command: func(g *Values) string { return "mother " + string(g.Mother) },
		Say:     func(g *Values, _ husbandry.Units) string { return "laid by " + string(g.Mother) },
		Misfit:  ofClutch,
	},
	{
		Name: "digging", slot: at("digging", func(g *Values) *bool { return &g.Digging }, Scanner.Bool),
		Plans: true,
		Verbs: []Verb{{Word: "digging", Complete: true}}, Read: flag(func(g *Values) { g.Digging = true }),
		Command: write("digging"), Say: say("she digs"), Misfit: ofAnimal,
	},
	{
		Name: "hatched", slot: at("hatched", func(g *Values) **int { return &g.Hatched }, Scanner.Int),
		Plans: true, Lasts: true,
		Record: "the young", Sitter: "how many young",
		Verbs: []Verb{{Word: "hatched", Example: "3"}}, Near: []string{"hatch"},
		Read: counted(func(g *Values) **int { return &g.Hatched }, "if none hatched there is nothing to record but that you looked: say done",
			"young", "hatchlings", "babies", "eggs"),
		Command: func(g *Values) string { return "hatched " + strconv.Itoa(*g.Hatched) },
		Say:     func(g *Values, _ husbandry.Units) string { return fmt.Sprintf("hatched: %d", *g.Hatched) },
		Misfit:  unless("young hatch from a clutch; name the clutch", husbandry.OfClutch),
	},
	{
		Name: "dead", slot: at("dead", func(g *Values) **int { return &g.Dead }, Scanner.Int),
		Plans: true, Lasts: true,
		Verbs: []Verb{{Word: "dead"}},
		Read: counted(func(g *Values) **int { return &g.Dead }, "if none was dead there is nothing to record but that you looked: say done",
			eggWords...),
		Command: func(g *Values) string { return "dead " + strconv.Itoa(*g.Dead) },
		Say:     func(g *Values, _ husbandry.Units) string { return fmt.Sprintf("found dead: %d", *g.Dead) },
		Misfit: func(g *Values, scope husbandry.Scope, kind husbandry.Kind) string {
			if scope == husbandry.OfAnimal {
				return "dead eggs are a clutch's; when an animal has died, write the day it `left` in its record"
			}
			return ofClutch(g, scope, kind)
		},
	},
	{
		Name: "veins", slot: at("veins", func(g *Values) **int { return &g.Veins }, Scanner.Int),
		Plans: true, Lasts: true,
		Record: "in how many you see them",
		Verbs:  []Verb{{Word: "veins", Complete: true}}, Read: readVeins, Takes: []string{"in"},
		Command: func(g *Values) string {
			if *g.Veins == Uncounted {
				return "veins"
			}
			return "veins " + strconv.Itoa(*g.Veins)
		},
		Say: func(g *Values, _ husbandry.Units) string {
			if *g.Veins == Uncounted {
				return "veins seen"
			}
			return fmt.Sprintf("veins seen in %d", *g.Veins)
		},
		Misfit: ofClutch,
	},
	{
		Name: "moved", slot: at("moved", func(g *Values) *husbandry.ID { return &g.Moved }, scanID),
		Plans: true, Lasts: true,
		Verbs: []Verb{{Word: "moved"}}, Read: readMoved,
		Command: func(g *Values) string { return "moved to " + string(g.Moved) },
		Say:     func(g *Values, _ husbandry.Units) string { return "moved to " + string(g.Moved) },
		Misfit:  ofClutch,
	},
	{
		Name: "ended", slot: at("ended", func(g *Values) *bool { return &g.Ended }, Scanner.Bool),
		Plans: true, Lasts: true,
		Verbs: []Verb{{Word: "ended", Complete: true}}, Read: flag(func(g *Values) { g.Ended = true }),
		Command: write("ended"), Say: say("nothing more is expected of it"), Misfit: ofClutch,
	},
	{
		Name: "weighs", slot: slot{
			key: "weighs_g",
			has: func(g *Values) bool { return g.Weighs != nil },
			merge: func(to, from *Values) {
				// Single weights belong to the mean that was reported with
				// them, so a new mean replaces the single weights as well.
				if from.Weighs != nil {
					to.Weighs, to.Each = from.Weighs, from.Each
				}
			},
			scan: func(s Scanner, g *Values) { g.Weighs = (*husbandry.Grams)(s.Float()) },
		},
		Plans:  true,
		Record: "the weight",
		Verbs:  []Verb{{Word: "weighs", Example: "41 g"}, {Word: "weighed", Example: "41 g"}}, Read: readWeights,
		Near: []string{"weigh", "weight", "g", "oz"},
		Command: func(g *Values) string {
			if g.Each == nil {
				return "weighs " + decimal(*g.Weighs) + " g"
			}
			return "weighs " + strings.Join(texts(g.Each, decimal), " ") + " g"
		},
		Say: func(g *Values, u husbandry.Units) string {
			if g.Each == nil {
				return "weight: " + u.Mass(*g.Weighs)
			}
			return fmt.Sprintf("weights: %s; mean: %s", strings.Join(texts(g.Each, u.Mass), " "), u.Mass(*g.Weighs))
		},
		Misfit: func(g *Values, scope husbandry.Scope, kind husbandry.Kind) string {
			switch {
			case scope != husbandry.OfAnimal && scope != husbandry.OfClutch && kind.Weighs() != husbandry.WeighedBox:
				return "a weight is an animal's or a clutch's; name which, or the nest box by the number of its top-up"
			case g.Each != nil && kind.Weighs() == husbandry.WeighedTub:
				return "a tub has one weight"
			}
			return ""
		},
	},
	{
		Name: "each", slot: slot{ // the row of weighs reads and writes this value
			key:   "each_g",
			has:   func(g *Values) bool { return g.Each != nil },
			merge: func(_, _ *Values) {},
			scan:  scanEach,
		},
	},
	{
		Name: "added", slot: at("added_ml", func(g *Values) **husbandry.Millilitres { return &g.Added },
			func(s Scanner) *husbandry.Millilitres { return (*husbandry.Millilitres)(s.Float()) }),
		Plans:  true,
		Record: "the water", Sitter: "how much water",
		Verbs: []Verb{{Word: "added", Example: "60 ml"}}, Read: readAdded, Near: []string{"add", "ml", "oz"},
		Command: func(g *Values) string { return "added " + decimal(*g.Added) + " ml" },
		Say:     func(g *Values, u husbandry.Units) string { return "water: " + u.Volume(*g.Added) },
		Misfit: unless("water is added to an enclosure's nest box or a clutch's tub; name which",
			husbandry.OfEnclosure, husbandry.OfClutch),
	},
	{
		Name: "refused", slot: at("refused", func(g *Values) *bool { return &g.Refused }, Scanner.Bool),
		Plans:  true,
		Record: "a refusal", Sitter: "if nothing is eaten",
		Verbs: []Verb{{Word: "refused", Complete: true}}, Read: flag(func(g *Values) { g.Refused = true }, "food"), Takes: []string{"food"},
		Command: write("refused"), Say: say("food refused"),
		Misfit: func(g *Values, scope husbandry.Scope, kind husbandry.Kind) string {
			const why = "food is refused at a feeding; name the feeding or the animal"
			if kind != "" && !slices.Contains(kind.Asks(), husbandry.FindRefused) {
				return why
			}
			return unless(why, husbandry.OfAnimal, husbandry.OfEnclosure, husbandry.OfClutch)(g, scope, kind)
		},
	},
	{
		Name: "mated", slot: at("mated", func(g *Values) *bool { return &g.Mated }, Scanner.Bool),
		Plans: true, Lasts: true,
		Record: "a mating",
		Verbs:  []Verb{{Word: "mated", Complete: true}}, Read: flag(func(g *Values) { g.Mated = true }),
		Command: write("mated"), Say: say("mating seen"), Misfit: ofAnimal,
		Asked: func(a Asked, g *Values) { g.With = a.Mate },
	},
	{
		Name: "with", slot: at("with", func(g *Values) *husbandry.ID { return &g.With }, scanID), // the task of the pairing names the male
		Plans: true,
		Say:   func(g *Values, _ husbandry.Units) string { return "with " + string(g.With) },
	},
	{
		Name: "gravid", slot: at("gravid", func(g *Values) **bool { return &g.Gravid },
			func(s Scanner) *bool { b := s.Bool(); return &b }),
		Plans: true, Lasts: true,
		Record: "whether eggs are felt",
		Verbs:  []Verb{{Word: "gravid", Complete: true}, {Word: "not", Denies: true, Everyday: true}, {Word: "isn't", Denies: true}}, Read: readGravid,
		Takes:   []string{"not", "gravid"},
		Command: func(g *Values) string { return gravid[*g.Gravid] },
		Say:     func(g *Values, _ husbandry.Units) string { return gravid[*g.Gravid] },
		Misfit:  ofAnimal,
	},
	{
		Name: "sexed", slot: at("sexed", func(g *Values) **Sexed { return &g.Sexed }, scanSexed),
		Plans: true, Lasts: true,
		Record: "the sex",
		Verbs:  []Verb{{Word: "male", Complete: true}, {Word: "female", Complete: true}, {Word: "unsure", Complete: true}, {Word: "sexed", Example: "2.1.3"}},
		Read:   readSexed,
		Command: func(g *Values) string {
			switch *g.Sexed {
			case Sexed{Males: 1}:
				return "male"
			case Sexed{Females: 1}:
				return "female"
			case Sexed{Unsure: 1}:
				return "unsure"
			}
			return "sexed " + g.Sexed.String()
		},
		Say: func(g *Values, _ husbandry.Units) string {
			return fmt.Sprintf("males: %d, females: %d, unsure: %d", g.Sexed.Males, g.Sexed.Females, g.Sexed.Unsure)
		},
		Misfit: unless("sexes are told of an animal, a group or a clutch's young; name which", husbandry.OfAnimal, husbandry.OfClutch),
	},
	{
		Name: "uvi", slot: at("uvi", func(g *Values) **float64 { return &g.UVI }, Scanner.Float),
		Plans:  true,
		Record: "the index",
		Verbs:  []Verb{{Word: "uvi", Example: "3.1"}}, Read: readUVI,
		Command: func(g *Values) string { return "uvi " + decimal(*g.UVI) },
		Say:     func(g *Values, _ husbandry.Units) string { return fmt.Sprintf("UV index: %v", *g.UVI) },
		Misfit:  unless("a UV index is that of an enclosure's lamp; name the enclosure", husbandry.OfEnclosure),
	},
	{
		Name: "shed", slot: at("shed", func(g *Values) *Shed { return &g.Shed }, func(s Scanner) Shed { return Shed(s.Text()) }),
		Since: 2,
		Verbs: []Verb{{Word: "shed", Complete: true}}, Takes: []string{"whole", "stuck"}, Near: []string{"sheds", "shedding"},
		Read: func(l *Line, _ string, i int, g *Values) (int, *Fault) {
			if l.Word(i) != "stuck" {
				g.Shed = Whole
				return l.pass(i, []string{"whole"}), nil
			}
			g.Shed = Stuck
			return l.remark(i+1, g, `put a colon before the places, as in "F03 shed stuck: toes"`)
		},
		Command: func(g *Values) string {
			switch g.Shed {
			case Whole:
				return "shed"
			case Stuck:
				return remarked("shed stuck", g)
			}
			return "shed " + string(g.Shed) // an unknown word that somebody wrote into the daybook by hand
		},
		Say: func(g *Values, _ husbandry.Units) string {
			if g.Shed == Stuck {
				return "the shed is stuck"
			}
			return "the shed came off " + string(g.Shed)
		},
		Caution: func(g *Values) string {
			if g.Shed != Stuck {
				return ""
			}
			// Common practice, as for the first shed of young:
			return "Stuck shed on toes or tail cuts off the blood: a damp hide and a day, then soak in shallow lukewarm water, no pulling. At an eye, or where it stays, see a veterinarian."
		},
		Misfit: func(g *Values, scope husbandry.Scope, kind husbandry.Kind) string {
			if kind == husbandry.Shed {
				return ""
			}
			return unless("a shed is an animal's; name the animal, or the number of the task that asks for it", husbandry.OfAnimal)(g, scope, kind)
		},
	},
	{
		Name: "ill", slot: at("ill", func(g *Values) *bool { return &g.Ill }, Scanner.Bool),
		Plans:  true,
		Record: "signs of illness",
		Verbs:  []Verb{{Word: "ill"}}, Read: readIll,
		Command: func(g *Values) string { return remarked("ill", g) },
		Say:     say("looks ill"),
		Misfit: unless("illness is noted of an animal, an enclosure or a clutch's young; name which",
			husbandry.OfAnimal, husbandry.OfEnclosure, husbandry.OfClutch),
	},
	{
		Name: "ordered", slot: at("ordered", func(g *Values) **int { return &g.Ordered }, Scanner.Int),
		Plans:  true,
		Record: "how many, if another number",
		Verbs:  []Verb{{Word: "ordered", Example: "3"}},
		Read: counted(func(g *Values) **int { return &g.Ordered }, "if none was ordered, say skip with its number",
			"boxes", "box", "packs", "pack", "tubs", "tub", "bags", "bag"),
		Command: func(g *Values) string { return "ordered " + strconv.Itoa(*g.Ordered) },
		Say:     func(g *Values, _ husbandry.Units) string { return fmt.Sprintf("ordered: %d", *g.Ordered) },
		Misfit:  ofFeeder,
		Asked: func(a Asked, g *Values) {
			// "done" without a number means the number of packs that the task
			// asked for, even if tomorrow's task would ask for another number.
			if a.Packs > 0 && g.Ordered == nil {
				g.Ordered = &a.Packs
			}
		},
	},
	{
		Name: "stock", slot: at("stock", func(g *Values) **int { return &g.Stock }, Scanner.Int),
		Plans: true,
		Verbs: []Verb{{Word: "stock", Example: "200"}}, Read: counted(func(g *Values) **int { return &g.Stock }, ""),
		Command: func(g *Values) string { return "stock " + strconv.Itoa(*g.Stock) },
		Say:     func(g *Values, _ husbandry.Units) string { return fmt.Sprintf("counted: %d", *g.Stock) },
		Misfit:  ofFeeder,
		Open:    true, // after counting the stock, the keeper still has to order
	},
	{
		Name: "note", slot: at("note", func(g *Values) *string { return &g.Note }, Scanner.Text), // the grammar reads a note as a separate command
		Say: func(g *Values, _ husbandry.Units) string { return "note: " + g.Note },
	},
}

// unless returns the Misfit of a finding that only fits records of some scopes.
func unless(why string, scopes ...husbandry.Scope) func(*Values, husbandry.Scope, husbandry.Kind) string {
	return func(_ *Values, scope husbandry.Scope, _ husbandry.Kind) string {
		if slices.Contains(scopes, scope) {
			return ""
		}
		return why
	}
}

var (
	ofAnimal = unless("it is said of an animal; name her or her enclosure", husbandry.OfAnimal, husbandry.OfEnclosure)
	ofClutch = unless("it is said of a clutch; name the clutch", husbandry.OfClutch)
	ofFeeder = unless("it is said of live food in stock; name the feeder by its id", husbandry.OfFeeder)
)

// notHerEggs is the Misfit of findings about eggs.
func notHerEggs(_ *Values, scope husbandry.Scope, kind husbandry.Kind) string {
	switch {
	case scope == husbandry.OfAnimal, scope == husbandry.OfEnclosure:
		return "" // a reply about eggs may name the female or her enclosure
	case scope == husbandry.OfClutch && kind.CountsEggs():
		return "" // eggs in the nest box are counted at digging up and setting
	}
	return "eggs are laid by an animal; name her or her enclosure"
}

func write(words string) func(*Values) string { return func(*Values) string { return words } }

func say(words string) func(*Values, husbandry.Units) string {
	return func(*Values, husbandry.Units) string { return words }
}

// remarked writes a finding with its note: "ill: limp".
func remarked(words string, g *Values) string {
	if g.Note != "" {
		words += ": " + g.Note
	}
	return words
}

var gravid = map[bool]string{true: "gravid", false: "not gravid"}

// decimal writes a number with all its decimals.
func decimal[N ~float64](x N) string { return strconv.FormatFloat(float64(x), 'f', -1, 64) }

func texts[N any](list []N, text func(N) string) []string {
	var all []string
	for _, x := range list {
		all = append(all, text(x))
	}
	return all
}

func scanID(s Scanner) husbandry.ID { return husbandry.ID(s.Text()) }

func scanSexed(s Scanner) *Sexed {
	var x Sexed
	s.Skip(`{"males":`)
	x.Males = *s.Int()
	s.Skip(`,"females":`)
	x.Females = *s.Int()
	s.Skip(`,"unsure":`)
	x.Unsure = *s.Int()
	s.Skip(`}`)
	return &x
}

func scanEach(s Scanner, g *Values) {
	g.Each = nil
	s.Skip(`[`)
	for {
		g.Each = append(g.Each, husbandry.Grams(*s.Float()))
		if !s.Try(`,`) {
			break
		}
	}
	s.Skip(`]`)
}
