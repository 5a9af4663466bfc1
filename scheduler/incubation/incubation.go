// Package incubation forecasts hatching from temperature.
//
// Start with [Calibrated], the forecast in use. It combines published
// measurements of a species and its relatives, the keeper's own clutches
// ([LearnFrom]) and the recorded temperatures of the eggs. Package pooled
// explains its model and how well it predicted data left out of the fit.
// Package published has the measurements.
//
// Degree-days are the plain method, kept for comparison. [Hatching] turns a
// care sheet's figures, the tub's temperature and the laying date into a
// [Forecast]: a probability for each day, the days worth watching, and the
// basis in words. [Fit] and [Line] are its arithmetic.
//
// The degree-day model has development run at a rate that rises in a straight
// line from a threshold T0, so that eggs hatch after K degree-days above T0. On
// independent constant-temperature data this held within about 8 %. It is too
// short if a daily cycle passes the temperature at which the rate levels off
// (12 to 29 % in *Sceloporus undulatus* cycles reaching 32 to 34 °C). So the
// rate stays level above the hottest measurement here, and a forecast is a
// window, not a day. [FromCDF] makes a forecast from any distribution. Package
// thermolog reads logger files.
package incubation

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"

	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Line is a straight line of development rate on temperature: rate = (T-T0)/K a
// day above T0, and 0 below. T0 is the intercept of a regression. Whether eggs
// survive at T0 is another question.
type Line struct {
	T0 husbandry.Celsius
	K  float64 // degree-days, above 0
}

// Fit fits the line to measured durations: ordinary least squares of 1/days = a
// + b*T, unweighted, with K = 1/b and T0 = -a/b (the linear model of Georges,
// Beggs, Young & Doody 2005, Physiol Biochem Zool 78:18-30). It returns an
// error for fewer than two temperatures, and for points where warmer eggs took
// longer.
func Fit(points []husbandry.IncubationPoint) (Line, error) {
	var n, st, sr, stt, str float64
	for _, p := range points {
		if p.Days <= 0 {
			return Line{}, fmt.Errorf("%g days at %g °C is not a duration", p.Days, float64(p.Temperature))
		}
		t, r := float64(p.Temperature), 1/p.Days
		n, st, sr, stt, str = n+1, st+t, sr+r, stt+t*t, str+t*r
	}
	spread := n*stt - st*st
	if n < 2 || spread < 1e-9 {
		return Line{}, errors.New("a line needs durations at two temperatures")
	}
	b := (n*str - st*sr) / spread
	if b <= 0 {
		return Line{}, errors.New("the durations do not shorten with warmth")
	}
	a := (sr - b*st) / n
	return Line{T0: husbandry.Celsius(-a / b), K: 1 / b}, nil
}

// EffectiveDegrees returns the day's mean of the degrees above t0. The
// temperature follows a sine with the given mean and the half-range swing. If
// the sine crosses T0, the result is [(M-T0)(pi/2-theta) + R cos theta]/pi with
// theta = asin((T0-M)/R). If it stays above T0, the result is the mean less T0;
// if it stays below, 0.
func EffectiveDegrees(mean, swing, t0 husbandry.Celsius) float64 {
	m, r := float64(mean-t0), math.Abs(float64(swing))
	switch {
	case m-r >= 0:
		return m
	case m+r <= 0:
		return 0
	}
	theta := math.Asin(-m / r)
	return (m*(math.Pi/2-theta) + r*math.Cos(theta)) / math.Pi
}

// Question has the facts that the degree-day forecast is computed from.
type Question struct {
	Sheet husbandry.Incubation
	// LaidFrom and Laid bound the laying date; LaidFrom may be zero.
	LaidFrom, Laid civil.Date
	// Temperature is the tub's mean temperature, nil if nobody knows it. Swing
	// is half the daily range of the temperature.
	Temperature *husbandry.Celsius
	Swing       husbandry.Celsius
	// On is the day of the question. The eggs had not hatched at the beginning
	// of this day.
	On civil.Date
	// Units is the system of units for temperatures in the basis and in the
	// cautions.
	Units husbandry.Units
}

// Forecast says when eggs are expected to hatch. In a zero Forecast (Known
// false) the care sheet had nothing to compute from.
type Forecast struct {
	Known bool
	// Laid is the day from which development is counted: the middle of the days
	// on which the eggs may have been laid.
	Laid civil.Date
	// Mean and SD are those of the days from laying to hatching, from the
	// prior: they do not use the fact that the eggs have not hatched yet.
	Mean, SD float64
	// P05 to P95 are quantiles: the days by whose end the eggs have hatched
	// with this probability in percent. They are conditional on no hatching
	// before the day of the question.
	P05, P25, P50, P75, P95 civil.Date
	// WatchFrom to WatchTo are the days worth looking for hatchlings.
	// [Calibrated] leaves out the first and last 2 % of the distribution at
	// laying. [Hatching] takes mean - 2.5 SD to mean + 3 SD (common practice).
	// These days do not move while the keeper waits.
	WatchFrom, WatchTo civil.Date
	// Overdue says that the day of the question is past WatchTo. The quantiles
	// are then those at laying, and all are in the past.
	Overdue  bool
	Basis    string
	Cautions []string
	// Males is the expected share of males. It is nil if sex does not follow
	// temperature, or if nobody has counted.
	Males *Males

	first civil.Date
	daily []float64
}

