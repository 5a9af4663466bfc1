package herd

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"nestround/scheduler/season"
	"nestround/scheduler/season/kinship"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

const (
	// thisSeasonDays is the largest number of days since the beginning of a
	// pairing that still belongs to this season.
	thisSeasonDays = 180
	// NamedMales is the number of other males that a reason names, besides the
	// best one.
	NamedMales = 3
)

// Suitor is a male as a possible mate of a female.
type Suitor struct {
	Male *Animal
	F    float64 // the inbreeding coefficient of the pair's young
}

// breeding works out whom to pair with whom.
type breeding struct{ *Herd }

// mateSeason has the pairs of one species on the herd's day.
type mateSeason struct {
	males []*Animal      // grown and marked for breeding, by id
	ids   []husbandry.ID // the ids of males
	// free has, for each male, the first day on which he may be paired: the
	// zero date for today. A male is missing if the day is unknown.
	free map[husbandry.ID]civil.Date
	with map[husbandry.ID]husbandry.ID // for a male that is not free: the female that he is with
	// given has the male of each female that has one. settled has the pairs
	// among given that records state.
	given   map[husbandry.ID]husbandry.ID
	settled map[husbandry.ID]*husbandry.Pairing
	// turns has the turns of the females that wait for their male. A male is
	// with one female, or with the females of one enclosure, at a time.
	turns map[husbandry.ID]turn
	// next has, for each male, the first day on which he is free for a female
	// that is not assigned to him, by marks. stay is the number of days for
	// which he stays with each female assigned to him.
	next map[husbandry.ID]civil.Date
	stay map[husbandry.ID]int
}

// turn is the place of a female in the order of her male: the day from which he
// is free for her, and the female before her (nil if she is the first).
type turn struct {
	from  civil.Date
	after *Animal
	waits bool // the female before her has not been with him yet
}

// freeFor returns the first day on which a male may be put to a female, and
// whether that day is known.
func (s *mateSeason) freeFor(a, m *Animal) (from civil.Date, known bool) {
	from, known = s.free[m.ID]
	if s.given[a.ID] == m.ID {
		return civil.Max(from, s.turns[a.ID].from), known
	}
	return civil.Max(from, s.next[m.ID]), known
}

// Pairing says whether a female may be paired, in which window and with which
// male.
type Pairing struct {
	// Window is the time in which the female may be paired. Its Basis is the
	// reason why she may be paired, or why not.
	Window season.Window
	Mate   husbandry.ID // the male that the female is to be paired with; "" for none
	// Refused is set if the pairing window stays closed because every male is
	// close kin; nil otherwise.
	Refused *RefusedKin
}

// RefusedKin is a pairing window that stays closed because every male is close
// kin. Males lists these males, the least related first.
type RefusedKin struct {
	Window season.Window
	Males  []Suitor
}

// BreedingRules returns the keeper's limits for pairing, or the usual ones if
// the keeper states none.
func (h *Herd) BreedingRules() husbandry.BreedingRules {
	if h.Records.Breeding == (husbandry.BreedingRules{}) {
		return husbandry.UsualBreeding()
	}
	return h.Records.Breeding
}

// Pedigree returns the pedigree of the recorded animals, including mothers that
// only a finding names.
func (h *Herd) Pedigree() *kinship.Pedigree { return h.pedigreeOf() }

func (h breeding) makePedigree() *kinship.Pedigree {
	list := make([]kinship.Animal, 0, len(h.Records.Animals))
	found := make(map[int]husbandry.ID) // mothers that the daybook knows
	for i := range h.Records.Animals {
		a := &h.Records.Animals[i]
		list = append(list, kinship.Animal{ID: a.ID, Mother: a.Mother, Father: a.Father, Group: a.Count > 1})
		if c := h.Clutch(a.Clutch); c != nil && a.Mother == "" && c.Mother != a.ID {
			found[i] = c.Mother
		}
	}
	pedigree, err := kinship.New(list)
	if err != nil { // package books refuses such records and names their place
		pedigree, _ = kinship.New(nil)
	} else if len(found) > 0 {
		for i, mother := range found {
			list[i].Mother = mother
		}
		if more, err := kinship.New(list); err == nil { // if New fails, a finding contradicts the records and does not count
			pedigree = more
		}
	}
	return pedigree
}

