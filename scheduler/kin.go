package scheduler

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"nestround/scheduler/season"
	"nestround/scheduler/season/kinship"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// ReviewKin asks for another male where those of a female's species are all
// too close kin.
const ReviewKin husbandry.ID = "review-kin"

const (
	// thisSeasonDays is how long ago a pairing may have begun and still be one
	// of this season.
	thisSeasonDays = 180
	// kinAhead is how many days before her season opens another male is asked
	// for: one has to be found, and to come out of quarantine (common
	// practice).
	kinAhead = 90
	// namedMales is how many other males a reason names.
	namedMales = 3
)

// kinCaution: siblings paired in the laboratory and close kin in the wild had
// malformed young in sand lizards (Olsson, Gullberg and Tegelström 1996,
// Journal of Evolutionary Biology 9:229-242, from memory).
const kinCaution = "Young of close kin are malformed more often, and fewer hatch. " +
	"An animal that comes for her goes through quarantine first; permits and protected species follow the local law."

// suitor is a male as far as a female is concerned.
type suitor struct {
	male *Animal
	f    float64 // the inbreeding coefficient of their young
}

// mateSeason is who is to be paired with whom, of one species, on the plan's
// day.
type mateSeason struct {
	males []*Animal      // grown and marked for breeding, by id
	ids   []husbandry.ID // theirs
	// free is from which day a male may be used: zero for today, missing where
	// it is not known.
	free map[husbandry.ID]civil.Date
	with map[husbandry.ID]husbandry.ID // the female whom a male that is not free is with
	// given is the male of each female that has one, and settled those of
	// them that the records say.
	given   map[husbandry.ID]husbandry.ID
	settled map[husbandry.ID]*husbandry.Pairing
	// turns are of the females that wait for the male they are given: he is with
	// one, or with those of one enclosure, at a time.
	turns map[husbandry.ID]turn
	// next is from when a male is free for any other female, by what was marked;
	// stay is for how many days he stays with each of his own.
	next map[husbandry.ID]civil.Date
	stay map[husbandry.ID]int
}

// turn is from when a male is free for a female, after another one; nil where
// she is the first.
type turn struct {
	from  civil.Date
	after *Animal
	waits bool // the other one was not with him yet
}

// freeFor returns from which day on a male may be put to a female, as far as
// that is known of him.
func (s *mateSeason) freeFor(a, m *Animal) (from civil.Date, known bool) {
	from, known = s.free[m.ID]
	if s.given[a.ID] == m.ID {
		return civil.Max(from, s.turns[a.ID].from), known
	}
	return civil.Max(from, s.next[m.ID]), known
}

// kin holds what a plan knows of kinship and pairing; it is filled in as it is
// asked.
type kin struct {
	pedigree *kinship.Pedigree            // nil until it is asked for
	seasons  map[husbandry.ID]*mateSeason // by species
	windows  map[husbandry.ID]season.Window
	mates    map[husbandry.ID]husbandry.ID // whom each female is to be paired with
	// refused are the females whose window is closed for want of a male that
	// is not close kin, with the males there are.
	refused map[husbandry.ID]refusedKin
}

func newKin() kin {
	return kin{
		seasons: make(map[husbandry.ID]*mateSeason),
		windows: make(map[husbandry.ID]season.Window),
		mates:   make(map[husbandry.ID]husbandry.ID),
		refused: make(map[husbandry.ID]refusedKin),
	}
}

type refusedKin struct {
	window season.Window
	males  []suitor
}

func (p *planner) rules() husbandry.BreedingRules {
	if p.rec.Breeding == (husbandry.BreedingRules{}) {
		return husbandry.UsualBreeding()
	}
	return p.rec.Breeding
}

