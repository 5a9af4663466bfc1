package house

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"nestround/config/diag"
	"nestround/config/thermolog"
	"nestround/scheduler"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// readLogs reads the incubators' temperature logs, and tells what is wrong
// with them. A log that cannot be read changes nothing: the set point counts.
func (h *House) readLogs() {
	h.logged, h.logProblems = make(map[husbandry.ID]map[civil.Date][]husbandry.Celsius), nil
	for _, inc := range h.records.Incubators {
		if inc.Log == "" {
			continue
		}
		say := func(line int, what string) {
			h.logProblems = append(h.logProblems, diag.Problem{File: inc.Log, Line: line, Column: min(1, line), Severity: diag.Warning,
				Message: fmt.Sprintf("temperature log of %s: %s", inc.ID, what)})
		}
		st, err := os.Stat(h.logPath(inc.Log))
		if errors.Is(err, fs.ErrNotExist) {
			continue // said where the record stands
		}
		if err == nil && !st.Mode().IsRegular() {
			err = errors.New("it is no file") // opening a pipe would wait for ever
		}
		var f *os.File
		if err == nil {
			f, err = os.Open(h.logPath(inc.Log))
		}
		if err != nil {
			say(0, fmt.Sprintf("cannot be read (%v): its set point is used", err))
			continue
		}
		l, err := thermolog.Read(f, h.settings.Zone)
		f.Close()
		if err != nil {
			say(0, err.Error())
			continue
		}
		for _, fault := range l.Faults {
			say(fault.Line, fault.What)
		}
		h.logged[inc.ID] = l.Days
		if what := besides(&inc, l.Days, h.records.Units); what != "" {
			say(0, what)
		}
	}
}

// besides says where an incubator's latest logged days are not what it is set
// to: one of the two thermometers errs, or the heat does.
func besides(inc *husbandry.Incubator, logged map[civil.Date][]husbandry.Celsius, u husbandry.Units) string {
	const (
		latest = 14  // days
		much   = 1.0 // °C, some ten per cent of the time that eggs take
	)
	days := slices.SortedFunc(maps.Keys(logged), civil.Date.Compare)
	days = days[max(0, len(days)-latest):]
	var off, mean, n husbandry.Celsius
	for _, d := range days {
		for _, t := range logged[d] {
			off, mean, n = off+t-inc.SetTo(d), mean+t, n+1
		}
	}
	if n == 0 || math.Abs(float64(off/n)) < much {
		return ""
	}
	return fmt.Sprintf("its last %s are at %s on average, and it is set to %s: forecasts go by the log; look which is right, with another thermometer",
		plural(len(days), "day", "days"), u.Temperature(mean/n), u.Temperature(inc.SetTo(days[len(days)-1])))
}

func (h *House) logPath(log string) string {
	if filepath.IsAbs(log) {
		return log
	}
	return filepath.Join(h.Dir, filepath.FromSlash(log))
}

// logPrint tells whether the logs are the ones read before.
func (h *House) logPrint() string {
	var b strings.Builder
	for _, inc := range h.records.Incubators {
		if inc.Log == "" {
			continue
		}
		if st, err := os.Stat(h.logPath(inc.Log)); err == nil {
			fmt.Fprintln(&b, inc.ID, inc.Log, st.Size(), st.ModTime().UnixNano())
		}
	}
	return b.String()
}

// forecasts are those of the planner, with what the incubators logged.
func (h *House) forecasts(latitude float64) scheduler.Forecasts {
	return &scheduler.Calibrated{Plain: scheduler.Plain{Latitude: latitude}, Logged: h.logged}
}
