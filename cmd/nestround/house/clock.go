package house

import (
	"fmt"
	"slices"
	"time"

	"nestround/config/diag"
	"nestround/notify/digest"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/english"
)

// The program stamps entries of the shell and the page with this machine's clock,
// and digests with their day. If the clock was wrong, the stamps are wrong. Each
// time the books are open for writing, clockWatch compares the clock with the
// latest entries and digests. A clock that goes back an hour in autumn is no
// wrong clock, because instants are compared.
//
//   - If entries or digests of several days are later than now, the clock is
//     behind, because a keeper notices within a day that the clock is ahead. This
//     is a trouble of the part clock. Entries that are written meanwhile count at
//     their dates; check and the next digest name them.
//   - If entries or digests of only one day are later than now, the clock was
//     ahead on that day. An entry for a later day than today must never begin to
//     count, so clockWatch takes it back by an entry of its own, which the keeper
//     can take back in turn. A digest for a later day is marked as early, and its
//     day gets another digest.

// viaClock is the channel of the entries that clockWatch writes.
const viaClock tasks.Via = "clock"

// misdated is an entry that was made under a wrong clock. state/clock.json lists
// such entries, so that check and the next digest can name them.
type misdated struct {
	ID   string     `json:"id"`
	At   time.Time  `json:"at"`
	Seen time.Time  `json:"seen"`          // time on the clock when it was found
	By   string     `json:"by,omitempty"`  // id of the entry that takes it back; "" if the entry counts
	Told civil.Date `json:"told,omitzero"` // day of the digest that named the entry
}

// misdatedMost is the largest number of entries in state/clock.json. The oldest are
// dropped.
const misdatedMost = 200

// clockWatch compares this machine's clock with the entries and digests of the
// books.
type clockWatch struct{ h *House }

// look compares the clock with the latest entries and digests, and acts on a wrong
// clock as described above. It returns the snapshot with the entries that it has
// added.
func (c clockWatch) look(book *daybook.Book, s *Snapshot) (*Snapshot, error) {
	h := c.h
	now := h.now()
	limit := now.Add(clockDrift)
	early := h.issues.ahead(s.today)
	if !s.said.last.At.After(limit) && len(early) == 0 {
		h.mended(partClock)
		return s, nil
	}
	days := make(map[civil.Date]bool)
	for _, i := range early {
		days[i.Date] = true
	}
	var ahead []tasks.Entry
	for _, e := range s.said.entries {
		if _, gone := s.said.history.TakenBack(e.ID); !gone && e.At.After(limit) && !undoneByClock(s, e) {
			ahead = append(ahead, e)
			days[civil.Of(e.At, s.settings.Zone)] = true
		}
	}
	if len(days) > 1 {
		latest := civil.Date{}
		for day := range days {
			latest = civil.Max(latest, day)
		}
		h.trouble(partClock, fmt.Sprintf("this machine's clock shows %s, but entries or digests of %s up to %s are in the books already; set the clock, or if it is right, take back each later entry by undo and its tag%s",
			english.Moment(now.In(s.settings.Zone)), english.Days(len(days)), english.Date(latest), tagsOf(ahead)))
		return s, nil
	}
	h.mended(partClock)
	for _, e := range ahead {
		if !e.On.After(s.today) {
			c.note(misdated{ID: e.ID, At: e.At, Seen: now})
			continue
		}
		// The id depends only on the entry's id, so the program takes an entry
		// back only once. The keeper may let the entry count again.
		by := tasks.Entry{ID: clockID(e.ID), At: now.In(s.settings.Zone).Truncate(time.Millisecond), Via: viaClock, By: "nestround",
			Acts: []tasks.Act{{Text: "undo entry " + tasks.Tag(e.ID), Entry: e.ID}}}
		by.On = civil.Of(by.At, s.settings.Zone)
		added, err := book.Append(by)
		if err != nil {
			return s, err
		}
		if added {
			s = h.added()
			h.log.Warn("an entry is dated later than the day on which it was written; it does not count", "entry", tasks.Tag(e.ID), "at", e.At, "undo", tasks.Tag(by.ID))
			c.note(misdated{ID: e.ID, At: e.At, Seen: now, By: by.ID})
		}
	}
	for _, i := range early {
		h.log.Warn("a digest is for a later day than the day on which it was written", "id", i.ID, "date", i.Date.String())
		if err := h.issues.markEarly(i); err != nil {
			return s, err
		}
	}
	if len(early) > 0 {
		s = h.renew()
	}
	return s, nil
}

func clockID(id string) string { return "k." + id }