func (p *planner) pedigree() *kinship.Pedigree {
	if p.kin.pedigree == nil {
		list := make([]kinship.Animal, 0, len(p.rec.Animals))
		found := make(map[int]husbandry.ID) // mothers that the daybook knows
		for i := range p.rec.Animals {
			a := &p.rec.Animals[i]
			list = append(list, kinship.Animal{ID: a.ID, Mother: a.Mother, Father: a.Father, Group: a.Count > 1})
			if c := p.herd.Clutch(a.Clutch); c != nil && a.Mother == "" && c.Mother != a.ID {
				found[i] = c.Mother
			}
		}
		pedigree, err := kinship.New(list)
		if err != nil { // books refuse such records, with their place
			pedigree, _ = kinship.New(nil)
		} else if len(found) > 0 {
			for i, mother := range found {
				list[i].Mother = mother
			}
			if more, err := kinship.New(list); err == nil { // else somebody said what cannot be
				pedigree = more
			}
		}
		p.kin.pedigree = pedigree
	}
	return p.kin.pedigree
}

// paired narrows a female's pairing window to the days on which there is a
// male for her, and says who that is.
func (p *planner) paired(a *Animal, w season.Window) season.Window {
	if !w.Known {
		return w
	}
	s := p.seasonOf(a.Species)
	can, tooClose := p.suitors(s, a)
	if len(can) == 0 {
		p.kin.refused[a.ID] = refusedKin{w, tooClose}
		return season.Window{Basis: "every male of her species is closer kin than the limit of " + kinship.Coefficient(p.rules().KinshipLimit)}
	}
	best, others, later := p.choose(s, a, w, can)
	if best == nil {
		return season.Window{Basis: "no male is free for her: " + strings.Join(later, "; ")}
	}
	if from, _ := s.freeFor(a, best.male); from.After(w.From) {
		w.From = from
	}
	p.kin.mates[a.ID] = best.male.ID
	w.Basis += "; " + p.mateWords(s, a, *best, others, tooClose, later)
	return w
}

// suitors returns the males of her species within the kinship limit, the least
// related first, and those beyond it.
func (p *planner) suitors(s *mateSeason, a *Animal) (can, tooClose []suitor) {
	coefficients := p.pedigree().KinshipWith(a.ID, s.ids)
	for i, m := range s.males {
		x := suitor{m, coefficients[i]}
		if kinship.Exceeds(x.f, p.rules().KinshipLimit) {
			tooClose = append(tooClose, x)
		} else {
			can = append(can, x)
		}
	}
	byKinship := func(x, y suitor) int {
		return cmp.Or(cmp.Compare(x.f, y.f), cmp.Compare(x.male.ID, y.male.ID))
	}
	slices.SortFunc(can, byKinship)
	slices.SortFunc(tooClose, byKinship)
	return can, tooClose
}

// choose picks the male for her: the one the season gives her, or the least
// related of those that are free before her window closes. later says of the
// others why they are not.
func (p *planner) choose(s *mateSeason, a *Animal, w season.Window, can []suitor) (best *suitor, others []suitor, later []string) {
	for i := range can {
		m := can[i].male
		from, known := s.freeFor(a, m)
		switch {
		case !known:
			later = append(later, fmt.Sprintf("%s is with %s", nameWords(m), s.with[m.ID]))
		case from.After(w.To):
			later = append(later, fmt.Sprintf("%s is free from %s only", nameWords(m), p.day(from)))
		case s.given[a.ID] == m.ID:
			best = &can[i]
		default:
			others = append(others, can[i])
		}
	}
	if best == nil && len(others) > 0 {
		best, others = &others[0], others[1:]
	}
	return best, others, later
}

