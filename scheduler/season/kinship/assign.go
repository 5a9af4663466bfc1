package kinship

import (
	"math"
	"slices"

	"nestround/tasks/husbandry"
)

// Season has the females and males to pair in a season, and the limits on
// pairs. The order of the lists does not matter.
type Season struct {
	Females, Males []husbandry.ID
	// Limit is the highest kinship of a pair, 0 to 1.
	Limit float64
	// PerMale is the most females for one male; 0 for no limit.
	PerMale int
	// Given has the settled pairs: female to male. These pairs are kept
	// whatever their kinship, and count towards PerMale.
	Given map[husbandry.ID]husbandry.ID
	// May reports whether a pair is possible for reasons other than kinship;
	// nil means that every pair is possible.
	May func(female, male husbandry.ID) bool
}

// Mating is a female and the male assigned to her.
type Mating struct {
	Female, Male husbandry.ID
	Kinship      float64 // the inbreeding coefficient of their young
}

// Plan assigns males to females.
type Plan struct {
	Matings []Mating       // sorted by female, with the settled ones
	Without []husbandry.ID // females without a male, sorted by id
	// Mean is the mean inbreeding coefficient of the young, with the same
	// number of young for each female; 0 if nobody is paired.
	Mean float64
}

// tolerance is the largest rounding error of a kinship, which is a sum of
// powers of a half over many generations.
const tolerance = 1e-9

// Exceeds reports whether a coefficient is above a limit by more than rounding
// errors.
func Exceeds(coefficient, limit float64) bool { return coefficient > limit+tolerance }

// cost is the cost of a plan. Costs are compared by their first part, then by
// the second. The first part counts females without a male, then adds the
// kinship of the pairs. The second part counts how unevenly the males are used,
// then adds their mean kinship to all animals. Within a part, the sum of the
// added kinships is always less than one unit of the count, up to 4,096
// females.
type cost struct{ first, second int64 }

func (c cost) plus(d cost) cost  { return cost{c.first + d.first, c.second + d.second} }
func (c cost) minus(d cost) cost { return cost{c.first - d.first, c.second - d.second} }
func (c cost) less(d cost) bool {
	return c.first < d.first || c.first == d.first && c.second < d.second
}

const (
	kinshipUnit = 1 << 28 // for a kinship of 1
	withoutUnit = 1 << 40
	meanUnit    = 1 << 20 // for a mean kinship of 1
	useUnit     = 1 << 33
)

// endless is larger than any sum of costs.
var endless = cost{first: math.MaxInt64 / 4}

// Assign assigns males so that as many females as possible have a male, and the
// mean inbreeding of the young is then minimal. Of equal plans it prefers one
// that uses the males evenly, then males with a low mean kinship to all animals
// of the season, because they carry rare genes (Ballou and Lacy 1995, in
// Population Management for Survival and Recovery, Columbia University Press).
// The plan is optimal to 4e-9 of kinship, and does not depend on the order of
// the lists. The time grows with the number of females times the square of the
// number of males.
func (p *Pedigree) Assign(q Season) Plan {
	females, males := sorted(q.Females), sorted(q.Males)
	everybody := slices.Concat(females, males)
	kin := make([][]float64, len(males)) // kinship by male, then female
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
	var open []int // females that still need a male
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
	none := len(males) // the last column means no male
	prices := make([][]cost, len(open))
	for row, i := range open {
		prices[row] = make([]cost, none+1)
		prices[row][none] = cost{first: withoutUnit}
		for j := range males {
			prices[row][j] = q.price(females[i], males[j], kin[j][i], mean[j])
		}
	}
	use := func(column, used int) cost {
		switch {
		case column == none:
			return cost{}
		case q.PerMale > 0 && taken[column]+used >= q.PerMale:
			return endless
		}
		return cost{second: int64(taken[column]+used+1) * useUnit}
	}
	for row, column := range cheapest(prices, none+1, use) {
		female := females[open[row]]
		if column == none {
			plan.Without = append(plan.Without, female)
			continue
		}
		plan.Matings = append(plan.Matings, Mating{female, males[column], kin[column][open[row]]})
	}
	slices.SortFunc(plan.Matings, func(a, b Mating) int { return compareIDs(a.Female, b.Female) })
	for _, m := range plan.Matings {
		plan.Mean += m.Kinship / float64(len(plan.Matings))
	}
	return plan
}

