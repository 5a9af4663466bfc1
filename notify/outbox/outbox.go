// Package outbox keeps mails until they have left.
//
// [Box.Put] stores a composed mail below state/outbox of the books and returns
// when it is on the disk. From then on the mail leaves at least once, even
// after crashes. [Box.Deliver] hands the due mails to a [notify.Sender] and
// records which of them left. [Box.Run] repeats Deliver. Only one process
// delivers at a time.
//
// # Pauses
//
// After a temporary failure, a mail is tried again after 1, 2, 5, 10, 20 and 30
// minutes and then every half hour, as RFC 5321, section 4.5.4.1, asks. A
// refusal, a reply 5yz, is not the end of a mail: the cause may be a password,
// a quota or a mistake of the server. But the pauses are longer ([RefusalPause]),
// because repeated logins with a wrong password can lock an account. [Box.Run]
// tries at once when it begins, and when the settings for sending change, such as
// the server or the password. [Box.DeliverNow] always tries at once. After a failure
// that concerns all mails (no connection, a refused login), the other mails wait
// for the next run, so a server that hangs costs one time limit a run.
//
// A mail ends when it leaves, at its deadline, after five days if it has none,
// when a later edition withdraws it, and at once only if it could never be sent
// as it is. A mail that ends without leaving is kept in the folder failed for a
// while, with the reason, and is reported.
//
// # Twice
//
// If the connection closes after the whole mail was handed over and before the
// server answers, nobody knows whether the server has the mail (RFC 1047). The
// same is true of a crash between sending and recording; the record of a begun
// attempt is therefore on the disk before the first byte leaves. In both cases
// the mail is sent once more, because at least once wins, with the same bytes
// and Message-ID, so that a second copy can be recognised. If the connection
// closes like this at every attempt, every attempt may add a copy, at the
// growing pauses of RefusalPause. [Sent] and [Failure] say so. No other fault sends
// a second copy: the record of the mails that have left exists twice, and on a
// full disk the mail's file gets another name instead, which needs no room.
//
// The package does not know how a mail is composed, its content, or the way it
// is sent.
package outbox

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/notify"
	"nestround/tasks/disk"
)

// Folder is the folder of the outbox, relative to the books.
const Folder = "state/outbox"

const (
	// giveUp is the time after which a mail without a deadline is given up: "at
	// least 4-5 days" (RFC 5321, section 4.5.4.1).
	giveUp = 5 * 24 * time.Hour
	// sendLimit ends an attempt that hangs. The longest single wait in RFC
	// 5321, section 4.5.3.2, is 10 minutes.
	sendLimit = 10 * time.Minute
	// memory is how long sent and failed mails are remembered.
	memory = 60 * 24 * time.Hour
	// remembered is the number of sent mails that are remembered whatever their
	// age: a clock that is wrong for a while must not make a mail leave twice.
	remembered = 200
	// idle is the longest time that Run waits before it looks into the outbox
	// again: the machine may have slept, and another process may have put a
	// mail into the outbox.
	idle = time.Minute
	// putWait is the longest time that Put and Deliver wait for the lock of the
	// outbox's files, which every process holds only for a moment.
	putWait = 10 * time.Second
)

var (
	pauses        = []time.Duration{1 * time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 20 * time.Minute, 30 * time.Minute}
	refusalPauses = []time.Duration{5 * time.Minute, 15 * time.Minute, 30 * time.Minute, time.Hour, 2 * time.Hour, 4 * time.Hour}
)

// Pause returns the pause after the given number of failed attempts, counted
// from 1. It counts from the end of the attempt.
func Pause(attempts int) time.Duration { return nth(pauses, attempts) }

// RefusalPause returns the pause after the given number of refusals, counted from
// 1. The same pauses follow attempts that may have succeeded. The durations are a
// choice; no RFC states them.
func RefusalPause(refusals int) time.Duration { return nth(refusalPauses, refusals) }

func nth(list []time.Duration, n int) time.Duration { return list[min(max(n, 1), len(list))-1] }

// ErrBusy matches Deliver's error (errors.Is) if another process is delivering
// the same box.
var ErrBusy = errors.New("another nestround is sending the waiting mail")

// Box is the outbox of the books. It is safe for use by several goroutines, and
// several processes may each have a Box of the same books.
type Box struct {
	dir   string
	files disk.Files
	wake  chan struct{} // receives a value when Put stores a mail

	// Records that could not be written, for example on a full disk, are kept
	// here while the program runs.
	mu    sync.Mutex
	sent  map[string]Sent
	tries map[string]try
	began bool // Run has delivered once
}

