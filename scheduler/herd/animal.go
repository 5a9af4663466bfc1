package herd

// Thinner returns an animal's last weight and its best of the three months
// before, clutches laid since aside, and whether it has lost a tenth of it.
func (a *Animal) Thinner() (last, best Weight, ok bool) {
	n := len(a.Weights)
	if n < 2 {
		return last, best, false
	}
	last, best = a.lost(a.Weights[n-1].On, lossDays)
	return last, best, float64(last.Grams) < (1-lossShare)*float64(best.Grams)
}
