package herd

// Thresholds that facts and rules share. All are common practice.
const (
	// Refusals is the number of refused feedings in a row that is a sign of
	// trouble.
	Refusals = 3
	// lossShare is a share of the body mass. Losing more than this share within
	// lossDays is a sign of trouble. Losses through laying do not count.
	lossShare = 0.10
	lossDays  = 90
	// PairTogether is the number of days for which a pair stays together.
	PairTogether = 7
	// partedAfter is the number of days after which a pair counts as separated,
	// if nobody marked the separation.
	partedAfter = 60
	// unwellFor is the number of days for which a noted illness prevents
	// pairing, if nobody has reviewed it.
	unwellFor = 60
)

// LookBack is the number of days before today in which missed dates are counted
// and still asked for. Findings that do not last for years count for the same
// number of days.
const LookBack = 400

// Tiny is a difference smaller than the resolution of any scale or meter. A
// value that differs from a limit by less than Tiny counts as reaching the
// limit.
const Tiny = 1e-9
