package husbandry

// BreedingRules is what the keeper holds of pairing.
type BreedingRules struct {
	// KinshipLimit is the highest inbreeding coefficient that the young of a
	// planned pairing may have, 0 to 1, and KinshipWarn the highest that
	// nothing is said of.
	KinshipLimit, KinshipWarn float64
	// FemalesPerMale is the most females that a season's plan gives one male.
	FemalesPerMale int
	// MaleRest is how long after a pairing a male is left alone.
	MaleRest Days
}

// UsualBreeding is what counts where the keeper says nothing, all common
// practice: no closer kin than half siblings (1/8), a word where they are
// closer than first cousins (1/16), a male for five females, three days of rest for
// him.
func UsualBreeding() BreedingRules {
	return BreedingRules{KinshipLimit: 0.125, KinshipWarn: 0.0625, FemalesPerMale: 5, MaleRest: 3}
}
