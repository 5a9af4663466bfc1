package house

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/tasks/english"
)

// The parts of serve that work side by side, as the log and the keeper see
// them.
const (
	loopBooks   = "books"   // looks for changes of the books
	loopDigest  = "digest"  // writes the digest at its time
	loopOutbox  = "outbox"  // sends mails
	loopInbox   = "replies" // reads replies
	loopAnswers = "answers" // writes answers that could not be written before
	loopWatch   = "watch"   // gives the sign of life
	loopPage    = "page"    // answers requests
)

// The times after which a loop counts as stuck.
const (
	// quick is for loops without a network. The plan of 2,000 enclosures takes
	// seconds.
	quick = 10 * time.Minute
	// slow is for loops with mail. A server may take 10 minutes for the end of a
	// mail (RFC 5321, section 4.5.3.2.6), and some minutes for all steps before.
	slow = 30 * time.Minute
)

// loops knows the loops of serve that are at work, and when each last made a
// turn. The zero value has none.
type loops struct {
	mu  sync.Mutex
	all map[string]*loop
}

type loop struct {
	turn time.Time
	// patience is the time from turn on after which the loop is stuck.
	patience time.Duration
}

// begin adds a loop.
func (l *loops) begin(name string, patience time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.all == nil {
		l.all = make(map[string]*loop)
	}
	l.all[name] = &loop{time.Now(), patience}
}

// turn notes that a loop works, and that its next turn is expected within
// patience. It does nothing for a loop that is not at work.
func (l *loops) turn(name string, patience time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if x := l.all[name]; x != nil {
		*x = loop{time.Now(), patience}
	}
}

// end removes a loop.
func (l *loops) end(name string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.all, name)
}

// atWork returns the names of the loops that have not ended.
func (l *loops) atWork() []string {
	return l.those(func(loop) bool { return true })
}

// stuck returns the names of the loops whose next turn is overdue. The clock is
// the machine's own, which nobody can set back.
func (l *loops) stuck() []string {
	now := time.Now()
	return l.those(func(x loop) bool { return now.Sub(x.turn) > x.patience })
}

func (l *loops) those(are func(loop) bool) (names []string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for name, x := range l.all {
		if are(*x) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// Unfinished describes what still works after serve was told to end, such as
// "replies and outbox"; "" for nothing.
func (s Service) Unfinished() string { return english.List(s.h.loops.atWork()) }

// stuckWords describes loops that are stuck.
func stuckWords(names []string) string {
	return fmt.Sprintf("a part of serve has stopped moving: %s", strings.Join(names, ", "))
}
