package kinship

import (
	"math"
	"slices"

	"nestround/tasks/husbandry"
)

// Season is the question whom to pair in a season. The order of the lists
// does not matter.
type Season struct {
	Females, Males []husbandry.ID
	// Limit is the highest kinship a pair may have, 0 to 1.
	Limit float64
	// PerMale is the most females that one male is given; 0 for no limit.
	PerMale int
	// Given are pairs that are settled: female to male. They are kept whatever
	// their kinship, and count for the male's number.
	Given map[husbandry.ID]husbandry.ID
	// May tells whether a pair can be made for other reasons; nil for always.
	May func(female, male husbandry.ID) bool
}

// Mating is a female and the male she is given.
type Mating struct {
	Female, Male husbandry.ID
	Kinship      float64 // the inbreeding coefficient of their young
}

// Plan is who is paired with whom.
type Plan struct {
	Matings []Mating       // by female; the settled ones are among them
	Without []husbandry.ID // females for whom there is no male, by id
	// Mean is the mean inbreeding coefficient of the young, one litter a
	// female; 0 where nobody is paired.
	Mean float64
}

// tolerance is what rounding may add to a kinship, which is a sum of powers of
// a half, over many generations.
const tolerance = 1e-9

// Exceeds reports whether a coefficient is above a limit, by more than
// rounding may make it.
func Exceeds(coefficient, limit float64) bool { return coefficient > limit+tolerance }

// cost is compared by its first part and then by its second. The first is the
// number of females without a male and then the kinship, the second how evenly
// the males are used and then their mean kinship to everybody; each fits below
// the next for 4,096 females.
type cost struct{ first, second int64 }

func (c cost) plus(d cost) cost  { return cost{c.first + d.first, c.second + d.second} }
func (c cost) minus(d cost) cost { return cost{c.first - d.first, c.second - d.second} }
func (c cost) less(d cost) bool {
	return c.first < d.first || c.first == d.first && c.second < d.second
}

const (
	kinshipUnit = 1 << 28 // of a kinship of 1
	withoutUnit = 1 << 40
	meanUnit    = 1 << 20 // of a mean kinship of 1
	useUnit     = 1 << 33
)

// endless is more than any sum of costs.
var endless = cost{first: math.MaxInt64 / 4}

// Assign gives each female a male such that as many females as possible have
// one and the mean inbreeding of the young is the least there is. Among equals
// the males are used evenly, and those are preferred whose mean kinship to all
// animals of the season is low, because they carry what others do not (Ballou
// and Lacy 1995, in Population Management for Survival and Recovery, Columbia
// University Press). The answer is exact, to 4e-9 of kinship, and the same
// however the lists are ordered. It takes the time of the number of females
// squared times that of males.
func (p *Pedigree) Assign(q Season) Plan {
	females, males := sorted(q.Females), sorted(q.Males)
	everybody := slices.Concat(females, males)
	kin := make([][]float64, len(males)) // by male, then female
	mean := make([]float64, len(males))
	for j, male := range males {
		all := p.KinshipWith(male, everybody)
		kin[j] = all[:len(females)]
		for _, k := range all {
			mean[j] += k / float64(len(all))
		}
	}
	taken := make([]int, len(males))
	var plan Plan
	var open []int // females to be given a male
	for i, female := range females {
		given, settled := q.Given[female]
		if !settled {
			open = append(open, i)
			continue
		}
		plan.Matings = append(plan.Matings, Mating{female, given, p.Kinship(female, given)})
		if j, ok := slices.BinarySearch(males, given); ok {
			taken[j]++
		}
	}
	// A column is one use of one male, and the last ones are of none.
	type use struct{ male, nth int }
	var uses []use
	for j := range males {
		most := len(females)
		if q.PerMale > 0 {
			most = min(most, q.PerMale)
		}
		for n := taken[j]; n < most && n < taken[j]+len(open); n++ {
			uses = append(uses, use{j, n + 1})
		}
	}
	price := func(row, column int) cost {
		if column >= len(uses) {
			return cost{first: withoutUnit}
		}
		i, u := open[row], uses[column]
		k := kin[u.male][i]
		if Exceeds(k, q.Limit) || q.May != nil && !q.May(females[i], males[u.male]) {
			return endless
		}
		return cost{
			first:  int64(math.Round(k * kinshipUnit)),
			second: int64(u.nth)*useUnit + int64(math.Round(mean[u.male]*meanUnit)),
		}
	}
	for row, column := range cheapest(len(open), len(uses)+len(open), price) {
		female := females[open[row]]
		if column >= len(uses) {
			plan.Without = append(plan.Without, female)
			continue
		}
		j := uses[column].male
		plan.Matings = append(plan.Matings, Mating{female, males[j], kin[j][open[row]]})
	}
	slices.SortFunc(plan.Matings, func(a, b Mating) int { return compareIDs(a.Female, b.Female) })
	for _, m := range plan.Matings {
		plan.Mean += m.Kinship / float64(len(plan.Matings))
	}
	return plan
}

func sorted(ids []husbandry.ID) []husbandry.ID {
	list := slices.Clone(ids)
	slices.Sort(list)
	return slices.Compact(list)
}

func compareIDs(a, b husbandry.ID) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// cheapest gives each row a column of its own so that the sum of the prices is
// least: the Hungarian method as shortest augmenting paths, one row at a time
// (Jonker and Volgenant 1987, Computing 38:325-340). There are at least as
// many columns as rows, and some choice is not endless.
func cheapest(rows, columns int, price func(row, column int) cost) []int {
	rowOf := make([]int, columns) // -1: free
	for j := range rowOf {
		rowOf[j] = -1
	}
	u, v := make([]cost, rows), make([]cost, columns)
	dist, from := make([]cost, columns), make([]int, columns)
	done := make([]bool, columns)
	for row := range rows {
		for j := range columns {
			dist[j], from[j], done[j] = endless, -1, false
		}
		// Dijkstra over columns; i is the row that the last column belongs to,
		// and last that column.
		i, last, far := row, -1, cost{}
		var path []int
		for {
			best := -1
			for j := range columns {
				if done[j] {
					continue
				}
				if c := price(i, j); c != endless {
					if d := far.plus(c).minus(u[i]).minus(v[j]); d.less(dist[j]) {
						dist[j], from[j] = d, last
					}
				}
				if best < 0 || dist[j].less(dist[best]) {
					best = j
				}
			}
			done[best] = true
			far, last = dist[best], best
			if rowOf[best] < 0 {
				break
			}
			path = append(path, best)
			i = rowOf[best]
		}
		u[row] = u[row].plus(far)
		for _, j := range path {
			u[rowOf[j]] = u[rowOf[j]].plus(far.minus(dist[j]))
			v[j] = v[j].minus(far.minus(dist[j]))
		}
		for j := last; ; {
			before := from[j]
			if before < 0 {
				rowOf[j] = row
				break
			}
			rowOf[j] = rowOf[before]
			j = before
		}
	}
	columnOf := make([]int, rows)
	for j, row := range rowOf {
		if row >= 0 {
			columnOf[row] = j
		}
	}
	return columnOf
}
