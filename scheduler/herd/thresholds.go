package herd

// Thresholds that facts and rules share. All are common practice.
const (
	// Refusals is how many feedings refused in a row are a sign of trouble.
	Refusals = 3
	// lossShare is the share of body mass whose loss within lossDays, not
	// through laying, is a sign of trouble.
	lossShare = 0.10
	lossDays  = 90
	// PairTogether is how many days a pair stays together.
	PairTogether = 7
	// partedAfter is after how many days a pair that nobody said was separated
	// is taken to be.
	partedAfter = 60
	// unwellFor is how many days noted illness stands in the way of pairing
	// while nobody has reviewed it.
	unwellFor = 60
)

// LookBack is how far back, in days, missed dates are counted and asked for,
// and findings that do not last for years still count.
const LookBack = 400

// Tiny is less than any scale or meter shows: a limit that is met exactly is
// met.
const Tiny = 1e-9