// undoneByClock reports whether clockWatch has taken the entry back once. If the
// entry counts nevertheless, the keeper has decided so.
func undoneByClock(s *Snapshot, e tasks.Entry) bool {
	_, gone := s.said.history.TakenBack(clockID(e.ID))
	return gone
}

func tagsOf(list []tasks.Entry) string {
	var tags []string
	for i, e := range list {
		if i == 5 {
			tags = append(tags, fmt.Sprintf("%d more", len(list)-i))
			break
		}
		tags = append(tags, tasks.Tag(e.ID))
	}
	if len(tags) == 0 {
		return ""
	}
	return " (" + english.List(tags) + ")"
}

// added notes a new entry as misdated if its time is from this machine's clock and
// the clock is behind.
func (c clockWatch) added(e tasks.Entry, before *Snapshot) {
	_, gone := before.said.history.TakenBack(before.said.last.ID)
	if e.Via == tasks.ViaMail || gone || undoneByClock(before, before.said.last) || !before.said.last.At.After(e.At.Add(clockDrift)) {
		return
	}
	c.note(misdated{ID: e.ID, At: e.At, Seen: c.h.now()})
}

// note adds an entry to state/clock.json. If that fails, check and the digest do not
// name the entry; nothing else depends on the file.
func (c clockWatch) note(m misdated) {
	all, err := c.misdated()
	if err != nil || slices.ContainsFunc(all, func(x misdated) bool { return x.ID == m.ID }) {
		return
	}
	if all = append(all, m); len(all) > misdatedMost {
		all = all[len(all)-misdatedMost:]
	}
	if err := c.h.files.WriteJSON(c.h.state("clock.json"), all); err != nil {
		c.h.log.Error("an entry of a wrong clock could not be noted", "entry", tasks.Tag(m.ID), "err", err)
	}
}

// misdated returns the entries that were made under a wrong clock.
func (c clockWatch) misdated() ([]misdated, error) {
	return remembered[[]misdated](c.h.troubles, c.h.state("clock.json"))
}

// undecided returns the misdated entries about which the keeper has not decided.
func undecided(s *Snapshot, all []misdated) (list []misdated) {
	for _, m := range all {
		_, gone := s.said.history.TakenBack(m.ID)
		if m.By == "" && !gone || m.By != "" && gone {
			list = append(list, m)
		}
	}
	return list
}

// inWords describes a misdated entry, and says what the keeper can do about it.
func (m misdated) inWords(zone *time.Location) string {
	tag, at := tasks.Tag(m.ID), english.Moment(m.At.In(zone))
	switch {
	case m.By != "":
		return fmt.Sprintf("entry %s is dated %s, later than the day on which it was written, so it does not count. If its date is right, say: undo %s", tag, at, tasks.Tag(m.By))
	case m.At.After(m.Seen.Add(clockDrift)):
		return fmt.Sprintf("entry %s is dated %s, but was written before %s. It counts. If that is wrong, say: undo %s", tag, at, english.Moment(m.Seen.In(zone)), tag)
	}
	return fmt.Sprintf("entry %s is dated %s, but later entries were written before it. It counts at its date. If that is wrong, say: undo %s", tag, at, tag)
}

// ClockProblems returns the entries that were made under a wrong clock, as
// warnings for check.
func ClockProblems(h *House) (list diag.List) {
	all, err := clockWatch{h}.misdated()
	if err != nil {
		return nil
	}
	s := h.Snapshot()
	for _, m := range undecided(s, all) {
		list = append(list, diag.Problem{File: daybook.Folder, Severity: diag.Warning, Message: m.inWords(s.settings.Zone),
			Hint: "say it in a reply to a digest, or with nestround mark"})
	}
	return list
}

// clockNotices returns the notices about entries that were made under a wrong clock.
// The digest names each entry on one morning.
func clockNotices(s *Snapshot, all []misdated, today civil.Date) (list []digest.Notice) {
	for _, m := range undecided(s, all) {
		if m.Told.IsZero() || m.Told == today {
			list = append(list, digest.Notice{Text: english.UpperFirst(m.inWords(s.settings.Zone)) + "."})
		}
	}
	if n := len(list) - 5; n > 1 {
		list = append(list[:5], digest.Notice{Text: fmt.Sprintf("%d more entries have wrong dates; nestround check lists them.", n)})
	}
	return list
}

// told records that today's digest has named the misdated entries.
func (c clockWatch) told(today civil.Date) error {
	all, err := c.misdated()
	if err != nil {
		return err
	}
	changed := false
	for i := range all {
		if all[i].Told.IsZero() {
			all[i].Told, changed = today, true
		}
	}
	if !changed {
		return nil
	}
	return c.h.files.WriteJSON(c.h.state("clock.json"), all)
}
