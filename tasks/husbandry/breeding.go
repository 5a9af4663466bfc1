package husbandry

// BreedingRules are the keeper's limits for pairing.
type BreedingRules struct {
	// KinshipLimit is the highest inbreeding coefficient, 0 to 1, of the young
	// of a planned pairing. Above KinshipWarn, the plan warns of the kinship.
	KinshipLimit, KinshipWarn float64
	// FemalesPerMale is the largest number of females that a season's plan
	// assigns to one male.
	FemalesPerMale int
	// MaleRest is how long a male rests after a pairing.
	MaleRest Days
}

// UsualBreeding returns the limits for a keeper who states none. All are common
// practice: no closer kin than half siblings (1/8), a warning above first
// cousins (1/16), five females for a male, and three days of rest for the male.
func UsualBreeding() BreedingRules {
	return BreedingRules{KinshipLimit: 0.125, KinshipWarn: 0.0625, FemalesPerMale: 5, MaleRest: 3}
}