// Probability returns the probability, 0 to 1, that the eggs hatch on day, if
// they had not hatched when the day of the question began.
func (f Forecast) Probability(day civil.Date) float64 {
	if !f.Known {
		return 0
	}
	if i := day.Sub(f.first); i >= 0 && i < len(f.daily) {
		return f.daily[i]
	}
	return 0
}

// Daily returns the first day with a probability, and the probabilities of that
// day and the following ones. The list is empty if nothing is known, or if the
// expected days are over.
func (f Forecast) Daily() (first civil.Date, chances []float64) {
	return f.first, slices.Clone(f.daily)
}

// Progress returns how far the eggs have developed by day, 0 to 1: the days
// since laying as a share of the mean time to hatching.
func (f Forecast) Progress(day civil.Date) float64 {
	if !f.Known || f.Mean <= 0 {
		return 0
	}
	return min(1, max(0, float64(day.Sub(f.Laid))/f.Mean))
}

// Limits of the watch, in standard deviations (common practice). One clutch in
// 160 hatches before the watch, one in 740 after it.
const (
	watchBefore = 2.5
	watchAfter  = 3.0
)

// FromCDF makes a forecast from a distribution of the days from laying to
// hatching. mean and sd are its moments, cdf(x) is the probability of at most x
// days. FromCDF fills all fields except Basis and Cautions.
//
// A day k days after laying covers the durations from k-1/2 to k+1/2: eggs are
// laid and hatch at some hour of the day, on average half-way through.
func FromCDF(laid civil.Date, mean, sd float64, cdf func(float64) float64, on civil.Date) Forecast {
	f := Forecast{Known: true, Laid: laid, Mean: mean, SD: sd}
	f.WatchFrom = laid.AddDays(max(1, int(math.Floor(mean-watchBefore*sd))))
	f.WatchTo = laid.AddDays(int(math.Ceil(mean + watchAfter*sd)))
	f.Overdue = on.After(f.WatchTo)

	f.first = laid.AddDays(max(0, int(math.Floor(mean-6*sd))))
	if !f.Overdue {
		f.first = civil.Max(f.first, on)
	}
	before := func(day civil.Date) float64 { return cdf(float64(day.Sub(laid)) - 0.5) }
	gone := before(f.first)
	if left := 1 - gone; left > 0 {
		last := laid.AddDays(int(math.Ceil(mean + 6*sd)))
		below := gone
		for day := f.first; !day.After(last); day = day.AddDays(1) {
			upto := before(day.AddDays(1))
			f.daily = append(f.daily, (upto-below)/left)
			below = upto
		}
	}
	if f.Overdue {
		// The eggs are overdue, so no day ahead has a probability. The
		// quantiles of the prior remain.
		f.quantiles()
		f.daily = nil
		return f
	}
	f.quantiles()
	return f
}

func (f *Forecast) quantiles() {
	sum, i := 0.0, 0
	for _, q := range []struct {
		share float64
		day   *civil.Date
	}{{.05, &f.P05}, {.25, &f.P25}, {.50, &f.P50}, {.75, &f.P75}, {.95, &f.P95}} {
		for i < len(f.daily) && sum+f.daily[i] < q.share {
			sum += f.daily[i]
			i++
		}
		*q.day = f.first.AddDays(min(i, max(0, len(f.daily)-1)))
	}
}

// Parameters of the window. The spread of single eggs is the median of 274
// constant-temperature treatments in 48 papers of the Reptile Development
// Database (Noble et al. 2018, Sci Data 5:180138). Half a degree is the usual
// error of an ordinary thermometer (common practice).
const (
	eggSpread    = 0.04 // SD as a share of the mean
	thermometer  = 0.5  // SD in °C
	coldReach    = 3.0  // the line is used down to this many °C below the coldest measurement
	ninetyPerc   = 2 * 1.6448536269514722
	typicalT0    = 17.3 // °C, median of ten published series, 15.3 to 20.3
	typicalT0Dev = 1.6  // °C, standard deviation of the ten T0
)