// paired narrows a female's pairing window to the days on which a male is free
// for her, and names him.
func (h breeding) paired(a *Animal, w season.Window) Pairing {
	if !w.Known {
		return Pairing{Window: w}
	}
	s := h.seasonOf(a.Species)
	can, tooClose := h.suitors(s, a)
	if len(can) == 0 {
		closed := season.Window{Basis: "every male of her species is closer kin than the limit of " + kinship.Coefficient(h.BreedingRules().KinshipLimit)}
		return Pairing{Window: closed, Refused: &RefusedKin{w, tooClose}}
	}
	best, others, later := h.choose(s, a, w, can)
	if best == nil {
		return Pairing{Window: season.Window{Basis: "no male is free for her: " + strings.Join(later, "; ")}}
	}
	if from, _ := s.freeFor(a, best.Male); from.After(w.From) {
		w.From = from
	}
	w.Basis += "; " + h.mateWords(s, a, *best, others, tooClose, later)
	return Pairing{Window: w, Mate: best.Male.ID}
}

// suitors returns the males of the female's species within the kinship limit,
// the least related first, and the males beyond the limit.
func (h breeding) suitors(s *mateSeason, a *Animal) (can, tooClose []Suitor) {
	coefficients := h.Pedigree().KinshipWith(a.ID, s.ids)
	for i, m := range s.males {
		x := Suitor{m, coefficients[i]}
		if kinship.Exceeds(x.F, h.BreedingRules().KinshipLimit) {
			tooClose = append(tooClose, x)
		} else {
			can = append(can, x)
		}
	}
	byKinship := func(x, y Suitor) int {
		return cmp.Or(cmp.Compare(x.F, y.F), cmp.Compare(x.Male.ID, y.Male.ID))
	}
	slices.SortFunc(can, byKinship)
	slices.SortFunc(tooClose, byKinship)
	return can, tooClose
}