// seasonOf works out the season of a species once for a plan.
func (p *planner) seasonOf(species husbandry.ID) *mateSeason {
	pedigree := p.pedigree()
	if s := p.kin.seasons[species]; s != nil {
		return s
	}
	s := &mateSeason{
		free: make(map[husbandry.ID]civil.Date), with: make(map[husbandry.ID]husbandry.ID),
		given: make(map[husbandry.ID]husbandry.ID), settled: make(map[husbandry.ID]*husbandry.Pairing),
		turns: make(map[husbandry.ID]turn), next: make(map[husbandry.ID]civil.Date), stay: make(map[husbandry.ID]int),
	}
	p.kin.seasons[species] = s
	q := kinship.Season{Limit: p.rules().KinshipLimit, PerMale: p.rules().FemalesPerMale, Given: make(map[husbandry.ID]husbandry.ID)}
	windows := make(map[husbandry.ID]season.Window)
	for _, a := range p.herd.Animals {
		switch {
		case a.Species != species || !a.Breeding:
		case p.breedingMale(a):
			s.males = append(s.males, a)
			q.Males = append(q.Males, a.ID)
		case a.Sex == husbandry.Female && a.Count == 1 && a.StageOn(p.on) == husbandry.Adult && p.hereThisSeason(a):
			// Also who is not to be paired now: so the others keep their males.
			q.Females = append(q.Females, a.ID)
			if a.Together.Male != "" && p.together(a) {
				q.Given[a.ID] = a.Together.Male
			}
			if p.watchable(a) && !p.livesWithMale(a) {
				if w := p.rawPairing(a); w.Known {
					windows[a.ID] = w
				}
			}
		}
	}
	slices.SortFunc(s.males, func(a, b *Animal) int { return cmp.Compare(a.ID, b.ID) })
	for _, m := range s.males {
		s.ids = append(s.ids, m.ID)
		p.freeFrom(s, m)
	}
	// Pairs of this season, and those the keeper has planned, are settled.
	for i := range p.rec.Pairings {
		pair := &p.rec.Pairings[i]
		_, isMale := slices.BinarySearch(s.ids, pair.Male)
		planned := pair.From.IsZero() || pair.From.After(p.on)
		if !isMale || !planned && pair.From.AddDays(thisSeasonDays).Before(p.on) {
			continue
		}
		w, open := windows[pair.Female]
		if !open && planned {
			continue // not hers to plan now
		}
		if open {
			from, known := s.free[pair.Male]
			if kinship.Exceeds(pedigree.Kinship(pair.Female, pair.Male), q.Limit) || !known || from.After(w.To) {
				continue
			}
		}
		if before := s.settled[pair.Female]; before != nil && !later(pair, before) {
			continue
		}
		s.settled[pair.Female], q.Given[pair.Female] = pair, pair.Male
		q.Females = append(q.Females, pair.Female)
	}
	q.May = func(female, male husbandry.ID) bool {
		w, open := windows[female]
		from, known := s.free[male]
		return !open || known && !from.After(w.To)
	}
	plan := pedigree.Assign(q)
	if len(plan.Without) > 0 { // better one more in his line than nobody
		for _, m := range plan.Matings {
			q.Given[m.Female] = m.Male
		}
		q.PerMale = 0
		plan = pedigree.Assign(q)
	}
	for _, m := range plan.Matings {
		s.given[m.Female] = m.Male
	}
	for _, m := range s.males {
		p.takeTurns(s, m, windows)
	}
	return s
}

// hereThisSeason reports whether an animal is here, or was this season.
func (p *planner) hereThisSeason(a *Animal) bool {
	return a.PresentOn(p.on) || !a.Left.IsZero() && !a.Left.After(p.on) && a.Left.AddDays(thisSeasonDays).After(p.on)
}

// together reports whether she is, or was, with a male this season.
func (p *planner) together(a *Animal) bool {
	return !a.Together.From.IsZero() && a.Together.From.AddDays(thisSeasonDays).After(p.on)
}

// mateOf is the male a female is with, or was, as far as anybody said: else the
// one the season gives her.
func (p *planner) mateOf(s *mateSeason, a *Animal) husbandry.ID {
	return cmp.Or(a.Together.Male, s.given[a.ID])
}