// New returns the outbox of the books in the folder books. It touches no file.
func New(books string, files disk.Files) *Box {
	return &Box{
		dir: filepath.Join(books, filepath.FromSlash(Folder)), files: files, wake: make(chan struct{}, 1),
		sent: map[string]Sent{}, tries: map[string]try{},
	}
}

// Meta is the data about a mail that the outbox needs besides its bytes.
type Meta struct {
	About  string    `json:"about"`  // name for reports: "the digest of 12 May"
	Queued time.Time `json:"queued"` // time of Put; the oldest mail leaves first
	// Deadline is the time from which the mail is not sent any more. If it is
	// zero, the mail is tried for five days.
	Deadline time.Time `json:"deadline,omitzero"`
	// Edition is the day of a digest, such as 2027-05-12; "" for other mail.
	// Withdraw compares editions as text.
	Edition string `json:"edition,omitempty"`
}

// Envelope is a mail's identity and addresses with its Meta.
type Envelope struct {
	ID   string `json:"id"`
	From string `json:"from"`
	To   string `json:"to"`
	Meta
}

// header is the first line of a stored mail. The bytes to send follow it.
type header struct {
	Envelope
	Size   int    `json:"size"`
	SHA256 string `json:"sha256"`
}

// stored is a waiting mail.
type stored struct {
	name string // of its file, without the extension
	header
	raw []byte
}

// try is the record of the attempts to send a mail.
type try struct {
	// N counts the changes of the record. Of the record in memory and the record on
	// the disk, the record with the higher N is the newer.
	N        int       `json:"n"`
	Attempts int       `json:"attempts"`
	Last     time.Time `json:"last"` // end of the last attempt
	Next     time.Time `json:"next"`
	Error    string    `json:"error"`
	Plain    string    `json:"plain,omitempty"`    // see Fault
	Refused  bool      `json:"refused,omitempty"`  // see Fault, of the last attempt
	General  bool      `json:"general,omitempty"`  // see Fault, of the last attempt
	Refusals int       `json:"refusals,omitempty"` // number of refusals
	// Doubts is the number of attempts after which the mail may have arrived,
	// and Doubt the reason of the last of them.
	Doubts int    `json:"doubts,omitempty"`
	Doubt  string `json:"doubt,omitempty"`
	// Begun is the start of the attempt under way; zero if there is none. If a
	// process takes the lock for sending and finds Begun set, the program was
	// stopped during the attempt.
	Begun time.Time `json:"begun,omitzero"`
}

// Sent is a mail that has left.
type Sent struct {
	ID      string    `json:"id"`
	To      string    `json:"to"`
	About   string    `json:"about"`
	At      time.Time `json:"at"`
	Edition string    `json:"edition,omitempty"`
	// Doubts is the number of earlier attempts that may have succeeded too. As
	// many further copies may have arrived. Doubt is the reason of the last of
	// these attempts.
	Doubts int    `json:"doubts,omitempty"`
	Doubt  string `json:"doubt,omitempty"`
}

// Waiting is a mail that has not left yet.
type Waiting struct {
	Envelope
	Attempts int
	Next     time.Time // zero if it is due at once
	Error    string    // error of the last attempt; "" if there was none
	Plain    string    // Plain of the Fault of the last attempt
	Refused  bool      // the last attempt was refused
	Doubts   int       // number of attempts after which the mail may have arrived
	Doubt    string    // reason of the last of them
}

// Failure is a mail that is not tried any more.
type Failure struct {
	Envelope
	At       time.Time `json:"at"`
	Attempts int       `json:"attempts"`
	Late     bool      `json:"late,omitempty"` // its deadline passed
	// Withdrawn says that a later edition took the place of the mail.
	Withdrawn bool   `json:"withdrawn,omitempty"`
	Reason    string `json:"reason"`
	Plain     string `json:"plain,omitempty"` // Plain of the last Fault
	// Doubt says why the mail may have arrived all the same; "" if it cannot.
	Doubt string `json:"doubt,omitempty"`
	File  string `json:"file"` // file of the mail, relative to the books
	// Told is the edition that has reported the failure; see Tell.
	Told string `json:"told,omitempty"`
}