// price returns the price of a pair: their kinship, then the mean kinship of the
// male to all animals of the season.
func (q Season) price(female, male husbandry.ID, kin, mean float64) cost {
	if Exceeds(kin, q.Limit) || q.May != nil && !q.May(female, male) {
		return endless
	}
	return cost{int64(math.Round(kin * kinshipUnit)), int64(math.Round(mean * meanUnit))}
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

// cheapest assigns each row to a column so that the sum of the prices is
// minimal (successive shortest paths: Ahuja, Magnanti and Orlin 1993, Network
// Flows, chapter 9). use is the price of adding a row to a column that has used
// rows. It is endless if the column is full, and never falls as rows are added.
// cheapest adds the rows one by one, each along the cheapest chain in which a
// row makes room by moving to another column. So the assignment is minimal
// after every row. For every row some column must have room at a finite price.
func cheapest(prices [][]cost, columns int, use func(column, used int) cost) []int {
	a := assignment{prices: prices, use: use, in: make([][]int, columns), move: make([][]cost, columns), mover: make([][]int, columns)}
	for j := range columns {
		a.move[j], a.mover[j] = make([]cost, columns), make([]int, columns)
		a.reckon(j)
	}
	for row := range prices {
		a.add(row)
	}
	columnOf := make([]int, len(prices))
	for j, rows := range a.in {
		for _, row := range rows {
			columnOf[row] = j
		}
	}
	return columnOf
}

// assignment is the assignment of some rows to columns.
type assignment struct {
	prices [][]cost
	use    func(column, used int) cost
	in     [][]int // the rows of each column
	// move is the cheapest price of moving a row from one column to another,
	// and mover is that row.
	move  [][]cost
	mover [][]int
}

// reckon finds the cheapest moves from a column.
func (a *assignment) reckon(from int) {
	move := a.move[from]
	for to := range move {
		move[to] = endless
	}
	for _, row := range a.in[from] {
		for to, price := range a.prices[row] {
			if price == endless || to == from {
				continue
			}
			if c := price.minus(a.prices[row][from]); c.less(move[to]) {
				move[to], a.mover[from][to] = c, row
			}
		}
	}
}

// add assigns one more row, along the cheapest chain of moves.
func (a *assignment) add(row int) {
	reach, before := a.chains(row)
	end, least := -1, endless
	for j := range reach {
		if last := a.use(j, len(a.in[j])); reach[j] != endless && last != endless {
			if sum := reach[j].plus(last); sum.less(least) {
				end, least = j, sum
			}
		}
	}
	var changed []int
	for j := end; ; j = before[j] {
		changed = append(changed, j)
		from := before[j]
		if from < 0 {
			a.in[j] = append(a.in[j], row)
			break
		}
		moved := a.mover[from][j]
		a.in[from] = slices.DeleteFunc(a.in[from], func(r int) bool { return r == moved })
		a.in[j] = append(a.in[j], moved)
	}
	for _, j := range changed {
		a.reckon(j)
	}
}

// chains returns, for each column, the price of one more row in it if row
// starts the chain, and the column before it in the chain, or -1
// (Bellman-Ford).
func (a *assignment) chains(row int) (reach []cost, before []int) {
	reach, before = slices.Clone(a.prices[row]), make([]int, len(a.in))
	for j := range before {
		before[j] = -1
	}
	for better := true; better; {
		better = false
		for from := range reach {
			if reach[from] == endless {
				continue
			}
			for to, c := range a.move[from] {
				if c == endless {
					continue
				}
				if sum := reach[from].plus(c); sum.less(reach[to]) {
					reach[to], before[to], better = sum, from, true
				}
			}
		}
	}
	return reach, before
}
