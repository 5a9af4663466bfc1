package tasks

import "strings"

// layers is a list in two parts. base comes from the [Folder] behind a history;
// several histories share base, and nobody changes it. own has the later
// elements. Places count from 0 through both parts.
type layers[T any] struct{ base, own []T }

func (l *layers[T]) len() int32 { return int32(len(l.base) + len(l.own)) }

func (l *layers[T]) at(i int32) *T {
	if int(i) < len(l.base) {
		return &l.base[i]
	}
	return &l.own[int(i)-len(l.base)]
}

func (l *layers[T]) add(v T) (at int32) {
	l.own = append(l.own, v)
	return l.len() - 1
}

// onto returns an empty list that continues l.
func (l *layers[T]) onto() layers[T] {
	return layers[T]{base: l.own[:len(l.own):len(l.own)]}
}

// names numbers texts in the order of their first use. It stores a copy of each
// text: a text that was read from a file is a part of that file's text, and
// would keep all of it in memory.
type names struct {
	list      layers[string]
	base, own map[string]int32
}

// number returns the number of a text; ok is false if the text has none.
func (n *names) number(s string) (int32, bool) {
	if i, ok := n.own[s]; ok {
		return i, true
	}
	i, ok := n.base[s]
	return i, ok
}

// intern returns the number of a text. A new text gets the next number.
func (n *names) intern(s string) int32 {
	i, ok := n.number(s)
	if !ok {
		if n.own == nil {
			n.own = make(map[string]int32)
		}
		s = strings.Clone(s)
		i = n.list.add(s)
		n.own[s] = i
	}
	return i
}

func (n *names) of(i int32) string { return *n.list.at(i) }

func (n *names) onto() names { return names{list: n.list.onto(), base: n.own} }
