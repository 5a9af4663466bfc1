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
// however the lists are ordered. The time it takes is about that of the number of
// females times the square of that of males.
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
	// The last column is no male at all.
	none := len(males)
	prices := make([][]cost, len(open))
	for row, i := range open {
		prices[row] = make([]cost, none+1)
		prices[row][none] = cost{first: withoutUnit}
		for j := range males {
			k := kin[j][i]
			if Exceeds(k, q.Limit) || q.May != nil && !q.May(females[i], males[j]) {
				prices[row][j] = endless
				continue
			}
			prices[row][j] = cost{int64(math.Round(k * kinshipUnit)), int64(math.Round(mean[j] * meanUnit))}
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

// cheapest gives each row a column so that the sum of the prices is least,
// where use is the price of one use more of a column that has some: endless
// when it is full, and else not less than the one before. One row after the
// other is entered along the cheapest chain of rows that make room for one
// another (successive shortest paths: Ahuja, Magnanti and Orlin 1993, Network
// Flows, chapter 9), which keeps what there is the cheapest. Some column must
// have room for every row at a price that is not endless.
func cheapest(prices [][]cost, columns int, use func(column, used int) cost) []int {
	in := make([][]int, columns) // the rows of each column
	// move is the cheapest price of moving a row from one column to another,
	// and mover that row.
	move, mover := make([][]cost, columns), make([][]int, columns)
	reckon := func(from int) {
		for to := range columns {
			move[from][to] = endless
		}
		for _, row := range in[from] {
			for to, price := range prices[row] {
				if price == endless || to == from {
					continue
				}
				if c := price.minus(prices[row][from]); c.less(move[from][to]) {
					move[from][to], mover[from][to] = c, row
				}
			}
		}
	}
	for j := range columns {
		move[j], mover[j] = make([]cost, columns), make([]int, columns)
		reckon(j)
	}
	before := make([]int, columns)
	for row := range prices {
		// Bellman and Ford: what it costs that one row more is in a column.
		reach := slices.Clone(prices[row])
		for j := range before {
			before[j] = -1
		}
		for better := true; better; {
			better = false
			for from := range columns {
				if reach[from] == endless {
					continue
				}
				for to, c := range move[from] {
					if c == endless {
						continue
					}
					if sum := reach[from].plus(c); sum.less(reach[to]) {
						reach[to], before[to], better = sum, from, true
					}
				}
			}
		}
		end, least := -1, endless
		for j := range columns {
			if last := use(j, len(in[j])); reach[j] != endless && last != endless {
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
				in[j] = append(in[j], row)
				break
			}
			moved := mover[from][j]
			in[from] = slices.DeleteFunc(in[from], func(r int) bool { return r == moved })
			in[j] = append(in[j], moved)
		}
		for _, j := range changed {
			reckon(j)
		}
	}
	columnOf := make([]int, len(prices))
	for j, rows := range in {
		for _, row := range rows {
			columnOf[row] = j
		}
	}
	return columnOf
}
