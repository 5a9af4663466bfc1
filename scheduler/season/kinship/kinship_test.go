package kinship_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nestround/scheduler/season/kinship"
	"nestround/tasks/husbandry"
)

// pedigree makes a pedigree from lines of child, mother, father, with - for an
// unknown parent.
func pedigree(t testing.TB, lines ...[3]husbandry.ID) *kinship.Pedigree {
	t.Helper()
	p, err := kinship.New(animals(lines...))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func animals(lines ...[3]husbandry.ID) []kinship.Animal {
	var list []kinship.Animal
	for _, l := range lines {
		for k := range l {
			if l[k] == "-" {
				l[k] = ""
			}
		}
		list = append(list, kinship.Animal{ID: l[0], Mother: l[1], Father: l[2]})
	}
	return list
}

// inbreeding returns the inbreeding coefficient F of an animal. Its kinship
// with itself is (1 + F) / 2.
func inbreeding(p *kinship.Pedigree, id husbandry.ID) float64 { return 2*p.Kinship(id, id) - 1 }

func near(a, b float64) bool { return math.Abs(a-b) < 1e-12 }

// Mrode, Linear Models for the Prediction of Animal Breeding Values, example
// 2.1. The pedigree is from memory. Its relationship matrix, of which the upper
// rows are below, was computed again by hand.
func TestRelationshipsOfMrodesExample(t *testing.T) {
	p := pedigree(t, [3]husbandry.ID{"3", "1", "2"}, [3]husbandry.ID{"4", "1", "-"}, [3]husbandry.ID{"5", "4", "3"}, [3]husbandry.ID{"6", "5", "2"})
	for i, row := range [6][6]float64{
		{1, 0, .5, .5, .5, .25},
		{0, 1, .5, 0, .25, .625},
		{.5, .5, 1, .25, .625, .5625},
		{.5, 0, .25, 1, .625, .3125},
		{.5, .25, .625, .625, 1.125, .6875},
		{.25, .625, .5625, .3125, .6875, 1.125},
	} {
		for j, want := range row {
			a, b := husbandry.ID(fmt.Sprint(i+1)), husbandry.ID(fmt.Sprint(j+1))
			if got := 2 * p.Kinship(a, b); got != want {
				t.Errorf("animals %s and %s: %v, want %v", a, b, got, want)
			}
		}
	}
	for id, want := range map[husbandry.ID]float64{"1": 0, "2": 0, "3": 0, "4": 0, "5": .125, "6": .125} {
		if got := inbreeding(p, id); got != want {
			t.Errorf("animal %s: F %v, want %v", id, got, want)
		}
	}
}

// An exercise from a course on livestock breeding at ETH Zürich.
func TestRelationshipsOfACourseExercise(t *testing.T) {
	p := pedigree(t, [3]husbandry.ID{"4", "1", "2"}, [3]husbandry.ID{"5", "3", "2"}, [3]husbandry.ID{"6", "4", "5"})
	if got := inbreeding(p, "6"); got != .125 {
		t.Errorf("F %v, want 0.125", got)
	}
}

// The coefficients of the usual matings: Wright 1922, American Naturalist
// 56:330-338 (from memory). Course texts have the coefficient of first cousins,
// too.
func TestInbreedingOfTheUsualMatings(t *testing.T) {
	one := func(lines ...[3]husbandry.ID) [][3]husbandry.ID { return lines }
	for _, c := range []struct {
		words string
		lines [][3]husbandry.ID
		a, b  husbandry.ID
		want  float64
		says  string
	}{
		{"unrelated", one(), "A", "B", 0, ""},
		{"mother and son", one([3]husbandry.ID{"S", "M", "F"}), "M", "S", 1. / 4, "M is the mother of S"},
		{"daughter and father", one([3]husbandry.ID{"D", "M", "F"}), "D", "F", 1. / 4, "F is the father of D"},
		{"full siblings", one([3]husbandry.ID{"S", "M", "F"}, [3]husbandry.ID{"D", "M", "F"}), "D", "S", 1. / 4, "full siblings (parents F and M)"},
		{"half siblings", one([3]husbandry.ID{"S", "M", "F"}, [3]husbandry.ID{"D", "N", "F"}), "D", "S", 1. / 8, "half siblings (common parent F)"},
		{"uncle and niece", one([3]husbandry.ID{"U", "M", "F"}, [3]husbandry.ID{"B", "M", "F"}, [3]husbandry.ID{"D", "X", "B"}), "U", "D", 1. / 8, "U is a full sibling of B, a parent of D"},
		{"half uncle and niece", one([3]husbandry.ID{"U", "M", "F"}, [3]husbandry.ID{"B", "M", "G"}, [3]husbandry.ID{"D", "X", "B"}), "D", "U", 1. / 16, "U is a half sibling of B, a parent of D"},
		{"double first cousins", one(
			[3]husbandry.ID{"M1", "A", "B"}, [3]husbandry.ID{"M2", "A", "B"}, [3]husbandry.ID{"F1", "C", "D"}, [3]husbandry.ID{"F2", "C", "D"},
			[3]husbandry.ID{"X", "M1", "F1"}, [3]husbandry.ID{"Y", "M2", "F2"}), "X", "Y", 1. / 8, "common ancestors A, B, C, D"},
		{"grandmother and grandson", one([3]husbandry.ID{"D", "G", "F"}, [3]husbandry.ID{"S", "D", "X"}), "G", "S", 1. / 8, "G is a grandmother of S"},
		{"granddaughter and grandfather", one([3]husbandry.ID{"D", "M", "G"}, [3]husbandry.ID{"S", "D", "X"}), "S", "G", 1. / 8, "G is a grandfather of S"},
		{"first cousins", one(
			[3]husbandry.ID{"M1", "A", "B"}, [3]husbandry.ID{"F2", "A", "B"},
			[3]husbandry.ID{"X", "M1", "C"}, [3]husbandry.ID{"Y", "D", "F2"}), "X", "Y", 1. / 16, "common ancestors A, B"},
		{"half siblings by an inbred father of F = 1/4", one(
			[3]husbandry.ID{"P", "A", "B"}, [3]husbandry.ID{"Q", "A", "B"}, [3]husbandry.ID{"F", "P", "Q"},
			[3]husbandry.ID{"S", "M", "F"}, [3]husbandry.ID{"D", "N", "F"}), "S", "D", 5. / 32, "half siblings (common parent F)"},
		{"great-grandfather", one([3]husbandry.ID{"B", "X", "A"}, [3]husbandry.ID{"C", "Y", "B"}, [3]husbandry.ID{"D", "Z", "C"}), "A", "D", 1. / 16, "common ancestor A"},
		{"itself", one(), "A", "A", 1. / 2, "one animal"},
		// Young of a mother without a mate, as in parthenogenetic lizards.
		{"sisters without fathers", one([3]husbandry.ID{"S", "M", "-"}, [3]husbandry.ID{"D", "M", "-"}), "S", "D", 1. / 8, "half siblings (common parent M)"},
	} {
		t.Run(c.words, func(t *testing.T) {
			lines := append(c.lines, [3]husbandry.ID{"YOUNG", c.a, c.b}, [3]husbandry.ID{"A", "-", "-"}, [3]husbandry.ID{"B", "-", "-"})
			seen := make(map[husbandry.ID]bool)
			lines = slices.DeleteFunc(lines, func(l [3]husbandry.ID) bool {
				defer func() { seen[l[0]] = true }()
				return seen[l[0]]
			})
			p := pedigree(t, lines...)
			if got := inbreeding(p, "YOUNG"); got != c.want {
				t.Errorf("F of the young %v, want %v", got, c.want)
			}
			if ab, ba := p.Kinship(c.a, c.b), p.Kinship(c.b, c.a); ab != c.want || ba != c.want {
				t.Errorf("kinship %v and %v, want %v", ab, ba, c.want)
			}
			if ab, ba := p.Relation(c.a, c.b), p.Relation(c.b, c.a); ab != c.says || ba != c.says {
				t.Errorf("says %q and %q, want %q", ab, ba, c.says)
			}
		})
	}
}

// Full-sibling matings, generation after generation (Wright, as above).
func TestInbreedingOfFullSiblingMatings(t *testing.T) {
	lines := [][3]husbandry.ID{}
	for g := range 5 {
		m, f := husbandry.ID(fmt.Sprint("F", g)), husbandry.ID(fmt.Sprint("M", g))
		lines = append(lines, [3]husbandry.ID{husbandry.ID(fmt.Sprint("F", g+1)), m, f}, [3]husbandry.ID{husbandry.ID(fmt.Sprint("M", g+1)), m, f})
	}
	p := pedigree(t, lines...)
	for g, want := range []float64{0, 0, .25, .375, .5, .59375} {
		if got := inbreeding(p, husbandry.ID(fmt.Sprint("F", g))); got != want {
			t.Errorf("generation %d: %v, want %v", g-1, got, want)
		}
	}
}

func TestLoopsNameTheirAnimals(t *testing.T) {
	for _, c := range []struct {
		words string
		lines [][3]husbandry.ID
		want  string
	}{
		{"its own mother", [][3]husbandry.ID{{"F1", "F1", "-"}}, "F1 is its own ancestor: F1, child of F1"},
		{"its own grandfather", [][3]husbandry.ID{{"M1", "F1", "-"}, {"F1", "-", "M1"}}, "M1 is its own ancestor: M1, child of F1, child of M1"},
		{"a loop reached from an animal outside it", [][3]husbandry.ID{{"X", "-", "A"}, {"A", "B", "-"}, {"B", "K", "C"}, {"C", "-", "A"}}, "A is its own ancestor: A, child of B, child of C, child of A"},
	} {
		t.Run(c.words, func(t *testing.T) {
			p, err := kinship.New(animals(c.lines...))
			var loop *kinship.LoopError
			if p != nil || !errors.As(err, &loop) || err.Error() != c.want {
				t.Fatalf("%v, want %s", err, c.want)
			}
		})
	}
}

// Every loop is named once, even if loops share animals.
func TestAllLoopsAreFound(t *testing.T) {
	loops := kinship.Loops(animals([][3]husbandry.ID{
		{"A", "B", "C"}, {"B", "A", "-"}, {"C", "A", "-"}, {"D", "A", "E"}, {"E", "-", "-"}, {"X", "X", "-"},
	}...))
	var got []string
	for _, l := range loops {
		got = append(got, l.Words())
	}
	if want := []string{"A, child of B, child of A", "A, child of C, child of A", "X, child of X"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

// Each animal of a long ring may also close a loop of its own with the first
// animal. The loops are few and their words are short, or they fill the memory.
func TestManyLongLoops(t *testing.T) {
	const ring = 30_000
	var list []kinship.Animal
	for i := range ring {
		list = append(list, kinship.Animal{ID: husbandry.ID(fmt.Sprint("A", i)), Mother: husbandry.ID(fmt.Sprint("A", (i+1)%ring)), Father: "A0"})
	}
	loops := kinship.Loops(list)
	if len(loops) != 20 {
		t.Fatalf("%d loops", len(loops))
	}
	for _, l := range loops {
		words := l.Words()
		if len(words) > 1000 || !strings.HasPrefix(words, "A0, child of ") || !strings.HasSuffix(words, ", child of A0") {
			t.Errorf("%.2000s", words)
		}
	}
	if long := loops[1].Words(); !strings.Contains(long, "A24, child of (29950 more), child of A299") {
		t.Error(long)
	}
}

func TestALongLineOfDescentIsNotALoop(t *testing.T) {
	var list []kinship.Animal
	for i := range 100_000 {
		list = append(list, kinship.Animal{ID: husbandry.ID(fmt.Sprint("A", i)), Mother: husbandry.ID(fmt.Sprint("A", i+1))})
	}
	p, err := kinship.New(list)
	if err != nil {
		t.Fatal(err)
	}
	if got := p.DepthOfYoung("A0", ""); got.Deepest != 100_001 || got.Complete != 0 {
		t.Fatalf("%+v", got)
	}
}

func TestDepthOfRecordedAncestors(t *testing.T) {
	p := pedigree(t,
		[3]husbandry.ID{"C", "A", "B"},
		[3]husbandry.ID{"D", "C", "-"},
		[3]husbandry.ID{"E", "D", "B"},
		[3]husbandry.ID{"F", "C", "G"},
	)
	for parents, want := range map[[2]husbandry.ID]kinship.Depth{
		{"", ""}:   {},
		{"A", "B"}: {Complete: 1, Deepest: 1, Equivalent: 1},
		{"C", ""}:  {Complete: 0, Deepest: 2, Equivalent: 1},      // (1+1)/2
		{"D", "B"}: {Complete: 1, Deepest: 3, Equivalent: 1 + .5}, // (1+1)/2 + (1+0)/2
		{"C", "G"}: {Complete: 1, Deepest: 2, Equivalent: 1 + .5}, // both parents, and half of the grandparents
		// The mother of D is C, and the father is unknown.
		{"D", ""}: {Complete: 0, Deepest: 3, Equivalent: 1},
	} {
		if got := p.DepthOfYoung(parents[0], parents[1]); got != want {
			t.Errorf("young of %q: %+v, want %+v", parents, got, want)
		}
	}
	if got, want := p.DepthOfYoung("C", "C"), (kinship.Depth{Complete: 2, Deepest: 2, Equivalent: 2}); got != want {
		t.Errorf("young of C: %+v, want %+v", got, want)
	}
	if got, want := p.DepthOfYoung("C", "nobody"), (kinship.Depth{Complete: 0, Deepest: 2, Equivalent: 1}); got != want {
		t.Errorf("young of C and nobody: %+v, want %+v", got, want)
	}
}

// A group recorded as a parent counts as one animal, and Groups names it.
func TestGroupsCountAsOneAnimal(t *testing.T) {
	p, err := kinship.New([]kinship.Animal{
		{ID: "G1", Mother: "F1", Father: "M1", Group: true},
		{ID: "X", Mother: "G1", Father: "M2"},
		{ID: "Y", Mother: "G1", Father: "M3"},
		{ID: "Z", Mother: "F1", Father: "M4"},
		{ID: "S", Mother: "G1", Father: "G1"},
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		a, b   husbandry.ID
		want   float64
		groups string
	}{
		{"X", "Y", 1. / 8, "[G1]"},  // at most: their mothers may be sisters
		{"G1", "X", 1. / 4, "[G1]"}, // G1 is the mother of X, or her sister
		{"X", "Z", 1. / 16, "[]"},   // through F1, who is one animal
		{"X", "M1", 1. / 8, "[]"},
	} {
		if got, groups := p.Kinship(c.a, c.b), fmt.Sprint(p.Groups(c.a, c.b)); got != c.want || groups != c.groups {
			t.Errorf("%s and %s: %v by %s, want %v by %s", c.a, c.b, got, groups, c.want, c.groups)
		}
	}
	if got := inbreeding(p, "S"); got != 1./2 {
		t.Errorf("young of one group alone: %v, want 1/2", got)
	}
}

// random draws a pedigree with its animals in any order.
func random(t *rapid.T) []kinship.Animal {
	n := rapid.IntRange(1, 40).Draw(t, "animals")
	list := make([]kinship.Animal, n)
	for i := range list {
		list[i].ID = husbandry.ID(fmt.Sprint("A", i))
		parent := func(what string) husbandry.ID {
			j := rapid.IntRange(-3, i-1).Draw(t, what)
			if j < 0 {
				return ""
			}
			return husbandry.ID(fmt.Sprint("A", j))
		}
		list[i].Mother, list[i].Father = parent("mother"), parent("father")
	}
	return list
}

// table computes relationships by the tabular method (Emik and Terrill 1949,
// Journal of Heredity 40:51-55; Henderson 1976). Row by row, the relationship
// to an animal is the mean of the relationships to its parents. Parents must
// come before their young.
func table(list []kinship.Animal) [][]float64 {
	at := map[husbandry.ID]int{"": -1}
	a := make([][]float64, len(list))
	for i, animal := range list {
		a[i] = make([]float64, len(list))
		m, f := at[animal.Mother], at[animal.Father]
		for j := range i {
			for _, parent := range []int{m, f} {
				if parent >= 0 {
					a[i][j] += a[j][parent] / 2
				}
			}
			a[j][i] = a[i][j]
		}
		a[i][i] = 1
		if m >= 0 && f >= 0 {
			a[i][i] += a[m][f] / 2
		}
		at[animal.ID] = i
	}
	return a
}

func TestAgreesWithTheTabularMethod(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := random(t)
		want := table(list)
		p, err := kinship.New(rapid.Permutation(list).Draw(t, "order"))
		if err != nil {
			t.Fatal(err)
		}
		var ids []husbandry.ID
		for _, a := range list {
			ids = append(ids, a.ID)
		}
		for i, a := range list {
			if got := inbreeding(p, a.ID); !near(got, want[i][i]-1) {
				t.Fatalf("F of %s: %v, want %v", a.ID, got, want[i][i]-1)
			}
			for j, k := range p.KinshipWith(a.ID, ids) {
				if one := p.Kinship(a.ID, ids[j]); !near(k, want[i][j]/2) || one != k {
					t.Fatalf("%s and %s: %v and %v, want %v", a.ID, ids[j], k, one, want[i][j]/2)
				}
			}
		}
	})
}

// Two animals have a relation in words exactly if their kinship is above 0.
func TestRelatedAnimalsHaveARelationInWords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := random(t)
		p, err := kinship.New(list)
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range list {
			for _, b := range list {
				if k, words := p.Kinship(a.ID, b.ID), p.Relation(a.ID, b.ID); (k > 0) != (words != "") || words != p.Relation(b.ID, a.ID) {
					t.Fatalf("%s and %s: kinship %v, %q", a.ID, b.ID, k, words)
				}
			}
		}
	})
}