// choose picks the male for a female: the male that the season assigns to her,
// or else the least related male that is free before her window closes. later
// says why the other males are not free.
func (h breeding) choose(s *mateSeason, a *Animal, w season.Window, can []Suitor) (best *Suitor, others []Suitor, later []string) {
	for i := range can {
		m := can[i].Male
		from, known := s.freeFor(a, m)
		switch {
		case !known:
			later = append(later, fmt.Sprintf("%s is with %s", NameWords(m), s.with[m.ID]))
		case from.After(w.To):
			later = append(later, fmt.Sprintf("%s is free from %s only", NameWords(m), h.DateWords(from)))
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

func (h breeding) seasonOf(species husbandry.ID) *mateSeason {
	return h.seasons.of(species, func() *mateSeason { return h.makeSeason(species) })
}

// makeSeason assigns males to the females of a species.
func (h breeding) makeSeason(species husbandry.ID) *mateSeason {
	s := &mateSeason{
		free: make(map[husbandry.ID]civil.Date), with: make(map[husbandry.ID]husbandry.ID),
		given: make(map[husbandry.ID]husbandry.ID), settled: make(map[husbandry.ID]*husbandry.Pairing),
		turns: make(map[husbandry.ID]turn), next: make(map[husbandry.ID]civil.Date), stay: make(map[husbandry.ID]int),
	}
	q := kinship.Season{Limit: h.BreedingRules().KinshipLimit, PerMale: h.BreedingRules().FemalesPerMale, Given: make(map[husbandry.ID]husbandry.ID)}
	windows := make(map[husbandry.ID]season.Window)
	for _, a := range h.Animals {
		switch {
		case a.Species != species || !a.Breeding:
		case h.breedingMale(a):
			s.males = append(s.males, a)
			q.Males = append(q.Males, a.ID)
		case a.Sex == husbandry.Female && a.Count == 1 && a.StageOn(h.On) == husbandry.Adult && h.hereThisSeason(a):
			h.takesPart(a, &q, windows)
		}
	}
	slices.SortFunc(s.males, func(a, b *Animal) int { return cmp.Compare(a.ID, b.ID) })
	for _, m := range s.males {
		s.ids = append(s.ids, m.ID)
		h.freeFrom(s, m)
	}
	h.settlePairs(s, &q, windows)
	q.May = func(female, male husbandry.ID) bool {
		w, open := windows[female]
		return !open || s.freeWithin(male, w)
	}
	pedigree := h.Pedigree()
	plan := pedigree.Assign(q)
	if len(plan.Without) > 0 { // rather one more female for a male than a female without a male
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
		h.takeTurns(s, m, windows)
	}
	return s
}

// takesPart adds a female to her season, with her window if she may be paired
// now. Females that may not be paired now take part too: otherwise the males of
// the other females would change.
func (h breeding) takesPart(a *Animal, q *kinship.Season, windows map[husbandry.ID]season.Window) {
	q.Females = append(q.Females, a.ID)
	if a.Together.Male != "" && h.thisSeason(a) {
		q.Given[a.ID] = a.Together.Male
	}
	if !h.Watchable(a) || h.LivesWithMale(a) {
		return
	}
	if w := h.rawPairing(a); w.Known {
		windows[a.ID] = w
	}
}

// freeWithin reports whether a male is free before a window closes, as far as
// his free days are known.
func (s *mateSeason) freeWithin(male husbandry.ID, w season.Window) bool {
	from, known := s.free[male]
	return known && !from.After(w.To)
}

// settlePairs adds the pairs of this season, and the pairs that the keeper has
// planned, as settled pairs.
func (h breeding) settlePairs(s *mateSeason, q *kinship.Season, windows map[husbandry.ID]season.Window) {
	for i := range h.Records.Pairings {
		pair := &h.Records.Pairings[i]
		_, isMale := slices.BinarySearch(s.ids, pair.Male)
		planned := pair.From.IsZero() || pair.From.After(h.On)
		if !isMale || !planned && pair.From.AddDays(thisSeasonDays).Before(h.On) {
			continue
		}
		w, open := windows[pair.Female]
		switch {
		case !open && planned:
			continue // the female's window is not open now
		case open && (kinship.Exceeds(h.Pedigree().Kinship(pair.Female, pair.Male), q.Limit) || !s.freeWithin(pair.Male, w)):
			continue
		}
		if before := s.settled[pair.Female]; before != nil && !later(pair, before) {
			continue
		}
		s.settled[pair.Female], q.Given[pair.Female] = pair, pair.Male
		q.Females = append(q.Females, pair.Female)
	}
}

// hereThisSeason reports whether an animal is here, or was this season.
func (h breeding) hereThisSeason(a *Animal) bool {
	return a.PresentOn(h.On) || !a.Left.IsZero() && !a.Left.After(h.On) && a.Left.AddDays(thisSeasonDays).After(h.On)
}

// thisSeason reports whether a female is, or was, with a male this season.
func (h breeding) thisSeason(a *Animal) bool {
	return !a.Together.From.IsZero() && a.Together.From.AddDays(thisSeasonDays).After(h.On)
}

// mateOf returns the male that a female is or was with this season, if that is
// recorded; else the male that the season assigns to her.
func (h breeding) mateOf(s *mateSeason, a *Animal) husbandry.ID {
	return cmp.Or(a.Together.Male, s.given[a.ID])
}

// takeTurns gives the females of one male their turns, in the order in which
// their seasons open. A turn is a week together followed by the male's rest.
// The week is shorter if he could not reach all females in their season
// otherwise. Females that he was put together with come first. If a female does
// not use her turn, the others do not wait for her.
func (h breeding) takeTurns(s *mateSeason, m *Animal, windows map[husbandry.ID]season.Window) {
	var been, waiting []*Animal
	for _, a := range h.Animals {
		if a.PresentOn(h.On) && h.thisSeason(a) && h.mateOf(s, a) == m.ID {
			been = append(been, a)
		}
		if _, open := windows[a.ID]; open && s.given[a.ID] == m.ID {
			waiting = append(waiting, a)
		}
	}
	opens := func(a *Animal) civil.Date { return civil.Max(windows[a.ID].From, h.Began) }
	slices.SortStableFunc(waiting, func(a, b *Animal) int {
		return cmp.Or(opens(a).Compare(opens(b)), cmp.Compare(h.places[a.Enclosure].Order, h.places[b.Enclosure].Order), cmp.Compare(a.ID, b.ID))
	})
	rest := int(h.BreedingRules().MaleRest) + 1
	for stay := PairTogether; stay > 0; stay-- {
		s.stay[m.ID] = stay
		had := make(map[husbandry.ID]turn) // by enclosure
		var next civil.Date
		var with *Animal // the female of the male's latest turn so far
		waits := false
		for _, a := range been {
			end := a.Together.Until
			if end.IsZero() {
				end = civil.Max(a.Together.From.AddDays(stay), h.On)
				if a.Enclosure != "" {
					had[a.Enclosure] = turn{} // the male is in this enclosure already
				}
			}
			if free := end.AddDays(rest); free.After(next) {
				next, with = free, a
			}
		}
		s.next[m.ID] = next
		all := true // whether every female has a turn within her season
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
			// A female that was with the male before, and waits for him again,
			// does not shorten the stay with the other females.
			all = all && (!t.from.After(windows[a.ID].To) || slices.Contains(been, a))
		}
		if all {
			return
		}
	}
}

// later reports whether a pairing takes precedence over another of the same
// female: planned pairings win, then the latest.
func later(p, than *husbandry.Pairing) bool {
	if than.From.IsZero() || p.From.IsZero() {
		return !than.From.IsZero()
	}
	return p.From.After(than.From)
}

func (h breeding) breedingMale(a *Animal) bool {
	return a.Sex == husbandry.Male && a.Breeding && a.PresentOn(h.On) && a.StageOn(h.On) == husbandry.Adult &&
		!a.In(husbandry.Apart, h.On) && !h.unwell(a)
}

// freeFrom stores the first day on which a male may be paired, after the rest
// that follows his last pairing. It stores the zero date if that day is today.
func (h breeding) freeFrom(s *mateSeason, m *Animal) {
	var from civil.Date
	for i := range h.Records.Pairings {
		pair := &h.Records.Pairings[i]
		if pair.Male != m.ID || pair.From.IsZero() || pair.From.After(h.On) {
			continue
		}
		if pair.Until.IsZero() {
			if female := h.Animal(pair.Female); female == nil || female.PresentOn(h.On) {
				s.with[m.ID] = pair.Female
				return
			}
			continue
		}
		from = civil.Max(from, pair.Until.AddDays(int(h.BreedingRules().MaleRest)+1))
	}
	if !from.After(h.On) {
		from = civil.Date{}
	}
	s.free[m.ID] = from
}

// rawPairing returns the forecast of a female's pairing window, before males
// are considered.
func (h breeding) rawPairing(a *Animal) season.Window {
	return h.raw.of(a.ID, func() season.Window { return h.fore.Pairing(h.Herd, a) })
}

// mateWords writes "best with Ochre (M02), inbreeding of the young at least 0:
// no common ancestor is recorded; or Clay (M05), at least 0.0625: ...".
func (h breeding) mateWords(s *mateSeason, a *Animal, best Suitor, others, tooClose []Suitor, later []string) string {
	how := "best with "
	if h.thisSeason(a) && a.Together.Male == best.Male.ID {
		how = "as before with "
	}
	if pair := s.settled[a.ID]; pair != nil && pair.Male == best.Male.ID {
		how = "as before with "
		if pair.From.IsZero() || pair.From.After(h.On) {
			how = "as you planned with "
		}
	}
	words := how + NameWords(best.Male) + h.whenFree(s, a, best.Male) + ", inbreeding of the young " + h.kinWords(a, best)
	for i, o := range others {
		if i == NamedMales {
			words += "; or " + english.Count(len(others)-i, "other male")
			break
		}
		words += "; or " + NameWords(o.Male) + h.whenFree(s, a, o.Male) + ", " + h.kinWords(a, o)
	}
	for _, l := range later {
		words += "; " + l
	}
	for i, o := range tooClose {
		if i == NamedMales {
			words += "; nor " + english.Count(len(tooClose)-i, "other male")
			break
		}
		words += "; not with " + NameWords(o.Male) + ", " + h.kinWords(a, o)
	}
	return words
}

// whenFree writes " from 10 March, after Ada (F1)". If the female before did
// not use her turn, it writes " (one at a time: Ada (F1) waits for him too)".
func (h breeding) whenFree(s *mateSeason, a, m *Animal) string {
	from, _ := s.freeFor(a, m)
	t := s.turns[a.ID]
	before := s.given[a.ID] == m.ID && t.after != nil && t.from == from
	switch {
	case from.After(h.On) && before:
		return " from " + h.DateWords(from) + ", after " + NameWords(t.after)
	case from.After(h.On):
		return " from " + h.DateWords(from)
	case before && t.waits:
		return " (one at a time: " + NameWords(t.after) + " waits for him too)"
	}
	return ""
}

// kinWords writes "at least 0.25: full siblings (parents F1 and M1)". From the
// keeper's warning level on, it adds "close kin".
func (h breeding) kinWords(a *Animal, x Suitor) string {
	young := h.Pedigree().Young(a.ID, x.Male.ID)
	words := young.Coefficient()
	if young.F == 0 {
		return words
	}
	if kinship.Exceeds(young.F, h.BreedingRules().KinshipWarn) {
		words += ", close kin"
	}
	return words + ": " + young.Reason()
}

func NameWords(m *Animal) string {
	if m.Name == "" {
		return string(m.ID)
	}
	return m.Name + " (" + string(m.ID) + ")"
}

// MateOf returns the male that a female is or was with this season, if that is
// recorded; else the male that the season assigns to her, or nil. stay is the
// number of days for which he stays with each female; 0 if that is not planned.
func (h *Herd) MateOf(a *Animal) (male *Animal, stay int) {
	s := breeding{h}.seasonOf(a.Species)
	if male = h.Animal((breeding{h}).mateOf(s, a)); male == nil {
		return nil, 0
	}
	return male, s.stay[male.ID]
}

// tooThin says why a female is too thin to be paired; "" if she is not too
// thin.
func (h breeding) tooThin(a *Animal) string {
	last, best, ok := a.Thinner()
	if !ok {
		return ""
	}
	u := h.Records.Units
	return fmt.Sprintf("she is thin: %s on %s, %s on %s", u.Mass(last.Grams), h.DateWords(last.On), u.Mass(best.Grams), h.DateWords(best.On))
}