// Hatching forecasts a clutch's hatching as a normal distribution. Its variance
// is (c D)² + (D sT/(T-T0))² + s_lay²: single eggs, the thermometer and the
// laying date.
//
//   - With durations at two temperatures or more, it fits their line.
//   - With one duration, it draws the line through the duration and a T0 of
//     17.3 °C, the median of ten published series from Podarcis muralis to
//     Dipsosaurus dorsalis. It adds the variance due to the uncertainty of that
//     T0.
//   - With no duration, or if nobody knows the temperature, it takes the
//     sheet's range of days as the middle 90 %.
//   - For eggs that rest first (diapause), the sheet's durations include the
//     rest. It subtracts the rest, draws the line through the remaining days,
//     and adds the spread of the rest, with the sheet's range as the
//     middle 90 %.
//
// The line is not used more than 3 °C below the coldest measurement. The rate
// stays level above the hottest.
func Hatching(q Question) Forecast {
	laid, layVariance := laying(q)
	mean, variance, basis, cautions := development(q)
	if mean <= 0 {
		return Forecast{Basis: basis, Cautions: cautions}
	}
	sd := math.Sqrt(variance + layVariance)
	normal := func(x float64) float64 { return 0.5 * math.Erfc((mean-x)/(sd*math.Sqrt2)) }
	f := FromCDF(laid, mean, sd, normal, q.On)
	f.Basis, f.Cautions = basis, append(cautions, safety(q)...)
	return f
}

// longest is the most days of development that a forecast may have. Close to
// the threshold T0, a straight line forecasts years, and a temperature half a
// degree above T0 may in fact be below it (the error of a thermometer). The
// longest known incubations of lizards, of chameleons that rest and winter, are
// about a year (common practice).
const longest = 500

// laying returns the middle of the days on which the eggs may have been laid,
// and the variance of the laying day if each of these days is equally likely.
func laying(q Question) (civil.Date, float64) {
	if q.LaidFrom.IsZero() || !q.LaidFrom.Before(q.Laid) {
		return q.Laid, 0
	}
	w := q.Laid.Sub(q.LaidFrom)
	n := float64(w + 1)
	return q.LaidFrom.AddDays(w / 2), (n*n - 1) / 12
}

func development(q Question) (mean, variance float64, basis string, cautions []string) {
	rest := (float64(q.Sheet.Diapause.From) + float64(q.Sheet.Diapause.To)) / 2
	restSD := float64(q.Sheet.Diapause.To-q.Sheet.Diapause.From) / ninetyPerc
	points := slices.Clone(q.Sheet.Points)
	slices.SortStableFunc(points, func(a, b husbandry.IncubationPoint) int { return cmp.Compare(a.Temperature, b.Temperature) })
	points = slices.DeleteFunc(points, func(p husbandry.IncubationPoint) bool { return p.Days-rest <= 0 })
	for i := range points {
		points[i].Days -= rest
	}
	suffix := ""
	if rest > 0 {
		suffix = ", after a rest of " + english.DayRange(q.Sheet.Diapause.From, q.Sheet.Diapause.To)
	}
	if len(points) > 0 && q.Temperature != nil {
		d, v, how, warnings := measured(q, points, *q.Temperature)
		if d > 0 {
			return rest + d, v + restSD*restSD, how + suffix, warnings
		}
		cautions = warnings
	}
	if span := q.Sheet.Days; span.To > 0 {
		// The sheet's range of days includes the rest.
		mean = (float64(span.From) + float64(span.To)) / 2
		sd := max(float64(span.To-span.From)/ninetyPerc, eggSpread*mean)
		return mean, sd * sd, "the care sheet's range of " + english.DayRange(span.From, span.To), cautions
	}
	if len(points) > 0 && q.Temperature == nil {
		lo, hi := points[0].Days, points[0].Days
		for _, p := range points {
			lo, hi = min(lo, p.Days), max(hi, p.Days)
		}
		mean = rest + (lo+hi)/2
		sd := max((hi-lo)/ninetyPerc, 2*eggSpread*mean)
		return mean, sd*sd + restSD*restSD, fmt.Sprintf("%.0f-%.0f days at the temperatures of %s, as the tub's is not known%s", lo, hi, sources(points), suffix), cautions
	}
	return 0, 0, "nothing known of this species' incubation at this temperature", cautions
}

