package moisture

import (
	"math"

	"nestround/tasks/civil"
)

// The logarithm of the factor is held on a grid: five standard deviations of
// its prior to either side.
const (
	gridStep = 0.05
	gridHalf = 70
	gridSize = 2*gridHalf + 1
)

// posterior has the probability of each point of the grid.
type posterior [gridSize]float64

func gridAt(i int) float64 { return gridStep * float64(i-gridHalf) }

// estimate is what is known of a box's factor on a day: Bayes' rule with a
// normal prior of its logarithm. The losses are normal about factor times
// expected, with what they have in common: neighbours share a weighing, whose
// error makes the one loss larger and the other smaller, and all share how the
// factor has drifted since (a random walk that ends on the day asked about).
func estimate(obs []observation, on civil.Date) posterior {
	var p posterior
	best := math.Inf(-1)
	for i := range p {
		u := gridAt(i)
		p[i] = -u*u/(2*priorSpread*priorSpread) + logLikelihood(obs, math.Exp(u), on)
		best = max(best, p[i])
	}
	sum := 0.0
	for i := range p {
		p[i] = math.Exp(p[i] - best)
		sum += p[i]
	}
	for i := range p {
		p[i] /= sum
	}
	return p
}

// logLikelihood of at most `intervals` losses at a factor k, but for a
// constant: by the Cholesky factor of their covariance.
func logLikelihood(obs []observation, k float64, on civil.Date) float64 {
	var l [intervals][intervals]float64
	var z [intervals]float64
	sum := 0.0
	for i, o := range obs {
		for j := range i + 1 {
			// The later of the two is the end of what both have drifted since.
			v := k * k * o.expected * obs[j].expected * drift * min(o.age(on), obs[j].age(on))
			switch j {
			case i:
				v += o.noise + square(k*o.expected*o.spread())
			case i - 1:
				v += o.shared
			}
			for m := range j {
				v -= l[i][m] * l[j][m]
			}
			if j < i {
				l[i][j] = v / l[j][j]
			} else {
				l[i][i] = math.Sqrt(v)
			}
		}
		r := o.lost - k*o.expected
		for j := range i {
			r -= l[i][j] * z[j]
		}
		z[i] = r / l[i][i]
		sum -= z[i]*z[i]/2 + math.Log(l[i][i])
	}
	return sum
}

// age is how many days ago the middle of the interval was.
func (o *observation) age(on civil.Date) float64 {
	return float64(on.Sub(o.to)) + float64(o.to.Sub(o.from))/2
}

// spread is by how much the interval's own factor differs by chance.
func (o *observation) spread() float64 {
	if o.eye {
		return math.Hypot(wander, eyeError)
	}
	return wander
}

// quantile returns the factor below which it lies with probability q, between
// points of the grid by straight lines.
func (p *posterior) quantile(q float64) float64 {
	sum := 0.0
	for i, w := range p {
		if sum+w >= q && w > 0 {
			return math.Exp(gridAt(i) + gridStep*((q-sum)/w-0.5))
		}
		sum += w
	}
	return math.Exp(gridAt(gridSize - 1))
}

// changed is how many times faster a loss was than those before it had let
// expect, where that is more than chance (two standard errors) and at least
// half as fast again; else 0.
func changed(before posterior, o observation) float64 {
	mean, variance := 0.0, 0.0
	for i, w := range before {
		mean += w * math.Exp(gridAt(i))
	}
	for i, w := range before {
		variance += w * square(math.Exp(gridAt(i))-mean)
	}
	e := o.expected
	sd := math.Sqrt(o.noise + square(mean*e*o.spread()) + e*e*variance)
	if o.lost-mean*e > 2*sd && o.lost > 1.5*mean*e {
		return o.lost / (mean * e)
	}
	return 0
}
