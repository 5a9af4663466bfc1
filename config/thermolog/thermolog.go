// Package thermolog reads an incubator's temperature log: a table of times and
// temperatures, as a data logger writes it.
//
// Start with [Read]. It returns the hourly temperatures of each day and a list
// of the faults in the log ([Log.Faults]). Every reading left out, every unused
// day and every converted unit is in that list. The package decides nothing
// about eggs. The forecast uses the days that the log has, and the incubator's
// set point for all others.
package thermolog

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Log is the content of a temperature log.
type Log struct {
	// Days has up to 24 hourly means for each day with enough readings.
	Days map[civil.Date][]husbandry.Celsius
	// Faults says what is wrong with the log, and what was done about it.
	Faults []Fault
}

// Fault is a fault of a log.
type Fault struct {
	Line int // the first line it concerns; 0 if it concerns no single line
	What string
	// Unused is set if nothing of the log is used.
	Unused bool
	// Day is the last day of an event that concerns the eggs or the sensor. It
	// is zero for a fault in the log's format.
	Day civil.Date
}

// Limits of plausible logs (common practice).
const (
	coldest = 2.0  // °C: no incubator for lizard eggs is colder, even in a power cut indoors
	hottest = 45.0 // °C: no egg survives more, so a hotter sensor is wrong
	// A sensor is stuck if it gives the same value for two days in a log that
	// otherwise varies. If its resolution is half a degree or coarser, the
	// limit is ten days.
	stuckFor       = 48 * time.Hour
	coarse         = 0.45 // °C
	stuckForCoarse = 240 * time.Hour
	// Between readings at most this far apart, the temperature is interpolated
	// linearly: many loggers write every four hours.
	bridge = 6 * time.Hour
	// A longer gap, up to cutFor, is taken for a power cut if the temperature
	// is lower by cutBy afterwards.
	cutBy  = 2.0 // °C
	cutFor = 36 * time.Hour
	// Each hour is compared with the same hour of the days around it. Intended
	// cool nights and a new set point are therefore not reported. An hour
	// colder by coldBy means that the heat was off. An hour hotter by hotBy
	// means that the heat did not go off, or that the sun shone in. The limit
	// for heat is lower because heat does more harm than cold.
	coldBy    = 4.0 // °C
	hotBy     = 3.0 // °C
	aboutDays = 10  // days before, and as many after
	// A day is used if at least this many of its hours are known.
	hoursEnough = 18
	maxLine     = 4096
	maxBytes    = 64 << 20 // about thirty years with a reading per minute
)

type reading struct {
	at   time.Time
	t    float64
	line int
}

// Read reads lines with a time and a temperature, separated by a comma, a
// semicolon or a tab. It ignores further columns. Times have an offset or are
// civil times in zone. A first line that is not a reading is a heading, and may
// name the unit. Read returns an error only if the reader r does.
func Read(r io.Reader, zone *time.Location) (*Log, error) {
	l := &Log{Days: make(map[civil.Date][]husbandry.Celsius)}
	all, fahrenheit, err := l.parse(r, zone)
	if err != nil {
		return nil, err
	}
	if len(all) == 0 {
		if !slices.ContainsFunc(l.Faults, func(f Fault) bool { return f.Line > 0 }) {
			l.say(0, "no readings yet")
		}
		return l, nil
	}
	values := make([]float64, len(all))
	for i, a := range all {
		values[i] = a.t
	}
	slices.Sort(values)
	if middle := values[len(values)/2]; middle > 130 {
		l.refuse(0, fmt.Sprintf("its middle reading is %.1f: this is no temperature of eggs, in degrees of any kind; none of it is used", middle))
		return l, nil
	} else if !fahrenheit && middle > 50 {
		l.refuse(0, fmt.Sprintf("its middle reading is %.1f: this looks like degrees Fahrenheit, and no heading says so (°F), or like another column; none of it is used", middle))
		return l, nil
	} else if fahrenheit && middle < 45 {
		l.refuse(0, fmt.Sprintf("the heading says Fahrenheit, but the middle reading is %.1f: this looks like degrees Celsius; none of it is used", middle))
		return l, nil
	}
	if fahrenheit {
		for i := range all {
			all[i].t = (all[i].t - 32) / 1.8
		}
		l.say(1, "degrees Fahrenheit by its heading: converted")
	}
	all = l.plausible(all)
	all = l.sorted(all, zone)
	all = l.unstuck(all, zone)
	if len(all) == 0 {
		return l, nil
	}
	l.astray(all, zone)
	l.days(all, l.gaps(all, zone), zone)
	return l, nil
}

