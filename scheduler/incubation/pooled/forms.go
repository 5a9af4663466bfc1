package pooled

import "math"

// Form is a shape of the response to temperature that all species share: the
// logarithm of the rate of development at a constant temperature, up to a
// constant. In the form each species has one parameter, dev, which is near 0.
type Form struct {
	Name string
	// Start and Spread are the mean and standard deviation of the wide prior of
	// the shared parameters.
	Start, Spread []float64
	// DevSpread is the starting value of the standard deviation of dev.
	DevSpread float64
	log       func(celsius, dev float64, shared []float64) float64
}

// Reference is the temperature, °C, at which a species' level is stated.
const Reference = 28.0

// softplus is log(1+e^x): 0 far below 0, x far above.
func softplus(x float64) float64 {
	if x > 30 {
		return x
	}
	return math.Log1p(math.Exp(x))
}

// Forms returns the forms that were tried. The first is in use.
func Forms() []Form {
	return []Form{
		{
			// The effect of a degree on the rate falls with temperature, in a
			// straight line from steepest to nothing. Species scale the effect.
			Name: "flattening, steeper or flatter", DevSpread: 0.2,
			Start: []float64{math.Log(0.09), math.Log(0.004)}, Spread: []float64{0.7, 1},
			log: func(t, dev float64, b []float64) float64 {
				return flattening(t-Reference, math.Exp(b[0]+dev), math.Exp(b[1]))
			},
		},
		{
			// A straight line above a threshold, rounded at its foot, that
			// bends down in the heat. Species shift the line along the
			// temperature axis.
			Name: "bent line, shifted", DevSpread: 1,
			Start: []float64{17, 0.5, 34, -0.7}, Spread: []float64{3, 0.7, 3, 0.7},
			log: func(t, dev float64, b []float64) float64 { return bent(t-dev, t-dev, b) },
		},
		{
			// An exponential, limited by cold and by heat: the shape of
			// Schoolfield, Sharpe & Magnuson 1981, with temperatures in °C.
			Name: "held back at both ends, shifted", DevSpread: 1,
			Start: []float64{0.08, 22, 0.7, 34, 0.7}, Spread: []float64{0.04, 3, 0.7, 3, 0.7},
			log: func(t, dev float64, b []float64) float64 {
				u := t - dev
				return b[0]*u - math.Log(1+math.Exp((b[1]-u)/math.Exp(b[2]))+math.Exp((u-b[3])/math.Exp(b[4])))
			},
		},
		{
			Name: "bent line, threshold shifted alone", DevSpread: 1,
			Start: []float64{17, 0.5, 34, -0.7}, Spread: []float64{3, 0.7, 3, 0.7},
			log: func(t, dev float64, b []float64) float64 { return bent(t-dev, t, b) },
		},
		{
			Name: "bent line, steeper or flatter", DevSpread: 0.02,
			Start: []float64{17, 0.5, 34, -0.7}, Spread: []float64{3, 0.7, 3, 0.7},
			log: func(t, dev float64, b []float64) float64 { return bent(t, t, b) + dev*(t-Reference) },
		},
		{
			Name: "held back at both ends, steeper or flatter", DevSpread: 0.02,
			Start: []float64{0.08, 22, 0.7, 34, 0.7}, Spread: []float64{0.04, 3, 0.7, 3, 0.7},
			log: func(t, dev float64, b []float64) float64 {
				return (b[0]+dev)*t - math.Log(1+math.Exp((b[1]-t)/math.Exp(b[2]))+math.Exp((t-b[3])/math.Exp(b[4])))
			},
		},
		{
			Name: "held back at both ends, cold shifted", DevSpread: 1,
			Start: []float64{0.08, 22, 0.7, 34, 0.7}, Spread: []float64{0.04, 3, 0.7, 3, 0.7},
			log: func(t, dev float64, b []float64) float64 {
				return b[0]*t - math.Log(1+math.Exp((b[1]+dev-t)/math.Exp(b[2]))+math.Exp((t-b[3])/math.Exp(b[4])))
			},
		},
		{
			Name: "quadratic", DevSpread: 0.02,
			Start: []float64{0.09, -0.004}, Spread: []float64{0.1, 0.01},
			log: func(t, dev float64, b []float64) float64 {
				x := t - Reference
				return (b[0]+dev)*x + b[1]*x*x
			},
		},
		{
			Name: "cubic", DevSpread: 0.02,
			Start: []float64{0.09, -0.004, 0}, Spread: []float64{0.1, 0.01, 0.002},
			log: func(t, dev float64, b []float64) float64 {
				x := t - Reference
				return (b[0]+dev)*x + b[1]*x*x + b[2]*x*x*x
			},
		},
		{
			Name: "degree-days", DevSpread: 1,
			Start: []float64{17}, Spread: []float64{3},
			log: func(t, dev float64, b []float64) float64 { return math.Log(max(0.3, t-dev-b[0])) },
		},
	}
}

// steepest is the upper limit of the effect of one degree in the cold: the
// change of the log rate for 1 °C, equal to a factor of ten for 10 °C. Between
// neighbouring constant temperatures of a paper, at least 2 °C apart, the
// largest measured effect is 7.1-fold for 10 °C (Li 2012, 18 to 21 °C). With
// the limit, the curve stays plausible below the coldest measurement. In the
// heat the rate never falls: in papers with temperatures above the suitable
// range, the days level off (Muth 1980, 36 to 40 °C; El Mouden 2001, 34 to 36
// °C).
var steepest = math.Log(10) / 10

// flattening returns the log rate at a temperature x degrees above the
// reference. At the reference one degree adds slope to the log rate. This
// effect decreases by 2 bend with each degree.
func flattening(x, slope, bend float64) float64 {
	parabola := func(x float64) float64 { return slope*x - bend*x*x }
	if cold := (slope - steepest) / (2 * bend); x < cold {
		return parabola(cold) + steepest*(x-cold)
	}
	return parabola(min(x, slope/(2*bend)))
}

func bent(cold, hot float64, b []float64) float64 {
	w := math.Exp(b[1])
	return math.Log(softplus((cold-b[0])/w)) - math.Exp(b[3])*softplus((hot-b[2])/1.0)
}

// sine has the values of a daily sine at the midpoints of equal parts of its
// rise, from the coldest to the hottest hour of the day.
var sine = func() (s [12]float64) {
	for i := range s {
		s[i] = math.Sin(math.Pi * ((float64(i)+0.5)/float64(len(s)) - 0.5))
	}
	return s
}()

// logRate returns the logarithm of the mean rate over a daily cycle. The cycle
// is a sine raised to a fitted power.
func (f *Form) logRate(celsius, halfRange, dev float64, shared []float64) float64 {
	day := math.Exp(shared[len(shared)-1])
	shared = shared[:len(shared)-1]
	base := f.log(Reference, dev, shared)
	if halfRange == 0 {
		return f.log(celsius, dev, shared) - base
	}
	sum := 0.0
	for _, s := range sine {
		sum += math.Exp(f.log(celsius+halfRange*math.Copysign(math.Pow(math.Abs(s), day), s), dev, shared) - base)
	}
	return math.Log(sum / float64(len(sine)))
}