// herd makes n animals of overlapping generations: founders first, then animals
// with a mother and a father among the last few hundred.
func herd(n int, fathers int) []kinship.Animal {
	rnd := rand.New(rand.NewPCG(1, 2))
	list := make([]kinship.Animal, n)
	for i := range list {
		list[i].ID = husbandry.ID(fmt.Sprintf("A%05d", i))
		if i < 100 {
			continue
		}
		pick := func(among int) husbandry.ID {
			j := max(0, i-500) + rnd.IntN(min(i, 500))
			return list[j-j%among].ID
		}
		list[i].Mother, list[i].Father = pick(1), pick(fathers)
	}
	return list
}

// BenchmarkNew computes all coefficients of 10,000 animals: with few fathers,
// and with as many fathers as mothers, the slowest case.
func BenchmarkNew(b *testing.B) {
	for _, c := range []struct {
		words string
		every int
	}{{"one father in twenty animals", 20}, {"every animal a father", 1}} {
		list := herd(10_000, c.every)
		b.Run(c.words, func(b *testing.B) {
			for b.Loop() {
				if _, err := kinship.New(list); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkKinshipWithEverybody(b *testing.B) {
	list := herd(10_000, 20)
	p, err := kinship.New(list)
	if err != nil {
		b.Fatal(err)
	}
	var ids []husbandry.ID
	for _, a := range list {
		ids = append(ids, a.ID)
	}
	for b.Loop() {
		p.KinshipWith("A09999", ids)
	}
}

func TestTheWordsAboutAPairsYoung(t *testing.T) {
	full := func(id husbandry.ID, generations int) []kinship.Animal {
		var list []kinship.Animal
		var add func(husbandry.ID, int)
		add = func(id husbandry.ID, n int) {
			if n == 0 {
				return
			}
			list = append(list, kinship.Animal{ID: id, Mother: id + "m", Father: id + "f"})
			add(id+"m", n-1)
			add(id+"f", n-1)
		}
		add(id, generations)
		return list
	}
	for _, c := range []struct {
		words       string
		list        []kinship.Animal
		coefficient string
		reason      string
	}{
		{"nothing is recorded", nil, "at least 0", "no common ancestor is recorded"},
		{"grandparents are missing", animals([3]husbandry.ID{"F", "A", "B"}, [3]husbandry.ID{"M", "A", "B"}), "at least 0.25", "full siblings (parents A and B)"},
		{"two generations of each", append(full("F", 2), full("M", 2)...), "0", "no common ancestor is recorded"},
		{"one generation of one", append(full("F", 2), full("M", 1)...), "at least 0", "no common ancestor is recorded"},
		{"a group between them", []kinship.Animal{{ID: "F", Mother: "G"}, {ID: "M", Mother: "G"}, {ID: "G", Group: true}}, "about 0.125", "half siblings (common parent G), with the group G taken as one animal"},
	} {
		p, err := kinship.New(c.list)
		if err != nil {
			t.Fatal(err)
		}
		if y := p.Young("F", "M"); y.Coefficient() != c.coefficient || y.Reason() != c.reason {
			t.Errorf("%s: %s: %s", c.words, y.Coefficient(), y.Reason())
		}
	}
	if got := kinship.Coefficient(5. / 32); got != "0.1563" {
		t.Errorf("5/32 is written %s", got)
	}
}
