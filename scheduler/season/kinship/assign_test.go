package kinship_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"nestround/scheduler/season/kinship"
	"nestround/tasks/husbandry"
)

// Two families: F1 and M1 are full siblings, and so are F2 and M2. F3 and M3
// are unrelated. F4 is the daughter of F3 and M3.
var colony = [][3]husbandry.ID{
	{"F1", "a", "b"}, {"M1", "a", "b"},
	{"F2", "c", "d"}, {"M2", "c", "d"},
	{"F3", "-", "-"}, {"M3", "-", "-"},
	{"F4", "F3", "M3"},
}

func written(p kinship.Plan) string {
	s := ""
	for _, m := range p.Matings {
		s += fmt.Sprintf("%s+%s %v ", m.Female, m.Male, m.Kinship)
	}
	return s + fmt.Sprint("without ", p.Without)
}

func TestAssign(t *testing.T) {
	p := pedigree(t, colony...)
	ids := func(list ...husbandry.ID) []husbandry.ID { return list }
	for _, c := range []struct {
		words string
		q     kinship.Season
		want  string
	}{
		{"nobody", kinship.Season{}, "without []"},
		{"no male", kinship.Season{Females: ids("F1"), Limit: 1}, "without [F1]"},
		{"brothers are avoided", kinship.Season{Females: ids("F1", "F2"), Males: ids("M1", "M2"), Limit: .125}, "F1+M2 0 F2+M1 0 without []"},
		{"a brother alone", kinship.Season{Females: ids("F1"), Males: ids("M1"), Limit: .125}, "without [F1]"},
		{"a brother within the limit", kinship.Season{Females: ids("F1"), Males: ids("M1"), Limit: .25}, "F1+M1 0.25 without []"},
		{"the minimum for all, not for each female", kinship.Season{Females: ids("F1", "F2"), Males: ids("M2", "M3"), Limit: 1, PerMale: 1}, "F1+M2 0 F2+M3 0 without []"},
		{"evenly", kinship.Season{Females: ids("F1", "F2", "F3"), Males: ids("M1", "M2", "M3"), Limit: .1}, "F1+M3 0 F2+M1 0 F3+M2 0 without []"},
		{"two to a male", kinship.Season{Females: ids("F1", "F2", "F3"), Males: ids("M3"), Limit: .1, PerMale: 2}, "F1+M3 0 F2+M3 0 without [F3]"},
		{"the closest relative gets no male", kinship.Season{Females: ids("F4", "F1"), Males: ids("M3"), Limit: 1, PerMale: 1}, "F1+M3 0 without [F4]"},
		{"settled pairs are kept and counted", kinship.Season{Females: ids("F1", "F2", "F3"), Males: ids("M1", "M2", "M3"), Limit: .1, PerMale: 1, Given: map[husbandry.ID]husbandry.ID{"F1": "M1", "F3": "M3"}}, "F1+M1 0.25 F3+M3 0 without [F2]"},
		{"a pair that is not possible", kinship.Season{Females: ids("F1"), Males: ids("M2", "M3"), Limit: .1, May: func(f, m husbandry.ID) bool { return m != "M2" }}, "F1+M3 0 without []"},
	} {
		if got := written(p.Assign(c.q)); got != c.want {
			t.Errorf("%s: %s, want %s", c.words, got, c.want)
		}
	}
}

// An unrelated male is preferred to a male with relatives in the season.
func TestTheLessRelatedMaleIsPreferred(t *testing.T) {
	p := pedigree(t, colony...)
	q := kinship.Season{Females: []husbandry.ID{"F1", "F3"}, Males: []husbandry.ID{"M1", "M2"}, Limit: .1, Given: map[husbandry.ID]husbandry.ID{"F1": "elsewhere"}}
	if got := written(p.Assign(q)); got != "F1+elsewhere 0 F3+M2 0 without []" {
		t.Error(got)
	}
}

// tryAll finds the best plan by trying every plan: it minimises the number of
// females without a male, then the sum of kinship.
func tryAll(p *kinship.Pedigree, q kinship.Season, i int, used map[husbandry.ID]int) (without int, sum float64) {
	if i == len(q.Females) {
		return 0, 0
	}
	without, sum = tryAll(p, q, i+1, used)
	without++
	for _, m := range q.Males {
		k := p.Kinship(q.Females[i], m)
		if kinship.Exceeds(k, q.Limit) || q.PerMale > 0 && used[m] >= q.PerMale {
			continue
		}
		used[m]++
		w, s := tryAll(p, q, i+1, used)
		used[m]--
		if w < without || w == without && s+k < sum {
			without, sum = w, s+k
		}
	}
	return without, sum
}

func TestAssignIsOptimal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := random(t)
		p, err := kinship.New(list)
		if err != nil {
			t.Fatal(err)
		}
		var q kinship.Season
		for _, a := range list {
			switch rapid.IntRange(0, 3).Draw(t, "sex") {
			case 0:
				if len(q.Females) < 5 {
					q.Females = append(q.Females, a.ID)
				}
			case 1:
				if len(q.Males) < 4 {
					q.Males = append(q.Males, a.ID)
				}
			}
		}
		q.Limit = rapid.SampledFrom([]float64{0, .0625, .125, .25, 1}).Draw(t, "limit")
		q.PerMale = rapid.IntRange(0, 3).Draw(t, "per male")
		plan := p.Assign(q)
		without, sum := tryAll(p, q, 0, make(map[husbandry.ID]int))
		got := 0.0
		used := make(map[husbandry.ID]int)
		for _, m := range plan.Matings {
			got += m.Kinship
			used[m.Male]++
			if kinship.Exceeds(m.Kinship, q.Limit) || q.PerMale > 0 && used[m.Male] > q.PerMale || m.Kinship != p.Kinship(m.Female, m.Male) {
				t.Fatalf("%+v is not allowed", m)
			}
		}
		if len(plan.Without) != without || math.Abs(got-sum) > 1e-7 || len(plan.Matings)+without != len(q.Females) {
			t.Fatalf("%d without and a sum of %v; %d and %v can be had: %s", len(plan.Without), got, without, sum, written(plan))
		}
		other := q
		other.Females, other.Males = slices.Clone(q.Females), slices.Clone(q.Males)
		slices.Reverse(other.Females)
		slices.Reverse(other.Males)
		if again := written(p.Assign(other)); again != written(plan) {
			t.Fatalf("in another order %s, not %s", again, written(plan))
		}
	})
}

func BenchmarkAssign(b *testing.B) {
	list := herd(5_000, 1)
	p, err := kinship.New(list)
	if err != nil {
		b.Fatal(err)
	}
	for _, n := range []int{30, 100, 300} {
		var q kinship.Season
		for i := range n {
			q.Females = append(q.Females, list[len(list)-1-2*i].ID)
			if i%3 == 0 {
				q.Males = append(q.Males, list[len(list)-2-2*i].ID)
			}
		}
		q.Limit, q.PerMale = .125, 5
		b.Run(fmt.Sprintf("females=%d", n), func(b *testing.B) {
			for b.Loop() {
				p.Assign(q)
			}
		})
	}
}