func (l *Log) say(line int, what string) { l.Faults = append(l.Faults, Fault{Line: line, What: what}) }

// refuse reports why nothing of the log is used.
func (l *Log) refuse(line int, what string) {
	l.Faults = append(l.Faults, Fault{Line: line, What: what, Unused: true})
}

// tell reports an event that lasted until the given time.
func (l *Log) tell(line int, until time.Time, zone *time.Location, what string) {
	l.Faults = append(l.Faults, Fault{Line: line, What: what, Day: civil.Of(until, zone)})
}

// parse reads the readings of a log. fahrenheit reports whether the heading of
// the log says that the temperatures are in °F.
func (l *Log) parse(r io.Reader, zone *time.Location) (all []reading, fahrenheit bool, err error) {
	limited := &io.LimitedReader{R: r, N: maxBytes}
	s := bufio.NewScanner(limited)
	s.Buffer(make([]byte, 0, maxLine), maxLine)
	var bad, skipped tally
	line, layout, headings := 0, 0, 0
	for s.Scan() {
		line++
		text := strings.TrimSpace(strings.TrimPrefix(s.Text(), "\ufeff"))
		if text == "" {
			continue
		}
		a, missing, ok := parseLine(text, zone, &layout)
		switch {
		case !ok && len(all) == 0 && bad.count == 0:
			fahrenheit = fahrenheit || namesFahrenheit(text)
			if headings++; line > 5 {
				bad.add(line)
			}
		case !ok:
			bad.add(line)
		default:
			if missing {
				skipped.add(line)
			}
			a.line = line
			all = append(all, a)
		}
	}
	switch {
	case errors.Is(s.Err(), bufio.ErrTooLong):
		l.say(line+1, "a line of more than 4096 characters: nothing from here on is read")
	case s.Err() != nil:
		return nil, false, fmt.Errorf("read temperature log, line %d: %w", line+1, s.Err())
	}
	if limited.N <= 0 {
		l.say(line, fmt.Sprintf("longer than %d MiB: nothing from here on is read; begin a new file each year", maxBytes>>20))
	}
	if len(all) == 0 && headings+bad.count > 1 { // more lines than a heading
		l.refuse(line, "no line is a time and a temperature: write them like 2027-05-12 06:00,28.1")
		bad.count = 0
	}
	l.sayTallies(bad, skipped)
	return all, fahrenheit, nil
}

// sayTallies reports the lines without a reading, and the times that the clocks
// skipped.
func (l *Log) sayTallies(bad, skipped tally) {
	if bad.count > 0 {
		l.say(bad.first, english.CountForms(bad.count, "line is", "lines are")+" not a time and a temperature: left out")
	}
	if skipped.count > 0 {
		l.say(skipped.first, english.CountForms(skipped.count, "time does", "times do")+" not exist, as the clocks went forward: taken an hour on; the logger may keep winter time")
	}
}

// tally counts lines, and keeps the number of the first counted line.
type tally struct{ count, first int }

func (t *tally) add(line int) {
	t.count++
	t.first = cmp.Or(t.first, line)
}

// namesFahrenheit reports whether a heading says that the log is in °F.
func namesFahrenheit(heading string) bool {
	low := strings.ToLower(heading)
	return slices.ContainsFunc([]string{"fahrenheit", "°f", "(f)", "_f"}, func(unit string) bool { return strings.Contains(low, unit) })
}

