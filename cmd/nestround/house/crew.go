package house

import (
	"slices"
	"strings"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// reader is somebody who gets the digest, and may answer it.
type reader struct {
	address string
	keeper  husbandry.ID // "" for one who gets everything
	sitter  bool         // stands in for the keeper, and gets what cannot wait
	cover   *husbandry.Away
}

// all reports whether everything is for this reader.
func (r reader) all() bool { return r.keeper == "" && !r.sitter }

// has reports whether a task is for this reader. What is nobody's in
// particular is for every keeper, but for one who is away and whose it would be.
func (r reader) has(t *tasks.Task) bool {
	if r.sitter && (r.keeper == "" || t.Sitter) {
		return t.Sitter && t.Status != tasks.Lapsed
	}
	return r.keeper == "" || t.Keeper == "" && t.For != r.keeper || t.Keeper == r.keeper
}

// board is what of a board is for this reader, with the numbers of the whole.
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

// readers are those to whom the digest of a day goes: the addresses of the
// settings, the keepers who share the work, and on days away who stands in.
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
			// One of the keepers who stands in for the others keeps what is theirs.
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

// readerOf is the one of an address for the digest of a day; one who is no
// longer a reader of it gets nothing of it.
func readerOf(s *Snapshot, address string, on civil.Date) (reader, bool) {
	for _, r := range readers(s, on) {
		if sameAddress(r.address, address) {
			return r, true
		}
	}
	return reader{}, false
}

// replyFor is how long after their days away the answers of a stand-in count.
const replyFor = 7 // days

// mayReply are the addresses whose answers count: the readers of today, and
// who stood in until lately.
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

// BoardOf is what of a board is one keeper's, with the numbers of the whole.
func BoardOf(keeper husbandry.ID, b *tasks.Board) *tasks.Board {
	return reader{keeper: keeper}.board(b)
}

// TasksOf are those of some tasks that are one keeper's.
func TasksOf(keeper husbandry.ID, all []tasks.Task) []tasks.Task {
	return reader{keeper: keeper}.tasks(all)
}
