package house

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/tasks/english"
)

// The names of the concurrent parts of serve, for the log and the keeper.
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

// loops records which loops of serve are at work, and when each last made a turn.
// The zero value has no loop.
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
	return l.names(func(loop) bool { return true })
}

// stuck returns the names of the loops whose next turn is overdue. It uses the
// monotonic clock, which does not change when somebody sets the machine's clock.
func (l *loops) stuck() []string {
	now := time.Now()
	return l.names(func(x loop) bool { return now.Sub(x.turn) > x.patience })
}

// names returns the names of the loops for which match returns true, sorted.
func (l *loops) names(match func(loop) bool) (names []string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for name, x := range l.all {
		if match(*x) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// Unfinished names the parts that still work after serve was told to end, such as
// "replies and outbox"; "" if there are none.
func (s Service) Unfinished() string { return english.List(s.h.loops.atWork()) }

// stuckWords describes loops that are stuck.
func stuckWords(names []string) string {
	return fmt.Sprintf("a part of serve is stuck: %s", strings.Join(names, ", "))
}