// Fault is an error of a [notify.Sender] with all details that the outbox uses. A
// Sender may return other errors. If such an error has a method Temporary() bool
// that returns false, the outbox takes the mail as refused. An error without this
// method counts as General.
type Fault struct {
	// Refused says that the server refused for good (a reply 5yz).
	Refused bool
	// Never says that the mail can never be sent as it is.
	Never bool
	// General says that the fault is not about this mail, so that other mails would
	// fail in the same way now.
	General bool
	// MayHaveArrived says that the whole mail was handed over, and that the
	// answer is not known.
	MayHaveArrived bool
	// Plain describes the error in the program's words, for the keeper. It contains
	// no secret, and no text of a server.
	Plain string
	Err   error
}

func (f *Fault) Error() string { return f.Err.Error() }

// Unwrap returns the error of the sender.
func (f *Fault) Unwrap() error { return f.Err }

// faultOf returns any error of a Sender as a Fault.
func faultOf(err error) Fault {
	var f *Fault
	if errors.As(err, &f) {
		return *f
	}
	var temporary interface{ Temporary() bool }
	if errors.As(err, &temporary) {
		return Fault{Refused: !temporary.Temporary(), Err: err}
	}
	return Fault{General: true, Err: err}
}

// Report is the result of a Deliver.
type Report struct {
	Sent     []Sent
	Deferred []Waiting // tried now, without success
	Failed   []Failure
	Damaged  []*disk.CorruptError // files with content that the outbox did not write; they are now set aside
	Waiting  int                  // number of waiting mails, including the deferred mails
	Next     time.Time            // when the first waiting mail is due; zero if none waits
}

// Empty reports whether the report has nothing worth telling.
func (r Report) Empty() bool {
	return len(r.Sent)+len(r.Deferred)+len(r.Failed)+len(r.Damaged) == 0
}

const (
	mailExt = ".mail"
	tryExt  = ".try"
	failExt = ".json"
	// leftExt is the extension of a mail that has left and could not be recorded as
	// sent.
	leftExt = ".left"
	// markExt is the extension of the mark of a mail that is to be withdrawn.
	markExt = ".withdraw"
)

// nameOf returns the file name of a mail. The name depends on the recipient,
// because keepers who share a digest get a mail each, possibly with the same
// ID.
func nameOf(id, to string) string {
	sum := sha256.Sum256([]byte(id + "\x00" + to))
	return hex.EncodeToString(sum[:12])
}

func (b *Box) path(name string) string   { return filepath.Join(b.dir, name) }
func (b *Box) failed(name string) string { return filepath.Join(b.dir, "failed", name) }

// sentFiles are the two copies of the record of the mails that have left. If one
// is damaged or cannot be written, the other still prevents a second copy.
func (b *Box) sentFiles() []string { return []string{b.path("sent.json"), b.path("sent-copy.json")} }

// Put stores a mail and returns when the mail is on the disk. If a mail with
// the same ID and recipient is waiting already or has left within the last 60
// days, Put stores nothing and returns false. The same is true of a mail that
// was withdrawn. A mail that failed otherwise may be put into the outbox again,
// and is then tried as often as a new mail.
func (b *Box) Put(m notify.Outgoing, meta Meta) (added bool, err error) {
	if m.ID == "" || m.To == "" || len(m.Raw) == 0 {
		return false, errors.New("put a mail into the outbox: it has no id, no recipient or no text")
	}
	sum := sha256.Sum256(m.Raw)
	head, err := json.Marshal(header{Envelope{m.ID, m.From, m.To, meta}, len(m.Raw), hex.EncodeToString(sum[:])})
	if err != nil {
		return false, fmt.Errorf("put a mail into the outbox: %w", err)
	}
	added, err = b.store(nameOf(m.ID, m.To), slices.Concat(head, []byte("\n"), m.Raw))
	if added {
		select {
		case b.wake <- struct{}{}:
		default: // Run is already notified
		}
	}
	return added, err
}

// store stores the file of a mail for Put.
func (b *Box) store(name string, text []byte) (added bool, err error) {
	// This is not the lock of Deliver, which may be held as long as the network
	// takes.
	lock, err := b.lock()
	if err != nil {
		return false, err
	}
	defer lock.Release()
	// Look for the mail among the waiting mails first, and then among the sent
	// mails: Deliver records a mail as sent before it removes the mail from the
	// waiting mails.
	old, err := disk.ReadFile(b.path(name+mailExt), maxMail)
	if err == nil {
		if _, err := parse(name, old); err == nil {
			// The earlier Put may have been killed, or have failed, before the
			// mail was on the disk. Only another write makes sure that the mail
			// is there.
			return false, b.files.WriteFile(b.path(name+mailExt), old, 0o600)
		}
	} else if !errors.Is(err, fs.ErrNotExist) && !disk.Unusable(err) {
		return false, fmt.Errorf("put a mail into the outbox: %w", err)
	}
	sent, err := b.Sent()
	if err != nil {
		return false, err
	}
	if _, left := b.left(name, sent); left {
		return false, nil
	}
	f, err := disk.ReadJSON[Failure](b.failed(name + failExt))
	if err != nil && !isCorrupt(err) {
		return false, err
	}
	if f.Withdrawn {
		return false, nil
	}
	// Attempts from before the mail failed do not count.
	if err := b.files.Remove(b.path(name + tryExt)); err != nil {
		return false, err
	}
	b.mu.Lock()
	delete(b.tries, name)
	b.mu.Unlock()
	if err := b.files.WriteFile(b.path(name+mailExt), text, 0o600); err != nil {
		return false, err
	}
	return true, nil
}