// takeTurns gives the females of one male their turns, in the order in which
// their seasons open: a week together, or less where he could not be with all
// of them in their season, and his rest. Those he was put together with come
// before. Nobody waits for a turn that is not used.
func (p *planner) takeTurns(s *mateSeason, m *Animal, windows map[husbandry.ID]season.Window) {
	var been, waiting []*Animal
	for _, a := range p.herd.Animals {
		if a.PresentOn(p.on) && p.together(a) && p.mateOf(s, a) == m.ID {
			been = append(been, a)
		}
		if _, open := windows[a.ID]; open && s.given[a.ID] == m.ID {
			waiting = append(waiting, a)
		}
	}
	opens := func(a *Animal) civil.Date { return civil.Max(windows[a.ID].From, p.began) }
	slices.SortStableFunc(waiting, func(a, b *Animal) int {
		return cmp.Or(opens(a).Compare(opens(b)), cmp.Compare(p.places[a.Enclosure].Order, p.places[b.Enclosure].Order), cmp.Compare(a.ID, b.ID))
	})
	rest := int(p.rules().MaleRest) + 1
	for stay := pairTogether; stay > 0; stay-- {
		s.stay[m.ID] = stay
		had := make(map[husbandry.ID]turn) // by enclosure
		var next civil.Date
		var with *Animal // whom he was with last, or will be
		waits := false
		for _, a := range been {
			end := a.Together.Until
			if end.IsZero() {
				end = civil.Max(a.Together.From.AddDays(stay), p.on)
				if a.Enclosure != "" {
					had[a.Enclosure] = turn{} // he is there
				}
			}
			if free := end.AddDays(rest); free.After(next) {
				next, with = free, a
			}
		}
		s.next[m.ID] = next
		all := true // of them have a turn in their season
		for _, a := range waiting {
			t, known := had[a.Enclosure]
			if !known {
				t = turn{next, with, waits}
				next, with, waits = civil.Max(next, opens(a)).AddDays(stay+rest), a, true
				if a.Enclosure != "" {
					had[a.Enclosure] = t
				}
			}
			s.turns[a.ID] = t
			// Who has been with him and comes again takes nobody's days.
			all = all && (!t.from.After(windows[a.ID].To) || slices.Contains(been, a))
		}
		if all {
			return
		}
	}
}

// later reports whether a pairing counts instead of another of the same
// female: what is planned before what was, the later before the earlier.
func later(p, than *husbandry.Pairing) bool {
	if than.From.IsZero() || p.From.IsZero() {
		return !than.From.IsZero()
	}
	return p.From.After(than.From)
}

func (p *planner) breedingMale(a *Animal) bool {
	return a.Sex == husbandry.Male && a.Breeding && a.PresentOn(p.on) && a.StageOn(p.on) == husbandry.Adult &&
		!a.In(husbandry.Apart, p.on) && !p.unwell(a)
}

// freeFrom notes from which day on a male may be paired, rested since his last pairing: the zero date where he may be today.
func (p *planner) freeFrom(s *mateSeason, m *Animal) {
	var from civil.Date
	for i := range p.rec.Pairings {
		pair := &p.rec.Pairings[i]
		if pair.Male != m.ID || pair.From.IsZero() || pair.From.After(p.on) {
			continue
		}
		if pair.Until.IsZero() {
			if female := p.herd.Animal(pair.Female); female == nil || female.PresentOn(p.on) {
				s.with[m.ID] = pair.Female
				return
			}
			continue
		}
		from = civil.Max(from, pair.Until.AddDays(int(p.rules().MaleRest)+1))
	}
	if !from.After(p.on) {
		from = civil.Date{}
	}
	s.free[m.ID] = from
}

// rawPairing is the forecast of a female's pairing window, asked once.
func (p *planner) rawPairing(a *Animal) season.Window {
	w, ok := p.kin.windows[a.ID]
	if !ok {
		w = p.fore.Pairing(p.herd, a)
		p.kin.windows[a.ID] = w
	}
	return w
}

