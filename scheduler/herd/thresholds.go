package herd

// Thresholds that facts and rules share. All are common practice.
const (
	// Refusals is how many feedings refused in a row are a sign of trouble.
	Refusals = 3
	// lossShare is the share of body mass whose loss within lossDays is a sign
	// of trouble. Losses through laying do not count.
	lossShare = 0.10
	lossDays  = 90
	// PairTogether is how many days a pair stays together.
	PairTogether = 7
	// partedAfter is the number of days after which a pair counts as separated
	// where nobody said so.
	partedAfter = 60
	// unwellFor is how many days a noted illness prevents pairing while nobody
	// has reviewed it.
	unwellFor = 60
)

// LookBack is how many days back missed dates are counted and asked for.
// Findings that do not last for years count as long.
const LookBack = 400

// Tiny is below the resolution of any scale or meter: a limit that is met
// exactly counts as met.
const Tiny = 1e-9