// lock takes the lock that is held only for moments.
func (b *Box) lock() (*disk.Lock, error) {
	if err := b.files.MkdirAll(b.dir, 0o700); err != nil {
		return nil, err
	}
	l, err := b.files.Acquire(b.path("lock"), putWait)
	if err != nil {
		return nil, fmt.Errorf("put mail into the outbox: %w", err)
	}
	return l, nil
}

// left reports whether a mail has left, and returns its record.
func (b *Box) left(name string, sent []Sent) (Sent, bool) {
	for _, s := range sent {
		if nameOf(s.ID, s.To) == name {
			return s, true
		}
	}
	b.mu.Lock()
	s, ok := b.sent[name]
	b.mu.Unlock()
	if ok {
		return s, true
	}
	m, err := b.readMail(name, leftExt)
	if err != nil {
		return Sent{}, false
	}
	t := b.tried(name)
	at := t.Begun
	if at.IsZero() {
		at = m.Queued
	}
	return sentNow(m, t, at), true
}

func sentNow(m stored, t try, at time.Time) Sent {
	return Sent{ID: m.ID, To: m.To, About: m.About, At: at, Edition: m.Edition, Doubts: t.Doubts, Doubt: t.Doubt}
}

// Sent lists the mails that left within the last 60 days, the oldest first.
func (b *Box) Sent() ([]Sent, error) {
	return b.allSent(func(path string) ([]Sent, error) {
		list, err := disk.ReadJSON[[]Sent](path)
		if isCorrupt(err) { // Deliver sets the file aside and reports it
			return nil, nil
		}
		return list, err
	})
}

// allSent joins the copies of the record of the mails that have left. An error
// counts only if no copy can be read.
func (b *Box) allSent(read func(path string) ([]Sent, error)) (all []Sent, err error) {
	have := make(map[string]bool)
	var errs []error
	for _, path := range b.sentFiles() {
		list, err := read(path)
		if err != nil {
			errs = append(errs, err)
		}
		for _, s := range list {
			if name := nameOf(s.ID, s.To); !have[name] {
				have[name] = true
				all = append(all, s)
			}
		}
	}
	slices.SortStableFunc(all, func(a, b Sent) int { return a.At.Compare(b.At) })
	if len(errs) == len(b.sentFiles()) {
		return nil, errors.Join(errs...)
	}
	return all, nil
}

func isCorrupt(err error) bool {
	var corrupt *disk.CorruptError
	return errors.As(err, &corrupt)
}

// Waiting lists the mails that have not left yet, the oldest first. It leaves
// out mails that are being withdrawn.
func (b *Box) Waiting() ([]Waiting, error) {
	mails, _, err := b.mails()
	if err != nil {
		return nil, err
	}
	sent, err := b.Sent()
	if err != nil {
		return nil, err
	}
	var w []Waiting
	for _, m := range mails {
		if _, left := b.left(m.name, sent); left || b.marked(m.name) {
			continue
		}
		w = append(w, waiting(m, b.tried(m.name)))
	}
	return w, nil
}

func waiting(m stored, t try) Waiting {
	w := Waiting{m.Envelope, t.Attempts, t.Next, t.Error, t.Plain, t.Refused, t.Doubts, t.Doubt}
	if !t.Begun.IsZero() { // under way, or the program was stopped
		w.Next = time.Time{}
	}
	return w
}

// marked reports whether a mail is to be withdrawn.
func (b *Box) marked(name string) bool {
	_, err := os.Lstat(b.path(name + markExt))
	return err == nil
}

// Failed lists the mails that failed within the last 60 days, the oldest first.
func (b *Box) Failed() ([]Failure, error) {
	return b.failures(func(path string) (Failure, bool, error) {
		f, err := disk.ReadJSON[Failure](path)
		if isCorrupt(err) { // Deliver sets the file aside and reports it
			return f, false, nil
		}
		return f, true, err
	})
}