// measured returns the days of development at temperature t by the measurements
// of a care sheet, coldest first, and the variance of the days. The days are 0
// if the measurements allow no forecast.
func measured(q Question, points []husbandry.IncubationPoint, t husbandry.Celsius) (days, variance float64, basis string, cautions []string) {
	coldest, hottest := points[0].Temperature, points[len(points)-1].Temperature
	switch {
	case t < coldest-coldReach:
		return 0, 0, "", []string{fmt.Sprintf("%s is more than %g °C colder than any measurement of these eggs: no forecast from temperature", q.Units.Temperature(t), coldReach)}
	case t < coldest:
		cautions = append(cautions, fmt.Sprintf("colder than the coldest measurement (%s): the forecast is drawn out of it", q.Units.Temperature(coldest)))
	case t > hottest:
		cautions = append(cautions, fmt.Sprintf("hotter than the hottest measurement (%s): development is not taken to run faster", q.Units.Temperature(hottest)))
	}
	days, variance, basis, ok := byTemperature(points, t, q.Swing, q.Units)
	if !ok {
		return 0, 0, "", cautions
	}
	if days <= longest && variance <= days*days/4 {
		return days, variance, basis, cautions
	}
	return 0, 0, "", append(cautions, fmt.Sprintf("at %s eggs of this species hardly develop: no forecast from temperature", q.Units.Temperature(t)))
}

// byTemperature returns the days of development at a tub's temperature, and the
// variance of the days.
func byTemperature(points []husbandry.IncubationPoint, t, swing husbandry.Celsius, units husbandry.Units) (days, variance float64, basis string, ok bool) {
	hottest := points[len(points)-1].Temperature
	line, err := Fit(points)
	single := err != nil
	if single {
		// Use the nearest measurement, and the usual threshold of lizards.
		nearest := slices.MinFunc(points, func(a, b husbandry.IncubationPoint) int {
			return cmp.Compare(math.Abs(float64(a.Temperature-t)), math.Abs(float64(b.Temperature-t)))
		})
		if nearest.Temperature <= typicalT0+1 {
			return 0, 0, "", false
		}
		points = []husbandry.IncubationPoint{nearest}
		line = Line{T0: typicalT0, K: nearest.Days * (float64(nearest.Temperature) - typicalT0)}
	}
	// Degrees above the hottest measurement add nothing.
	degrees := EffectiveDegrees(t, swing, line.T0) - EffectiveDegrees(t, swing, hottest)
	if degrees <= 0 {
		return 0, 0, "", false
	}
	days = line.K / degrees
	egg, heat := eggSpread*days, days*thermometer/degrees
	variance = egg*egg + heat*heat
	basis = fmt.Sprintf("%s at %d temperatures: %.0f degree-days above %s", sources(points), temperatures(points), line.K, units.Temperature(line.T0))
	if single {
		away := float64(points[0].Temperature - min(t, hottest))
		doubt := days / degrees * away / float64(points[0].Temperature-line.T0) * typicalT0Dev
		variance += doubt * doubt
		basis = fmt.Sprintf("%s: %.0f days at %s", sources(points), points[0].Days, units.Temperature(points[0].Temperature))
		if away != 0 {
			basis += fmt.Sprintf(", carried over with a threshold of %s as in other lizards", units.Temperature(typicalT0))
		}
	}
	return days, variance, basis, true
}

func temperatures(points []husbandry.IncubationPoint) int {
	n := 0
	for i, p := range points {
		if i == 0 || p.Temperature != points[i-1].Temperature {
			n++
		}
	}
	return n
}

// citationYear matches the year of a citation, at which the authors and the
// year end.
var citationYear = regexp.MustCompile(`\b(1[89]|20)\d\d[a-z]?,`)

// sources names the sources of points, each once. A citation is cut to authors
// and year; the care sheet has the rest.
func sources(points []husbandry.IncubationPoint) string {
	var names []string
	for _, p := range points {
		name := p.Source
		if at := citationYear.FindStringIndex(name); at != nil {
			name = name[:at[1]-1]
		}
		if name != "" && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	switch {
	case len(names) == 0:
		return "the care sheet"
	case len(names) > 2:
		return fmt.Sprintf("%s and %d more papers", names[0], len(names)-1)
	}
	return english.List(names)
}

// safety warns if a temperature is outside the range at which eggs are known to
// hatch well, by more than the error of a thermometer. With a swing, the
// extremes of the day count.
func safety(q Question) []string {
	s := q.Sheet
	if q.Temperature == nil || s.SafeFrom == 0 && s.SafeTo == 0 {
		return nil
	}
	t, r := *q.Temperature, max(0, q.Swing)
	switch {
	case s.SafeFrom != 0 && t-r < s.SafeFrom-thermometer:
		return []string{fmt.Sprintf("%s is colder than eggs of this species are known to hatch well at (%s)", q.Units.Temperature(t-r), safeRange(s, q.Units))}
	case s.SafeTo != 0 && t+r > s.SafeTo+thermometer:
		return []string{fmt.Sprintf("%s is hotter than eggs of this species are known to hatch well at (%s)", q.Units.Temperature(t+r), safeRange(s, q.Units))}
	}
	return nil
}

func safeRange(s husbandry.Incubation, u husbandry.Units) string {
	return u.Temperature(s.SafeFrom) + " to " + u.Temperature(s.SafeTo)
}
