package kinship

import (
	"slices"
	"strings"

	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Relation words the recorded relationship of two animals: "full siblings
// (parents F1 and M1)", "half siblings (common parent M1)", "F2 is the mother
// of M3", "common ancestors F1, M1", or "" if no common ancestor is recorded.
// If several relations hold, it returns the closest.
func (p *Pedigree) Relation(a, b husbandry.ID) string {
	a, b = min(a, b), max(a, b) // the order of the two does not matter
	i, knownA := p.index[a]
	j, knownB := p.index[b]
	if !knownA || !knownB {
		return ""
	}
	if i == j {
		return "one animal"
	}
	if words := p.lineage(i, j); words != "" {
		return words
	}
	if words := p.lineage(j, i); words != "" {
		return words
	}
	common := p.commonParents(i, j)
	switch len(common) {
	case 2:
		return "full siblings (parents " + english.List(p.names(common)) + ")"
	case 1:
		return "half siblings (common parent " + english.List(p.names(common)) + ")"
	}
	if words := p.sibling(i, j); words != "" {
		return words
	}
	if words := p.sibling(j, i); words != "" {
		return words
	}
	nearest := p.nearest(a, b)
	switch len(nearest) {
	case 0:
		return ""
	case 1:
		return "common ancestor " + english.List(p.names(nearest))
	}
	return "common ancestors " + strings.Join(p.names(nearest), ", ")
}

// lineage says, in words, whether the first animal is a parent or grandparent
// of the second; "" if not.
func (p *Pedigree) lineage(i, j int) string {
	up, down := string(p.ids[i]), string(p.ids[j])
	switch i {
	case p.mother[j]:
		return up + " is the mother of " + down
	case p.father[j]:
		return up + " is the father of " + down
	}
	for _, parent := range []int{p.mother[j], p.father[j]} {
		if parent < 0 {
			continue
		}
		switch i {
		case p.mother[parent]:
			return up + " is a grandmother of " + down
		case p.father[parent]:
			return up + " is a grandfather of " + down
		}
	}
	return ""
}

// sibling says, in words, whether the first animal is a sibling of a parent of
// the second; "" if not.
func (p *Pedigree) sibling(i, j int) string {
	best := 0
	var of int
	for _, parent := range []int{p.mother[j], p.father[j]} {
		if parent < 0 {
			continue
		}
		if n := len(p.commonParents(i, parent)); n > best {
			best, of = n, parent
		}
	}
	switch best {
	case 2:
		return string(p.ids[i]) + " is a full sibling of " + string(p.ids[of]) + ", a parent of " + string(p.ids[j])
	case 1:
		return string(p.ids[i]) + " is a half sibling of " + string(p.ids[of]) + ", a parent of " + string(p.ids[j])
	}
	return ""
}

// commonParents returns the known parents that the two animals share.
func (p *Pedigree) commonParents(i, j int) []int {
	var common []int
	for _, parent := range []int{p.mother[i], p.father[i]} {
		if parent >= 0 && (parent == p.mother[j] || parent == p.father[j]) && !slices.Contains(common, parent) {
			common = append(common, parent)
		}
	}
	return common
}

// nearest returns the nearest common ancestors. It leaves out the ancestors of
// these nearest ones, which are common ancestors only through them.
func (p *Pedigree) nearest(a, b husbandry.ID) []int {
	shared := p.shared(a, b)
	var list []int
	covered := make([]bool, len(shared))
	for i := len(shared) - 1; i >= 0; i-- {
		if !shared[i] && !covered[i] {
			continue
		}
		if !covered[i] {
			list = append(list, i)
		}
		for _, parent := range [2]int{p.mother[i], p.father[i]} {
			if parent >= 0 {
				covered[parent] = true
			}
		}
	}
	return list
}

// names returns the ids of animals, sorted.
func (p *Pedigree) names(animals []int) (ids []string) {
	for _, i := range animals {
		ids = append(ids, string(p.ids[i]))
	}
	slices.Sort(ids)
	return ids
}
