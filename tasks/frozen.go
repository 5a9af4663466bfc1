package tasks

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"nestround/tasks/civil"
)

// AppendBinary appends the stored form of f to b, for [Thaw]. The form carries
// no version, so only the same build of the program may read the form. It
// carries no checksum either: the caller has to make sure that the bytes are
// undamaged.
//
// The form has the acts but not the references between them; Thaw makes the
// references again. An act takes about eight bytes.
func (f *Folder) AppendBinary(b []byte) ([]byte, error) {
	w := writer{b}
	x := &f.f
	w.strings(x.texts.list.own)
	w.strings(x.names.list.own)
	if err := w.details(x.details.own); err != nil {
		return nil, err
	}
	w.acts(x.acts.own)
	dropped, err := json.Marshal(x.dropped)
	if err != nil {
		return nil, fmt.Errorf("store what was dropped: %w", err)
	}
	w.text(string(dropped))
	w.uint(uint64(len(x.quoted)))
	for q := range x.quoted {
		w.text(q.digest)
		w.text(q.text)
	}
	w.date(x.first)
	w.date(x.latest)
	w.int(x.lastAt.Unix())
	w.int(int64(x.lastAt.Nanosecond()))
	w.text(x.lastID)
	w.uint(uint64(len(f.backs)))
	for _, b := range f.backs {
		w.text(b.id)
		w.strings(b.of)
	}
	return w.b, nil
}

// Thaw returns the Folder that [Folder.AppendBinary] wrote to b. The Folder
// keeps no part of b.
func Thaw(b []byte) (*Folder, error) {
	r := reader{b: b}
	f := new(Folder)
	x := &f.f
	for _, n := range []*names{&x.texts, &x.names} {
		n.list.own = r.strings()
		n.own = make(map[string]int32, len(n.list.own))
		for i, s := range n.list.own {
			n.own[s] = int32(i)
		}
	}
	details := r.details()
	r.acts(x, details)
	if err := json.Unmarshal([]byte(r.text()), &x.dropped); err != nil && !r.bad {
		return nil, fmt.Errorf("read what was dropped: %w", err)
	}
	if n := r.count(2); n > 0 {
		x.quoted = make(map[quote]bool, n)
		for range n {
			x.quoted[quote{r.text(), r.text()}] = true
		}
	}
	x.first, x.latest = r.date(), r.date()
	x.lastAt = time.Unix(r.int(), r.int()).UTC()
	x.lastID = r.text()
	for range r.count(3) {
		f.backs = append(f.backs, back{r.text(), r.strings()})
	}
	if r.bad || len(r.b) > 0 {
		return nil, errors.New("a stored history is damaged")
	}
	return f, nil
}

type writer struct{ b []byte }

func (w *writer) uint(v uint64)     { w.b = binary.AppendUvarint(w.b, v) }
func (w *writer) int(v int64)       { w.b = binary.AppendVarint(w.b, v) }
func (w *writer) date(d civil.Date) { w.int(int64(d.Sub(civil.Date{}))) }
func (w *writer) text(s string) {
	w.uint(uint64(len(s)))
	w.b = append(w.b, s...)
}

// strings writes the lengths of all texts, then the texts without separators.
func (w *writer) strings(list []string) {
	w.uint(uint64(len(list)))
	size := 0
	for _, s := range list {
		w.uint(uint64(len(s)))
		size += len(s)
	}
	w.uint(uint64(size))
	for _, s := range list {
		w.b = append(w.b, s...)
	}
}

// details writes each distinct finding once, in the daybook's form, because
// most findings repeat others.
func (w *writer) details(list []detail) error {
	var findings []string
	number := make(map[string]int)
	of := make([]int, len(list))
	for i := range list {
		if list[i].finding == nil {
			continue
		}
		text, err := json.Marshal(list[i].finding)
		if err != nil {
			return fmt.Errorf("store a finding: %w", err)
		}
		n, ok := number[string(text)]
		if !ok {
			findings = append(findings, string(text))
			n = len(findings)
			number[string(text)] = n
		}
		of[i] = n
	}
	w.strings(findings)
	w.uint(uint64(len(list)))
	for i := range list {
		w.date(list[i].until)
		w.text(list[i].why)
		w.uint(uint64(of[i]))
	}
	return nil
}