// mateWords is "best with Ochre (M02), inbreeding of the young at least 0: no
// common ancestor is recorded; or Clay (M05), at least 0.0625: ...".
func (p *planner) mateWords(s *mateSeason, a *Animal, best suitor, others, tooClose []suitor, later []string) string {
	how := "best with "
	if p.together(a) && a.Together.Male == best.male.ID {
		how = "as before with "
	}
	if pair := s.settled[a.ID]; pair != nil && pair.Male == best.male.ID {
		how = "as before with "
		if pair.From.IsZero() || pair.From.After(p.on) {
			how = "as you planned with "
		}
	}
	words := how + nameWords(best.male) + p.whenFree(s, a, best.male) + ", inbreeding of the young " + p.kinWords(a, best)
	for i, o := range others {
		if i == namedMales {
			words += "; or " + count(len(others)-i, "other male")
			break
		}
		words += "; or " + nameWords(o.male) + p.whenFree(s, a, o.male) + ", " + p.kinWords(a, o)
	}
	for _, l := range later {
		words += "; " + l
	}
	for i, o := range tooClose {
		if i == namedMales {
			words += "; nor " + count(len(tooClose)-i, "other male")
			break
		}
		words += "; not with " + nameWords(o.male) + ", " + p.kinWords(a, o)
	}
	return words
}

// whenFree is " from 10 March, after Ada (F1)", or where she did not use her
// turn " (one at a time: Ada (F1) waits for him too)".
func (p *planner) whenFree(s *mateSeason, a, m *Animal) string {
	from, _ := s.freeFor(a, m)
	t := s.turns[a.ID]
	before := s.given[a.ID] == m.ID && t.after != nil && t.from == from
	switch {
	case from.After(p.on) && before:
		return " from " + p.day(from) + ", after " + nameWords(t.after)
	case from.After(p.on):
		return " from " + p.day(from)
	case before && t.waits:
		return " (one at a time: " + nameWords(t.after) + " waits for him too)"
	}
	return ""
}

// kinWords is "at least 0.25: full siblings (parents F1 and M1)", with a word
// where the keeper wants to be warned.
func (p *planner) kinWords(a *Animal, x suitor) string {
	young := p.pedigree().Young(a.ID, x.male.ID)
	words := young.Coefficient()
	if young.F == 0 {
		return words
	}
	if kinship.Exceeds(young.F, p.rules().KinshipWarn) {
		words += ", close kin"
	}
	return words + ": " + young.Reason()
}

func nameWords(m *Animal) string {
	if m.Name == "" {
		return string(m.ID)
	}
	return m.Name + " (" + string(m.ID) + ")"
}

// reviewKin asks once a season for another male where a female's window is
// closed because all are too close kin.
func (p *planner) reviewKin(s *subject) {
	refused, ok := p.kin.refused[s.id]
	if !ok {
		return
	}
	delete(p.kin.refused, s.id) // once, however many routines ask
	a, ok := p.builtIn(s, ReviewKin, husbandry.Review, "Find a male that is no close kin")
	if !ok {
		return
	}
	var males []string
	for i, x := range refused.males {
		if i == namedMales {
			males = append(males, strconv.Itoa(len(refused.males)-i)+" more")
			break
		}
		young := p.pedigree().Young(s.id, x.male.ID)
		males = append(males, nameWords(x.male)+" "+young.Coefficient()+" ("+young.Reason()+")")
	}
	w := refused.window
	p.ask(a, []string{w.Event}, civil.Max(w.From.AddDays(-kinAhead), p.began), fmt.Sprintf("Not paired in her season (%s): with every male the inbreeding of the young would be above %s: %s",
		spanWords(w.From, w.To, p.on), kinship.Coefficient(p.rules().KinshipLimit), list(males)), kinCaution)
}
