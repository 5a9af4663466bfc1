package tasks

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash"

	"nestround/tasks/civil"
)

// Digest identifies the entries for the days before a certain day. Histories
// with equal digests give the same answers about these entries. A Digest is a
// SHA-256 hash.
type Digest [sha256.Size]byte

// Digests returns the digests of h before each of some days; see
// [History.Before]. It reads all acts once. A digest depends on the first day
// of the history, and on the acts for days before its day, in the order in
// which they count. If an entry came late, a digest may also depend on the
// names in entries for later days. Two histories with the same answers then
// have different digests.
func (h *History) Digests(days []civil.Date) ([]Digest, error) {
	if len(days) == 0 {
		return nil, nil
	}
	// Most acts are before all of the days, so these acts are hashed only once.
	first := days[0]
	for _, day := range days {
		first = civil.Min(first, day)
	}
	shared := &stream{h: h, hash: sha256.New()}
	shared.w.date(h.first)
	n, at := h.acts.len(), int32(0)
	for ; at < n && h.acts.at(at).on.Before(first); at++ {
		if err := shared.act(h.acts.at(at)); err != nil {
			return nil, err
		}
	}
	shared.flush()
	streams := make([]*stream, len(days))
	for i := range streams {
		var err error
		if streams[i], err = shared.clone(); err != nil {
			return nil, err
		}
	}
	for ; at < n; at++ {
		a := h.acts.at(at)
		for i, s := range streams {
			if !a.on.Before(days[i]) {
				continue
			}
			if err := s.act(a); err != nil {
				return nil, err
			}
		}
	}
	digests := make([]Digest, len(days))
	for i, s := range streams {
		s.flush()
		s.hash.Sum(digests[i][:0])
	}
	return digests, nil
}

// stream hashes acts, one after the other.
type stream struct {
	h    *History
	hash hash.Hash
	w    writer
	// names and texts are the numbers of the history's names and texts that are
	// already hashed. They are hashed too because an act refers to them by
	// number, and in another history the same number may mean another text.
	names, texts int32
}

// clone returns a stream that continues s. s must be flushed.
func (s *stream) clone() (*stream, error) {
	c, ok := s.hash.(hash.Cloner)
	if !ok {
		return nil, fmt.Errorf("%T cannot be cloned", s.hash)
	}
	same, err := c.Clone()
	if err != nil {
		return nil, fmt.Errorf("go on from a hash: %w", err)
	}
	return &stream{h: s.h, hash: same, names: s.names, texts: s.texts}, nil
}

func (s *stream) flush() {
	s.hash.Write(s.w.b) // the Write method of a hash never fails
	s.w.b = s.w.b[:0]
}

func (s *stream) act(a *act) error {
	for ; s.names <= a.pair; s.names++ {
		s.w.text(s.h.names.of(s.names))
	}
	text := max(a.by, a.mark)
	if a.task.sort()<<sortShift == worded {
		text = max(text, int32(a.task&^(3<<sortShift)))
	}
	for ; s.texts <= text; s.texts++ {
		s.w.text(s.h.texts.of(s.texts))
	}
	var fixed [20]byte
	binary.LittleEndian.PutUint32(fixed[0:], uint32(a.pair))
	binary.LittleEndian.PutUint32(fixed[4:], uint32(a.task))
	binary.LittleEndian.PutUint32(fixed[8:], uint32(a.by))
	binary.LittleEndian.PutUint32(fixed[12:], uint32(a.on.Sub(civil.Date{})))
	binary.LittleEndian.PutUint32(fixed[16:], uint32(a.mark))
	s.w.b = append(s.w.b, fixed[:]...)
	d := s.h.detail(a)
	if d == nil {
		s.w.uint(0)
	} else {
		finding, err := json.Marshal(d.finding)
		if err != nil {
			return fmt.Errorf("hash a finding: %w", err)
		}
		s.w.text(string(finding))
		s.w.date(d.until)
		s.w.text(d.why)
	}
	if len(s.w.b) > 1<<13 {
		s.flush()
	}
	return nil
}
