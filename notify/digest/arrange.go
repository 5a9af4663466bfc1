package digest

import (
	"fmt"
	"slices"
	"strings"
)

// between separates the parts of a line, and never begins a line. The reply
// grammar does not accept this sign between a verb and its number.
const between = noBreak + "\u00b7 "

// arrange lays out o, which is already shortened. It groups consecutive tasks
// of the same subject under that subject, and joins the notes of an ordinary
// task into one line. It shows each caution in full at the first task that has
// it; later tasks refer to the number of that task. Tasks that are never
// shortened always keep their caution in full.
func (o outline) arrange() outline {
	told := make(map[string]int) // number of the task that has the caution in full
	tell := func(caution string, n int, always bool) (full, see string) {
		at := told[caution]
		switch {
		case caution == "":
			return "", ""
		case at > 0 && !always:
			// No line may begin at the number: the next words could turn it
			// into a command.
			return "", fmt.Sprint(cautionWord, noBreak, "see", noBreak, at)
		case at == 0 && n > 0:
			told[caution] = n
		}
		return caution, ""
	}
	o.Sections = slices.Clone(o.Sections)
	for i := range o.Sections {
		s := &o.Sections[i]
		s.Groups = slices.Clone(s.Groups)
		for j := range s.Groups {
			g := &s.Groups[j]
			g.Blocks = blocks(g.Items)
			for _, b := range g.Blocks {
				for k := range b.Items {
					it := &b.Items[k]
					it.Name = it.Title
					if b.Whom != "" {
						it.Name = it.do
					}
					it.Caution, it.See = tell(it.Caution, it.N, it.special)
					it.note()
					if !it.special && len(it.said) > 0 {
						numbered := anyNumber + it.Name + between + strings.Join(it.said, between)
						it.Flows, it.line = o.w.harmless(numbered), numbered[len(anyNumber):]
					}
				}
			}
			g.Runs = slices.Clone(g.Runs)
			for k := range g.Runs {
				r := &g.Runs[k]
				r.Caution, r.See = tell(r.Caution, r.first, false)
			}
		}
	}
	return o
}

// blocks groups the tasks of a room by subject. If no subject has two
// consecutive tasks, it makes one block without a heading: the full titles name
// the subjects and take less room than headings.
func blocks(items []item) []block {
	var all []block
	for i, it := range items {
		if it.do == "" {
			it.whom = ""
		}
		if i == 0 || it.whom != all[len(all)-1].Whom {
			all = append(all, block{Whom: it.whom})
		}
		last := &all[len(all)-1]
		last.Items = append(last.Items, it)
	}
	if !slices.ContainsFunc(all, func(b block) bool { return b.Whom != "" && len(b.Items) > 1 }) && len(items) > 0 {
		return []block{{Items: slices.Clone(items)}}
	}
	return all
}

// note sets the notes of an item, and the words said that follow the item's
// name: the status, the notes and the reference to a caution.
func (it *item) note() {
	said := make([]string, 0, len(it.Why)+3)
	if it.Status != "" {
		said = append(said, it.Status)
	}
	from := len(said)
	said = append(said, it.Why...)
	if it.Record != "" {
		said = append(said, it.Record)
	}
	it.Notes = said[from:len(said):len(said)]
	if it.See != "" {
		said = append(said, it.See)
	}
	it.said = said
}

// harmless reports whether s, a line with its number, contains no command,
// wherever a mail program breaks the line. s must be joined from strings that
// contain no command themselves.
func (w writer) harmless(s string) bool { return w.defuse(s) == s }