// layouts are the formats in which loggers write a time. Only the first two
// have an offset.
var layouts = [...]string{time.RFC3339, "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04:05", "2006-01-02T15:04:05", "2006-01-02 15:04", "2006-01-02T15:04"}

const withOffset = 2

// parseLine reads one line. missing reports that the time was skipped when the
// clocks went forward. layout is the index of the format that fitted last; it
// is tried first.
func parseLine(text string, zone *time.Location, layout *int) (a reading, missing, ok bool) {
	sep := ","
	for _, s := range []string{"\t", ";"} {
		if strings.Contains(text, s) {
			sep = s
			break
		}
	}
	f := strings.Split(text, sep)
	if len(f) < 2 {
		return a, false, false
	}
	when := strings.Trim(strings.TrimSpace(f[0]), `"`)
	number := strings.Trim(strings.TrimSpace(f[1]), `"`)
	if sep != "," {
		number = strings.Replace(number, ",", ".", 1)
	}
	t, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsNaN(t) || math.IsInf(t, 0) {
		return a, false, false
	}
	for i := range layouts {
		i = (i + *layout) % len(layouts)
		at, err := time.ParseInLocation(layouts[i], when, zone)
		if err != nil {
			continue
		}
		*layout = i
		// time.Parse accepts a fraction of a second that the layout does not
		// have.
		civilly, _, _ := strings.Cut(when, ".")
		return reading{at: at, t: t}, i >= withOffset && at.Format(layouts[i]) != civilly, true
	}
	return a, false, false
}

func (l *Log) plausible(all []reading) []reading {
	n, first := 0, reading{}
	all = slices.DeleteFunc(all, func(a reading) bool {
		out := a.t < coldest || a.t > hottest
		if out {
			if n == 0 {
				first = a
			}
			n++
		}
		return out
	})
	if n > 0 {
		hint := ""
		if f := (first.t - 32) / 1.8; f > 15 && f < 40 {
			hint = "; it would be right in Fahrenheit"
		}
		l.say(first.line, fmt.Sprintf("%s outside %g to %g °C, the first %.1f: left out%s", english.CountForms(n, "reading is", "readings are"), coldest, hottest, first.t, hint))
	}
	return all
}

// sorted puts readings in order of time and resolves several readings of the
// same time.
func (l *Log) sorted(all []reading, zone *time.Location) []reading {
	by := func(a, b reading) int { return a.at.Compare(b.at) }
	if !slices.IsSortedFunc(all, by) {
		for i := 1; i < len(all); i++ {
			if all[i].at.Before(all[i-1].at) {
				l.say(all[i].line, "times run backwards: put in order")
				break
			}
		}
		slices.SortStableFunc(all, by)
	}
	var out []reading
	same, against := 0, 0
	sameLine, againstLine := 0, 0
	for i := 0; i < len(all); {
		j := i + 1
		lo, hi, sum := all[i].t, all[i].t, all[i].t
		for ; j < len(all) && all[j].at.Equal(all[i].at); j++ {
			lo, hi, sum = min(lo, all[j].t), max(hi, all[j].t), sum+all[j].t
		}
		a := all[i]
		switch {
		case j == i+1:
			out = append(out, a)
		case hi-lo <= .3 || repeats(a.at, zone):
			same += j - i - 1
			sameLine = cmp.Or(sameLine, all[i+1].line)
			a.t = sum / float64(j-i)
			out = append(out, a)
		default:
			against += j - i
			againstLine = cmp.Or(againstLine, a.line)
		}
		i = j
	}
	if same > 0 {
		l.say(sameLine, english.CountForms(same, "reading repeats", "readings repeat")+" a time: counted once")
	}
	if against > 0 {
		l.say(againstLine, fmt.Sprintf("%d readings of one time contradict each other: left out", against))
	}
	return out
}

// repeats reports whether a civil time occurs twice because the clocks go back.
func repeats(at time.Time, zone *time.Location) bool {
	const stamp = "2006-01-02 15:04:05"
	here := at.In(zone).Format(stamp)
	return at.Add(time.Hour).In(zone).Format(stamp) == here || at.Add(-time.Hour).In(zone).Format(stamp) == here
}

