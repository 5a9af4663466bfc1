package moisture

import (
	"math"

	"nestround/tasks/civil"
)

// The distribution of the logarithm of the factor is stored on a grid of five
// prior standard deviations to either side.
const (
	gridStep = 0.05
	gridHalf = 70
	gridSize = 2*gridHalf + 1
)

// posterior holds the posterior probability of each point of the grid.
type posterior [gridSize]float64

func gridAt(i int) float64 { return gridStep * float64(i-gridHalf) }

// estimate returns the posterior of a box's factor on a day, by Bayes' rule
// with a normal prior of the logarithm of the factor. The losses are normal
// about factor times expected loss, and correlated. Two neighbouring losses
// share a weighing, so an error of this weighing increases one loss and
// decreases the other. All losses share the drift of the factor since they were
// measured: a random walk that ends on the day of the question.
func estimate(obs []observation, on civil.Date) posterior {
	a, b := evidence(obs, on)
	var p posterior
	best := math.Inf(-1)
	for i := range p {
		u := gridAt(i)
		k := math.Exp(u)
		p[i] = b*k - a*k*k/2 - u*u/(2*priorSpread*priorSpread)
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

// evidence returns a and b of the log likelihood of a factor k, which is b k -
// a k²/2 plus a constant. With the expected losses e, the observed losses y and
// their covariance V, a is e'V⁻¹e and b is e'V⁻¹y. The part of V that grows
// with the factor uses the plain quotient of all losses instead of k. Otherwise
// the scatter of a few losses would count as evidence about k.
func evidence(obs []observation, on civil.Date) (a, b float64) {
	lost, expected := 0.0, 0.0
	for _, o := range obs {
		lost, expected = lost+o.lost, expected+o.expected
	}
	if expected == 0 {
		return 0, 0
	}
	k := min(quickest, max(1/float64(quickest), lost/expected))
	// Solve with the Cholesky factor l of V: l z = e and l w = y.
	var l [intervals][intervals]float64
	var z, w [intervals]float64
	for i, o := range obs {
		z[i], w[i] = o.expected, o.lost
		for j := range i + 1 {
			// Both losses share the drift since the later loss.
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
			if j == i {
				l[i][i] = math.Sqrt(v)
			} else {
				l[i][j] = v / l[j][j]
				z[i], w[i] = z[i]-l[i][j]*z[j], w[i]-l[i][j]*w[j]
			}
		}
		z[i], w[i] = z[i]/l[i][i], w[i]/l[i][i]
		a, b = a+z[i]*z[i], b+z[i]*w[i]
	}
	return a, b
}

// age returns the number of days from the middle of the interval to a day.
func (o *observation) age(on civil.Date) float64 {
	return float64(on.Sub(o.to)) + float64(o.to.Sub(o.from))/2
}

// spread returns the standard deviation of the logarithm of the factor within
// the interval of the observation.
func (o *observation) spread() float64 {
	if o.eye {
		return math.Hypot(wander, eyeError)
	}
	return wander
}

// quantile returns the q-quantile of the factor, interpolated linearly between
// the points of the grid.
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

// changed returns a loss relative to the loss expected from the earlier
// observations. It returns 0 unless the difference is more than two standard
// errors and more than half of the expected loss.
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
