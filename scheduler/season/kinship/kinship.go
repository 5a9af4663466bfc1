// Package kinship computes from recorded parents how closely animals are
// related. The kinship of a pair is the inbreeding coefficient that its young
// would have. The package also assigns a male to each female so that the young
// are as little inbred as possible.
//
// Start with [New]; then use [Pedigree.Kinship] and [Pedigree.Relation], or
// [Pedigree.Assign] for a season. The coefficients are those of Wright 1922
// (American Naturalist 56:330-338) and Malécot, exact for the recorded
// pedigree. An unrecorded parent counts as an unrelated founder, so a
// coefficient is a lower bound if ancestors are missing.
// [Pedigree.DepthOfYoung] tells how many generations are recorded. All
// coefficients of an animal are computed with the indirect method of Colleau
// 2002 (Genetics Selection Evolution 34:409-421), which walks through the
// pedigree twice and never builds the matrix of all pairs.
//
// The package ignores genes, and the effect of inbreeding on a species: the
// keeper decides how much is too much.
package kinship

import (
	"fmt"
	"slices"
	"strings"

	"nestround/tasks/husbandry"
)

// Animal is one animal of a pedigree, with its recorded parents.
type Animal struct {
	ID             husbandry.ID
	Mother, Father husbandry.ID // "" if not known
	// Group says that the record stands for several animals kept as one. As a
	// parent, a group counts as a single animal, so its young seem more closely
	// related than they are: see [Pedigree.Groups].
	Group bool
}

// Pedigree is a set of animals with their parents. Make a Pedigree with [New];
// it does not change afterwards.
type Pedigree struct {
	ids   []husbandry.ID // parents before their young
	index map[husbandry.ID]int
	// One entry per animal, in the order of ids. The index of an unknown parent
	// is -1.
	mother, father []int
	group          []bool
	generation     []int     // 0 for founders, else one more than the younger parent's
	f              []float64 // inbreeding coefficient
	d              []float64 // Mendelian sampling variance
	depth          []Depth
}

// The limits of loops. Each loop may have all animals, so a hostile pedigree
// would fill the memory with its loops.
const (
	maxLoops = 20 // loops that are listed
	longLine = 50 // animals of a loop that are named
)

// LoopError says that an animal is recorded as its own ancestor.
type LoopError struct {
	// Line goes from a child to its parent, to the parent's parent, and so on.
	// The last animal is the first again.
	Line []husbandry.ID
}

// Error names the animals of the line, in order.
func (e *LoopError) Error() string {
	return fmt.Sprintf("%s is its own ancestor: %s", e.Line[0], e.Words())
}

// Words writes the line as "F1, child of F2, child of F1". It leaves out the
// middle of a very long line.
func (e *LoopError) Words() string {
	names := e.Line
	if more := len(names) - longLine; more > 0 {
		first, last := names[:longLine/2], names[longLine/2+more:]
		names = slices.Concat(first, []husbandry.ID{husbandry.ID(fmt.Sprintf("(%d more)", more))}, last)
	}
	var b strings.Builder
	for i, id := range names {
		if i > 0 {
			b.WriteString(", child of ")
		}
		b.WriteString(string(id))
	}
	return b.String()
}

// New makes the pedigree of some animals. A parent that is not among them
// counts as a founder. If several animals have the same id, the first counts.
// If an animal is its own ancestor, New returns a *LoopError and no pedigree;
// [Loops] finds all such animals.
func New(animals []Animal) (*Pedigree, error) {
	p, known, loops := sort(animals)
	if len(loops) > 0 {
		return nil, loops[0]
	}
	n := len(p.ids)
	p.mother, p.father = make([]int, n), make([]int, n)
	p.group, p.generation, p.depth = make([]bool, n), make([]int, n), make([]Depth, n)
	for i, id := range p.ids {
		p.mother[i], p.father[i] = -1, -1
		a := known[id]
		if a == nil {
			continue
		}
		p.group[i] = a.Group
		if a.Mother != "" {
			p.mother[i] = p.index[a.Mother]
		}
		if a.Father != "" {
			p.father[i] = p.index[a.Father]
		}
		for _, parent := range []int{p.mother[i], p.father[i]} {
			if parent >= 0 {
				p.generation[i] = max(p.generation[i], p.generation[parent]+1)
			}
		}
		p.depth[i] = p.depthOf(p.mother[i], p.father[i])
	}
	p.inbreed()
	return p, nil
}

// Loops returns the lines that lead from an animal back to the same animal. Two
// loops may share some links, but not all. The list ends after 20 loops. It is
// empty for animals from which [New] can make a pedigree without an error.
func Loops(animals []Animal) []*LoopError {
	_, _, loops := sort(animals)
	return loops
}