func (l *Log) unstuck(all []reading, zone *time.Location) []reading {
	finest := math.Inf(1)
	for i := 1; i < len(all); i++ {
		if all[i].t != all[i-1].t {
			finest = min(finest, math.Abs(all[i].t-all[i-1].t))
		}
	}
	varies, long := !math.IsInf(finest, 1), stuckFor
	if varies && finest >= coarse {
		long = stuckForCoarse
	}
	var out []reading
	for i := 0; i < len(all); {
		j := i
		for j+1 < len(all) && all[j+1].t == all[i].t {
			j++
		}
		if lasted := all[j].at.Sub(all[i].at); lasted >= long && j-i >= 24 {
			if varies {
				l.tell(all[i].line, all[j].at, zone, fmt.Sprintf("%.1f °C without change for %.0f hours: the sensor looks stuck, left out", all[i].t, lasted.Hours()))
				i = j + 1
				continue
			}
			l.tell(all[i].line, all[j].at, zone, fmt.Sprintf("%.1f °C in every reading: used, but look whether the sensor works", all[i].t))
		}
		out = append(out, all[i:j+1]...)
		i = j + 1
	}
	return out
}

// gaps reports times without readings. For each reading, it returns whether the
// hours since the previous reading may be interpolated between the two.
func (l *Log) gaps(all []reading, zone *time.Location) []bool {
	bridged := make([]bool, len(all))
	n, longest := 0, 0
	for i := 1; i < len(all); i++ {
		a, b := all[i-1], all[i]
		gap := b.at.Sub(a.at)
		cut := b.t <= a.t-cutBy && gap <= cutFor
		bridged[i] = gap <= bridge || cut
		switch {
		case gap <= bridge:
		case cut:
			l.tell(b.line, b.at, zone, fmt.Sprintf("no readings for %.0f hours from %s, then %.1f °C after %.1f: looks like a power cut; taken to have fallen evenly",
				gap.Hours(), english.Moment(a.at.In(zone)), b.t, a.t))
		default:
			n++
			if longest == 0 || gap > all[longest].at.Sub(all[longest-1].at) {
				longest = i
			}
		}
	}
	if n > 0 {
		a, b := all[longest-1], all[longest]
		l.say(b.line, fmt.Sprintf("%s of more than %.0f hours, the longest of %.0f hours from %s", english.Count(n, "gap"), bridge.Hours(), b.at.Sub(a.at).Hours(), english.Moment(a.at.In(zone))))
	}
	return bridged
}

// hour is the mean of the readings within one hour.
type hour struct {
	at   time.Time // beginning of the hour
	mean float64
	line int
}

func hourly(all []reading) (hours []hour) {
	for i := 0; i < len(all); {
		h, n := hour{at: all[i].at.Truncate(time.Hour), line: all[i].line}, 0
		for ; i < len(all) && all[i].at.Truncate(time.Hour).Equal(h.at); i++ {
			h.mean += all[i].t
			n++
		}
		h.mean /= float64(n)
		hours = append(hours, h)
	}
	return hours
}

// astray reports times so cold that the heat must have been off, and so hot
// that it cannot have gone off. These readings are still used.
func (l *Log) astray(all []reading, zone *time.Location) {
	hours := hourly(all)
	off := beside(hours, zone)
	for _, k := range []struct {
		sign, by   float64
		down, asks string
	}{{-1, coldBy, "down", "was the heat off?"}, {1, hotBy, "up", "does the thermostat stick, or the sun shine in?"}} {
		times, worst := 0, hour{}
		var last hour
		var lasted time.Duration
		for i := 0; i < len(hours); i++ {
			if k.sign*off[i] < k.by {
				continue
			}
			last = hours[i]
			for ; i+1 < len(hours) && k.sign*off[i+1] >= k.by && hours[i+1].at.Sub(hours[i].at) <= bridge; i++ {
				if next := hours[i+1].mean; k.sign*(next-last.mean) > 0 {
					last.mean = next
				}
			}
			lasted = hours[i].at.Add(time.Hour).Sub(last.at)
			if times++; times == 1 || k.sign*(last.mean-worst.mean) > 0 {
				worst = last
			}
		}
		if times == 0 {
			continue
		}
		often := ""
		if times > 1 {
			often = fmt.Sprintf(", the last of %d times", times)
			if worst.line != last.line {
				often += fmt.Sprintf(" (%.1f °C from %s)", worst.mean, english.Moment(worst.at.In(zone)))
			}
		}
		l.tell(last.line, last.at.Add(lasted-time.Hour), zone, fmt.Sprintf("%s to %.1f °C for %s from %s%s: %s used as it is",
			k.down, last.mean, english.Count(int(lasted.Hours()), "hour"), english.Moment(last.at.In(zone)), often, k.asks))
	}
}

