package house

import (
	"slices"
	"strings"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// reader is a person who gets the digest and may reply to it.
type reader struct {
	address string
	keeper  husbandry.ID // "" for one who gets everything
	sitter  bool         // a stand-in, who gets the tasks that cannot wait
	cover   *husbandry.Away
}

// all reports whether this reader gets every task.
func (r reader) all() bool { return r.keeper == "" && !r.sitter }

// has reports whether this reader gets a task. A task that belongs to no keeper
// goes to every keeper. A task that was handed over during a keeper's absence
// goes to all keepers but the absent one.
func (r reader) has(t *tasks.Task) bool {
	if r.sitter && (r.keeper == "" || t.Sitter) {
		return t.Sitter && t.Status != tasks.Lapsed
	}
	return r.keeper == "" || t.Keeper == "" && t.For != r.keeper || t.Keeper == r.keeper
}

// board returns the part of a board for this reader, with the numbers of the
// whole board.
func (r reader) board(b *tasks.Board) *tasks.Board {
	mine := &tasks.Board{On: b.On}
	for _, row := range b.Rows {
		if r.has(&row.Task) {
			mine.Rows = append(mine.Rows, row)
		}
	}
	return mine
}

func (r reader) tasks(all []tasks.Task) []tasks.Task {
	return slices.DeleteFunc(slices.Clone(all), func(t tasks.Task) bool { return !r.has(&t) })
}

// readers returns the recipients of a day's digest: the addresses of the
// settings, the keepers who share the work, and during an absence the stand-in.
func readers(s *Snapshot, on civil.Date) []reader {
	var list []reader
	add := func(r reader) {
		if !slices.ContainsFunc(list, func(o reader) bool { return sameAddress(o.address, r.address) }) {
			list = append(list, r)
		}
	}
	carers := make(map[string]husbandry.ID)
	for _, c := range s.records.Carers {
		if c.Mail != "" {
			carers[strings.ToLower(bareAddress(c.Mail))] = c.ID
		}
	}
	for _, to := range s.settings.Digest.To {
		add(reader{address: to, keeper: carers[strings.ToLower(bareAddress(to))]})
	}
	for _, c := range s.records.Carers {
		if c.Mail != "" {
			add(reader{address: c.Mail, keeper: c.ID})
		}
	}
	for i := range s.records.Away {
		if a := &s.records.Away[i]; a.Mail != "" && !on.Before(a.From) && !on.After(a.Until) {
			// If one of the keepers is the stand-in, this keeper's own tasks
			// stay in the digest as well.
			if i := slices.IndexFunc(list, func(o reader) bool { return sameAddress(o.address, a.Mail) }); i >= 0 {
				if list[i].keeper != "" {
					list[i].sitter, list[i].cover = true, a
				}
				continue
			}
			add(reader{address: a.Mail, sitter: true, cover: a})
		}
	}
	return list
}

func sameAddress(a, b string) bool { return strings.EqualFold(bareAddress(a), bareAddress(b)) }

// readerOf returns the reader who has the given address in a day's digest. ok
// is false if the digest does not go to that address, for example because its
// owner is no longer a keeper.
func readerOf(s *Snapshot, address string, on civil.Date) (reader, bool) {
	for _, r := range readers(s, on) {
		if sameAddress(r.address, address) {
			return r, true
		}
	}
	return reader{}, false
}

// replyFor is the number of days after an absence on which the replies of its
// stand-in still count.
const replyFor = 7 // days

// mayReply returns the addresses whose replies count: today's readers and
// recent stand-ins.
func mayReply(s *Snapshot) []string {
	var list []string
	for _, r := range readers(s, s.today) {
		list = append(list, bareAddress(r.address))
	}
	for _, a := range s.records.Away {
		if a.Mail != "" && !s.today.Before(a.From) && !s.today.After(a.Until.AddDays(replyFor)) {
			list = append(list, bareAddress(a.Mail))
		}
	}
	return list
}

// BoardOf returns one keeper's part of a board, with the numbers of the whole
// board.
func BoardOf(keeper husbandry.ID, b *tasks.Board) *tasks.Board {
	return reader{keeper: keeper}.board(b)
}

// TasksOf returns one keeper's part of some tasks.
func TasksOf(keeper husbandry.ID, all []tasks.Task) []tasks.Task {
	return reader{keeper: keeper}.tasks(all)
}