// Tell records that an edition has reported the failures of the given mails.
func (b *Box) Tell(told []Envelope, edition string) error {
	if len(told) == 0 {
		return nil
	}
	lock, err := b.lock()
	if err != nil {
		return err
	}
	defer lock.Release()
	for _, e := range told {
		path := b.failed(nameOf(e.ID, e.To) + failExt)
		f, err := disk.ReadJSON[Failure](path)
		if err != nil && !isCorrupt(err) {
			return err
		}
		if f.ID == "" || f.Told == edition { // gone meanwhile, or told
			continue
		}
		f.Told = edition
		if err := b.files.WriteJSON(path, f); err != nil {
			return err
		}
	}
	return nil
}

// failures reads the reasons of failed mails with read, which may skip some.
func (b *Box) failures(read func(path string) (Failure, bool, error)) ([]Failure, error) {
	names, err := os.ReadDir(b.failed(""))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("look for failed mail: %w", err)
	}
	var all []Failure
	for _, e := range names {
		if filepath.Ext(e.Name()) != failExt {
			continue
		}
		f, ok, err := read(b.failed(e.Name()))
		if err != nil {
			return nil, err
		}
		if ok {
			all = append(all, f)
		}
	}
	slices.SortFunc(all, func(a, b Failure) int { return cmp.Or(a.At.Compare(b.At), strings.Compare(a.File, b.File)) })
	return all, nil
}

// maxMail is the largest file of a waiting mail, in bytes. A digest of 2,000
// enclosures has a few hundred kilobytes.
const maxMail = 32 << 20

// mails returns the waiting mails, the oldest first, and the files that are
// damaged.
func (b *Box) mails() (mails []stored, damaged []*disk.CorruptError, err error) {
	names, err := os.ReadDir(b.dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, nil, fmt.Errorf("look for waiting mail: %w", err)
	}
	for _, e := range names {
		name, isMail := strings.CutSuffix(e.Name(), mailExt)
		if !isMail || strings.HasPrefix(name, ".") {
			continue
		}
		path := b.path(e.Name())
		text, err := disk.ReadFile(path, maxMail)
		if errors.Is(err, fs.ErrNotExist) {
			continue // it has just left
		}
		if disk.Unusable(err) {
			damaged = append(damaged, &disk.CorruptError{Path: path, Err: errors.Unwrap(err)})
			continue
		}
		if err != nil {
			return nil, nil, fmt.Errorf("read a waiting mail: %w", err)
		}
		m, err := parse(name, text)
		if err != nil {
			damaged = append(damaged, &disk.CorruptError{Path: path, Err: err})
			continue
		}
		mails = append(mails, m)
	}
	slices.SortFunc(mails, func(a, b stored) int { return cmp.Or(a.Queued.Compare(b.Queued), strings.Compare(a.name, b.name)) })
	return mails, damaged, nil
}

// readMail reads a stored mail whose file has the given extension.
func (b *Box) readMail(name, ext string) (stored, error) {
	text, err := os.ReadFile(b.path(name + ext))
	if err != nil {
		return stored{}, fmt.Errorf("read a mail of the outbox: %w", err)
	}
	return parse(name, text)
}

// parse reads a stored mail. It rejects a mail with any missing or changed
// byte: half a mail is worse than none.
func parse(name string, b []byte) (stored, error) {
	head, raw, _ := bytes.Cut(b, []byte("\n"))
	m := stored{name: name, raw: raw}
	if err := json.Unmarshal(head, &m.header); err != nil {
		return stored{}, fmt.Errorf("its first line: %w", err)
	}
	sum := sha256.Sum256(raw)
	switch {
	case len(raw) != m.Size:
		return stored{}, fmt.Errorf("it has %d bytes instead of %d", len(raw), m.Size)
	case hex.EncodeToString(sum[:]) != m.SHA256:
		return stored{}, errors.New("its bytes have changed")
	case nameOf(m.ID, m.To) != name:
		return stored{}, errors.New("it has the name of another mail")
	}
	return m, nil
}

// tried returns the record of a mail's attempts.
func (b *Box) tried(name string) try {
	// If the record cannot be read, the only harm is that the next attempt
	// comes too early.
	t, _ := disk.ReadJSON[try](b.path(name + tryExt))
	b.mu.Lock()
	defer b.mu.Unlock()
	if m := b.tries[name]; m.N > t.N {
		return m
	}
	return t
}