// beside returns the deviation of each hour from the median of the same hour on
// the days around it. If there are fewer than three such days, it takes the
// median of all hours. An even number of days has two medians; an hour whose
// temperature lies between the two has the deviation 0.
func beside(hours []hour, zone *time.Location) []float64 {
	means := make([]float64, len(hours))
	for i, h := range hours {
		means[i] = h.mean
	}
	slices.Sort(means)
	middle := means[len(means)/2]
	type place struct {
		day int
		h   hour
		i   int
	}
	var of [24][]place
	for i, h := range hours {
		at := h.at.In(zone)
		day := civil.Of(at, zone).Sub(civil.Of(hours[0].at, zone))
		of[at.Hour()] = append(of[at.Hour()], place{day, h, i})
	}
	off := make([]float64, len(hours))
	var about []float64
	for _, places := range of {
		from, to := 0, 0
		for _, p := range places {
			for places[from].day < p.day-aboutDays {
				from++
			}
			for to < len(places) && places[to].day <= p.day+aboutDays {
				to++
			}
			lo, hi := middle, middle
			if to-from >= 3 {
				about = about[:0]
				for _, q := range places[from:to] {
					about = append(about, q.h.mean)
				}
				slices.Sort(about)
				lo, hi = about[(len(about)-1)/2], about[len(about)/2]
			}
			off[p.i] = p.h.mean - max(lo, min(hi, p.h.mean))
		}
	}
	return off
}

func (l *Log) days(all []reading, bridged []bool, zone *time.Location) {
	type total struct{ sum, n float64 }
	hours := make(map[civil.Date]*[24]total)
	add := func(at time.Time, t float64) {
		at = at.In(zone)
		day := civil.Of(at, zone)
		if hours[day] == nil {
			hours[day] = new([24]total)
		}
		h := &hours[day][at.Hour()]
		h.sum, h.n = h.sum+t, h.n+1
	}
	for i, b := range all {
		if i > 0 && bridged[i] {
			a := all[i-1]
			gap := b.at.Sub(a.at).Seconds()
			last := b.at.Truncate(time.Hour)
			for at := a.at.Truncate(time.Hour).Add(time.Hour); at.Before(last); at = at.Add(time.Hour) {
				mid := at.Add(time.Hour / 2)
				add(mid, a.t+(b.t-a.t)*mid.Sub(a.at).Seconds()/gap)
			}
		}
		add(b.at, b.t)
	}
	var poor []civil.Date
	for day, hs := range hours {
		var means []husbandry.Celsius
		for _, h := range hs {
			if h.n > 0 {
				means = append(means, husbandry.Celsius(h.sum/h.n))
			}
		}
		if len(means) < hoursEnough {
			// The first and the last day of a log may be incomplete.
			if day != civil.Of(all[0].at, zone) && day != civil.Of(all[len(all)-1].at, zone) {
				poor = append(poor, day)
			}
			continue
		}
		l.Days[day] = means
	}
	if len(poor) > 0 {
		slices.SortFunc(poor, civil.Date.Compare)
		l.say(0, fmt.Sprintf("%s readings of fewer than %d hours and not used, the first %s", english.CountForms(len(poor), "day with", "days with"), hoursEnough, poor[0]))
	}
}