// sort makes a pedigree with ids and index only, parents before their young. It
// uses a stack instead of recursion, because a line may be thousands of
// generations long.
func sort(animals []Animal) (p *Pedigree, known map[husbandry.ID]*Animal, loops []*LoopError) {
	p = &Pedigree{index: make(map[husbandry.ID]int, len(animals))}
	known = make(map[husbandry.ID]*Animal, len(animals))
	var order []husbandry.ID
	for i := range animals {
		a := &animals[i]
		if _, twice := known[a.ID]; a.ID == "" || twice {
			continue
		}
		known[a.ID] = a
		order = append(order, a.ID)
	}
	type link struct{ child, parent husbandry.ID }
	cut := make(map[link]bool)             // the last link of each loop
	onTheWay := make(map[husbandry.ID]int) // places in the stack
	var stack []husbandry.ID
	// next returns a parent that must come before the animal in ids.
	next := func(id husbandry.ID) (husbandry.ID, bool) {
		a := known[id]
		if a == nil {
			return "", false
		}
		for _, parent := range []husbandry.ID{a.Mother, a.Father} {
			if _, done := p.index[parent]; parent == "" || done || cut[link{id, parent}] {
				continue
			}
			if from, yes := onTheWay[parent]; yes {
				cut[link{id, parent}] = true
				if len(loops) < maxLoops {
					loops = append(loops, &LoopError{Line: append(slices.Clone(stack[from:]), parent)})
				}
				continue
			}
			return parent, true
		}
		return "", false
	}
	for _, id := range order {
		if _, done := p.index[id]; done {
			continue
		}
		// Push one parent at a time, so that the stack is the line of descent.
		stack = append(stack[:0], id)
		for len(stack) > 0 {
			id := stack[len(stack)-1]
			onTheWay[id] = len(stack) - 1
			if parent, waits := next(id); waits {
				stack = append(stack, parent)
				continue
			}
			p.index[id] = len(p.ids)
			p.ids = append(p.ids, id)
			delete(onTheWay, id)
			stack = stack[:len(stack)-1]
		}
	}
	return p, known, loops
}

// inbreed computes every inbreeding coefficient, generation by generation. An
// animal's coefficient is the kinship of its parents, half their entry in the
// relationship matrix. One column of the matrix serves all mates of a father at
// once. So it needs two walks through the older part of the pedigree for each
// father and generation.
func (p *Pedigree) inbreed() {
	n := len(p.ids)
	p.f, p.d = make([]float64, n), make([]float64, n)
	// The coefficient of a founder is 0. The other animals wait for their
	// generation.
	type family struct{ father, generation int }
	young := make(map[family][]int)
	var families []family
	for i := range p.ids {
		p.d[i] = 1
		if p.mother[i] < 0 || p.father[i] < 0 {
			continue
		}
		k := family{p.father[i], p.generation[i]}
		if young[k] == nil {
			families = append(families, k)
		}
		young[k] = append(young[k], i)
	}
	slices.SortFunc(families, func(a, b family) int {
		if a.generation != b.generation {
			return a.generation - b.generation
		}
		return a.father - b.father
	})
	// To compute d of an animal, the f of its parents must be known. The
	// parents are in earlier generations.
	byGeneration := make([][]int, 0)
	for i, g := range p.generation {
		for len(byGeneration) <= g {
			byGeneration = append(byGeneration, nil)
		}
		byGeneration[g] = append(byGeneration[g], i)
	}
	column := make([]float64, n)
	next := 0
	for g, members := range byGeneration {
		for ; next < len(families) && families[next].generation == g; next++ {
			father := families[next].father
			members := young[families[next]]
			last := father
			for _, i := range members {
				last = max(last, p.mother[i])
			}
			p.relationships(father, column[:last+1])
			for _, i := range members {
				p.f[i] = column[p.mother[i]] / 2
			}
		}
		for _, i := range members {
			p.d[i] = p.sampling(i)
		}
	}
}

// sampling returns the Mendelian sampling variance of an animal: the diagonal
// of D in the relationship matrix T D T' (Henderson 1976, Biometrics 32:69-83).
func (p *Pedigree) sampling(i int) float64 {
	d := 1.0
	for _, parent := range []int{p.mother[i], p.father[i]} {
		if parent >= 0 {
			d -= (1 + p.f[parent]) / 4
		}
	}
	return d
}

