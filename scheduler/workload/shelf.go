package workload

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Shelf keeps the days that plans of fortnights chose, from one planner to the
// next one. Days that the shelf has lost are computed again, with the same
// result. Several goroutines may use a Shelf at once.
type Shelf interface {
	// Load returns the bytes that Keep stored for the fortnight that begins on
	// a Monday. It returns false if none were stored with the same key.
	Load(monday civil.Date, key [sha256.Size]byte) ([]byte, bool)
	// Keep stores b for the fortnight, in place of the bytes that were stored
	// for this fortnight before.
	Keep(monday civil.Date, key [sha256.Size]byte, b []byte)
}

// shelved is a Shelf as a planner uses it.
type shelved struct {
	Shelf
	source  string
	digests map[int]tasks.Digest // by number of the block: digest of the history before its Monday
}

// With makes p use a shelf, and returns p. source identifies everything that
// plans depend on besides the history, the latitude and the wishes: the
// records, the zone data and the build of the program.
func (p *Planner) With(s Shelf, source string) *Planner {
	p.shelf = &shelved{s, source, make(map[int]tasks.Digest)}
	return p
}

// look computes the digests that a plan of the latest fortnight may need. One
// pass through the history is enough for all digests.
func (p *Planner) look(latest int) {
	if p.shelf == nil {
		return
	}
	var blocks []int
	var mondays []civil.Date
	p.mu.Lock()
	defer p.mu.Unlock()
	for n := latest - lookBack - linked + 1; n <= latest; n++ {
		if _, ok := p.shelf.digests[n]; !ok {
			blocks, mondays = append(blocks, n), append(mondays, monday(n))
		}
	}
	digests, err := p.in.History.Digests(mondays)
	if err != nil {
		return // without a digest, nothing is stored on the shelf
	}
	for i, n := range blocks {
		p.shelf.digests[n] = digests[i]
	}
}

// key identifies everything that the plan of a fortnight is made from; ok is
// false if something of this is not known.
func (p *Planner) key(n int) (key [sha256.Size]byte, ok bool) {
	if p.shelf == nil {
		return key, false
	}
	p.mu.Lock()
	digest, ok := p.shelf.digests[n]
	p.mu.Unlock()
	w := p.wishes
	text := fmt.Sprintf("%q %v %d %d %d", p.shelf.source, p.in.Latitude, n, w.Minutes, w.Settled)
	for _, d := range w.DaysOff {
		text += fmt.Sprintf(" off %d", d)
	}
	for _, a := range w.Away {
		text += fmt.Sprintf(" away %s %s", a.From, a.Until)
	}
	return sha256.Sum256(append([]byte(text), digest[:]...)), ok
}

// kept returns the days that were chosen on a fortnight's Monday from the
// shelf. If the shelf does not have them, kept calls work and stores the
// result.
func (p *Planner) kept(n int, work func() *days) *days {
	key, ok := p.key(n)
	if !ok {
		return work()
	}
	if b, ok := p.shelf.Load(monday(n), key); ok {
		if d, err := readDays(b, monday(n)); err == nil {
			return d
		}
	}
	d := work()
	p.shelf.Keep(monday(n), key, d.append(nil, monday(n)))
	return d
}

// append appends d to b: dates as days since a Monday, and chains and single
// tasks in order. So equal days give equal bytes.
func (d *days) append(b []byte, from civil.Date) []byte {
	text := func(id husbandry.ID) {
		b = binary.AppendUvarint(b, uint64(len(id)))
		b = append(b, id...)
	}
	date := func(d civil.Date) { b = binary.AppendVarint(b, int64(d.Sub(from))) }
	b = binary.AppendUvarint(b, uint64(len(d.chains)))
	for _, c := range slices.SortedFunc(maps.Keys(d.chains), chain.compare) {
		text(c.subject)
		text(c.routine)
		b = binary.AppendUvarint(b, uint64(len(d.chains[c])))
		for _, day := range d.chains[c] {
			date(day)
		}
	}
	b = binary.AppendUvarint(b, uint64(len(d.alone)))
	for _, s := range slices.SortedFunc(maps.Keys(d.alone), single.compare) {
		text(s.subject)
		text(s.routine)
		date(s.date)
		date(d.alone[s])
	}
	return b
}

func (c chain) compare(o chain) int {
	if n := strings.Compare(string(c.subject), string(o.subject)); n != 0 {
		return n
	}
	return strings.Compare(string(c.routine), string(o.routine))
}

func (s single) compare(o single) int {
	if n := s.chain.compare(o.chain); n != 0 {
		return n
	}
	return s.date.Compare(o.date)
}

var errDays = errors.New("these are no chosen days")

// readDays reads the bytes that days.append wrote.
func readDays(b []byte, from civil.Date) (d *days, err error) {
	number := func() uint64 {
		v, n := binary.Uvarint(b)
		if n <= 0 {
			err = errDays
			return 0
		}
		b = b[n:]
		return v
	}
	text := func() husbandry.ID {
		n := number()
		if n > uint64(len(b)) {
			err = errDays
			return ""
		}
		s := husbandry.ID(b[:n])
		b = b[n:]
		return s
	}
	date := func() civil.Date {
		v, n := binary.Varint(b)
		if n <= 0 || v < -1<<20 || v > 1<<20 {
			err = errDays
			return from
		}
		b = b[n:]
		return from.AddDays(int(v))
	}
	d = &days{chains: make(map[chain][]civil.Date), alone: make(map[single]civil.Date)}
	for n := number(); n > 0 && err == nil; n-- {
		c := chain{text(), text()}
		for m := number(); m > 0 && err == nil; m-- {
			d.chains[c] = append(d.chains[c], date())
		}
	}
	for n := number(); n > 0 && err == nil; n-- {
		s := single{chain{text(), text()}, date()}
		d.alone[s] = date()
	}
	if len(b) > 0 && err == nil {
		err = errDays
	}
	return d, err
}