// acts writes each act. It writes the act's day as a difference from the
// previous act's day, and the task's date as a difference from the act's day,
// because small numbers take fewer bytes.
func (w *writer) acts(list []act) {
	w.uint(uint64(len(list)))
	on := civil.Date{}
	for i := range list {
		a := &list[i]
		head := uint64(a.mark)<<3 | uint64(a.task.sort())
		if a.detail > 0 { // details have the order of their acts
			head |= 1 << 2
		}
		w.uint(head)
		w.uint(uint64(a.by))
		w.uint(uint64(a.pair))
		w.int(int64(a.on.Sub(on)))
		on = a.on
		number := int64(a.task &^ (3 << sortShift))
		switch a.task.sort() << sortShift {
		case dated, afterDate:
			w.int(number - dateShift - int64(on.Sub(civil.Date{})))
		case worded:
			w.int(number)
		}
	}
}

// reader reads the output of writer. After unexpected input, the reader is
// marked as bad and its results do not count.
type reader struct {
	b   []byte
	bad bool
}

func (r *reader) fail() {
	r.b, r.bad = nil, true
}

func (r *reader) uint() uint64 {
	v, n := binary.Uvarint(r.b)
	if n <= 0 {
		r.fail()
		return 0
	}
	r.b = r.b[n:]
	return v
}

func (r *reader) int() int64 {
	v, n := binary.Varint(r.b)
	if n <= 0 {
		r.fail()
		return 0
	}
	r.b = r.b[n:]
	return v
}

// count reads the number of items that follow. each is the least number of
// bytes of an item; a number too large for the input is an error.
func (r *reader) count(each int) int {
	n := r.uint()
	if n > uint64(len(r.b)/each) {
		r.fail()
		return 0
	}
	return int(n)
}

func (r *reader) date() civil.Date { return civil.Date{}.AddDays(int(r.int())) }

func (r *reader) text() string {
	n := r.count(1)
	s := string(r.b[:n])
	r.b = r.b[n:]
	return s
}

func (r *reader) strings() []string {
	list := make([]string, r.count(1))
	lengths := make([]uint64, len(list))
	for i := range lengths {
		lengths[i] = r.uint()
	}
	text := r.text()
	for i, n := range lengths {
		if n > uint64(len(text)) {
			r.fail()
			return nil
		}
		list[i], text = text[:n], text[n:]
	}
	return list
}

func (r *reader) details() []detail {
	findings := make([]*Finding, 0)
	for _, text := range r.strings() {
		f := new(Finding)
		if err := json.Unmarshal([]byte(text), f); err != nil {
			r.fail()
			return nil
		}
		findings = append(findings, f)
	}
	list := make([]detail, r.count(3))
	for i := range list {
		list[i].until, list[i].why = r.date(), r.text()
		if n := r.uint(); n > uint64(len(findings)) {
			r.fail()
		} else if n > 0 {
			list[i].finding = findings[n-1]
		}
	}
	return list
}

// acts reads the acts into f and makes the references between them. f must have
// its names and texts.
func (r *reader) acts(f *folded, details []detail) {
	const least = 4 // least number of bytes of an act
	n := r.count(least)
	f.acts.own = make([]act, 0, n)
	f.details.own = make([]detail, 0, len(details))
	f.pairs = make([]pair, 0, len(f.names.list.own))
	texts, on := uint64(len(f.texts.list.own)), civil.Date{}
	for range n {
		head, by, pair := r.uint(), r.uint(), r.uint()
		on = on.AddDays(int(r.int()))
		a := act{on: on, task: occurrence(head&3) << sortShift}
		if a.task != absent {
			number := r.int()
			if a.task != worded {
				number += dateShift + int64(on.Sub(civil.Date{}))
			} else if uint64(number) >= texts {
				r.fail()
			}
			if number < 0 || number >= 1<<sortShift {
				r.fail()
			}
			a.task |= occurrence(number)
		}
		if by >= texts || head>>3 >= texts || pair > uint64(len(f.pairs)) || pair >= uint64(len(f.names.list.own)) {
			r.fail()
		}
		var d *detail
		if head&4 != 0 {
			if len(details) == 0 {
				r.fail()
			} else {
				d, details = &details[0], details[1:]
			}
		}
		if r.bad {
			return
		}
		a.by, a.pair, a.mark = int32(by), int32(pair), int32(head>>3)
		f.link(a, d)
	}
}