// relationships fills column with the additive relationships (twice the
// kinship) of an animal to the first len(column) animals: T D T' times the unit
// vector of the animal, without building the matrices (Colleau 2002).
func (p *Pedigree) relationships(animal int, column []float64) {
	clear(column)
	column[animal] = 1
	// Multiply by T': add up over the descendants of each animal.
	for i := animal; i >= 0; i-- {
		if column[i] == 0 {
			continue
		}
		for _, parent := range [2]int{p.mother[i], p.father[i]} {
			if parent >= 0 {
				column[parent] += column[i] / 2
			}
		}
	}
	// Multiply by D, then by T: add up over the ancestors of each animal.
	for i := range column {
		v := column[i] * p.d[i]
		if m := p.mother[i]; m >= 0 {
			v += column[m] / 2
		}
		if f := p.father[i]; f >= 0 {
			v += column[f] / 2
		}
		column[i] = v
	}
}

// Kinship returns the kinship (coancestry) of two animals, 0 to 1. It is the
// inbreeding coefficient that their young would have. The kinship of an animal
// with itself is (1 + F) / 2, where F is its inbreeding coefficient. The
// kinship is 0 if an animal is not in the pedigree.
func (p *Pedigree) Kinship(a, b husbandry.ID) float64 {
	i, knownA := p.index[a]
	j, knownB := p.index[b]
	if !knownA || !knownB {
		return 0
	}
	if i != j && p.generation[i] == 0 && p.generation[j] == 0 {
		return 0 // the frequent case of two founders
	}
	column := make([]float64, max(i, j)+1)
	p.relationships(i, column)
	return column[j] / 2
}

// KinshipWith returns the kinship of the animal a with each of the others, in
// one computation.
func (p *Pedigree) KinshipWith(a husbandry.ID, others []husbandry.ID) []float64 {
	list := make([]float64, len(others))
	i, known := p.index[a]
	if !known {
		return list
	}
	column := make([]float64, len(p.ids))
	p.relationships(i, column)
	for k, other := range others {
		if j, ok := p.index[other]; ok {
			list[k] = column[j] / 2
		}
	}
	return list
}

// Depth tells how many generations of an animal's ancestors are recorded. The
// parents are the first generation.
type Depth struct {
	// Complete is the number of generations of which every ancestor is known.
	Complete int
	// Deepest is the number of generations back to the earliest known ancestor.
	Deepest int
	// Equivalent is the number of equivalent complete generations: the sum,
	// over all known ancestors, of the share of genes from each (Maignel,
	// Boichard and Verrier 1996, Interbull Bulletin 14:49-54).
	Equivalent float64
}

// DepthOfYoung returns the depth that a pair's young would have. If Complete is
// small, their coefficient is a lower bound: the parents may share an ancestor
// that nobody recorded.
func (p *Pedigree) DepthOfYoung(mother, father husbandry.ID) Depth {
	m, knownM := p.index[mother]
	f, knownF := p.index[father]
	if !knownM {
		m = -1
	}
	if !knownF {
		f = -1
	}
	return p.depthOf(m, f)
}

func (p *Pedigree) depthOf(mother, father int) Depth {
	var d Depth
	complete := true
	for _, parent := range []int{mother, father} {
		if parent < 0 {
			complete = false
			continue
		}
		d.Deepest = max(d.Deepest, p.depth[parent].Deepest+1)
		d.Equivalent += (1 + p.depth[parent].Equivalent) / 2
	}
	if complete {
		d.Complete = 1 + min(p.depth[mother].Complete, p.depth[father].Complete)
	}
	return d
}

// Groups returns the groups that a pair shares as ancestors, sorted by id. An
// animal counts as its own ancestor here. Each group counted as one animal, so
// the part of the kinship that comes through groups is an upper bound.
func (p *Pedigree) Groups(a, b husbandry.ID) []husbandry.ID {
	both := p.shared(a, b)
	var groups []husbandry.ID
	for i, yes := range both {
		if yes && p.group[i] {
			groups = append(groups, p.ids[i])
		}
	}
	slices.Sort(groups)
	return groups
}

// shared marks the common ancestors of a and b. An animal counts as its own
// ancestor here.
func (p *Pedigree) shared(a, b husbandry.ID) []bool {
	i, knownA := p.index[a]
	j, knownB := p.index[b]
	if !knownA || !knownB {
		return nil
	}
	mark := func(animal int) []bool {
		in := make([]bool, max(i, j)+1)
		in[animal] = true
		for k := animal; k >= 0; k-- {
			if !in[k] {
				continue
			}
			for _, parent := range [2]int{p.mother[k], p.father[k]} {
				if parent >= 0 {
					in[parent] = true
				}
			}
		}
		return in
	}
	of, also := mark(i), mark(j)
	for k := range of {
		of[k] = of[k] && also[k]
	}
	return of
}
