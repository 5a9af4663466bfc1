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
	"time"

	"nestround/config/diag"
	"nestround/config/thermolog"
	"nestround/notify/digest"
	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// thermologs has the incubators' temperature logs as they were last read.
type thermologs struct {
	days     map[husbandry.ID]map[civil.Date][]husbandry.Celsius
	problems diag.List // problems of the logs, for check
	words    []logWord // problems of the logs, for the digest
}

// readLogs reads the incubators' temperature logs and lists their problems. If
// a log cannot be read, the set point counts instead.
func readLogs(dir string, records *husbandry.Records, zone *time.Location, today civil.Date) *thermologs {
	logs := &thermologs{days: make(map[husbandry.ID]map[civil.Date][]husbandry.Celsius)}
	for _, inc := range records.Incubators {
		if inc.Log == "" {
			continue
		}
		say := func(line int, what string) {
			logs.problems = append(logs.problems, diag.Problem{File: inc.Log, Line: line, Column: min(1, line), Severity: diag.Warning,
				Message: fmt.Sprintf("temperature log of %s: %s", inc.ID, what)})
		}
		still := func(what string) { logs.words = append(logs.words, logWord{inc: inc.ID, what: what}) }
		f, err := disk.Open(logPath(dir, inc.Log))
		if errors.Is(err, fs.ErrNotExist) {
			continue // the problem is reported at the record
		}
		if err != nil {
			what := fmt.Sprintf("cannot be read (%v): its set point is used", err)
			say(0, what)
			still(what)
			continue
		}
		l, err := thermolog.Read(f, zone)
		f.Close()
		if err != nil {
			say(0, err.Error())
			still(err.Error())
			continue
		}
		for _, fault := range l.Faults {
			say(fault.Line, fault.What)
			if fault.Unused || !fault.Day.IsZero() {
				logs.words = append(logs.words, logWord{inc: inc.ID, what: fault.What, day: fault.Day})
			}
		}
		logs.days[inc.ID] = l.Days
		for _, what := range []string{ahead(l.Days, today), besides(&inc, l.Days, today, records.Units)} {
			if what != "" {
				say(0, what)
				still(what)
			}
		}
	}
	return logs
}

// logWord is a sentence of the digest about an incubator's log.
type logWord struct {
	inc  husbandry.ID
	what string
	day  civil.Date // day of the problem; zero: it persists
}

// logNotices returns the problems of the logs of incubators with eggs:
// persisting problems, and problems since the day before yesterday. The verb
// check lists all problems.
func logNotices(s *Snapshot, today civil.Date) (list []digest.Notice) {
	if len(s.logs.words) == 0 {
		return nil
	}
	eggs := make(map[husbandry.ID]bool)
	for _, c := range outlook.ClutchForecasts(scheduler.NewDay(s.day(civil.Date{}, today, today))) {
		if c.State != herd.HatchedAll && c.State != herd.Ended {
			eggs[c.Incubator] = true
		}
	}
	const fresh = 2 // days
	for _, w := range s.logs.words {
		if eggs[w.inc] && (w.day.IsZero() || w.day.Sub(today) >= -fresh) {
			list = append(list, digest.Notice{Urgent: true, Text: fmt.Sprintf("Temperature log of %s: %s", w.inc, w.what)})
		}
	}
	return list
}

// ahead warns of logged days in the future.
func ahead(logged map[civil.Date][]husbandry.Celsius, today civil.Date) string {
	n := 0
	var last civil.Date
	for d := range logged {
		if d.After(today) {
			n, last = n+1, civil.Max(last, d)
		}
	}
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("%s after today, until %s, not used: look at the logger's clock", english.CountForms(n, "day is", "days are"), english.Date(last))
}

// besides warns if the temperatures of an incubator's latest logged days differ
// from its set point. The cause is a wrong thermometer, either the logger or
// the incubator's own, or a faulty heating.
func besides(inc *husbandry.Incubator, logged map[civil.Date][]husbandry.Celsius, today civil.Date, u husbandry.Units) string {
	const (
		latest = 14  // days
		old    = 30  // days after which an ended log is out of date
		much   = 1.0 // °C, about ten per cent of the incubation time
	)
	days := slices.DeleteFunc(slices.SortedFunc(maps.Keys(logged), civil.Date.Compare), func(d civil.Date) bool { return d.After(today) || today.Sub(d) > old })
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
		english.Days(len(days)), u.Temperature(mean/n), u.Temperature(inc.SetTo(days[len(days)-1])))
}

func logPath(dir, log string) string {
	if filepath.IsAbs(log) {
		return log
	}
	return filepath.Join(dir, filepath.FromSlash(log))
}

// logPrint returns a text that changes when the logs change.
func logPrint(dir string, records *husbandry.Records) string {
	var b strings.Builder
	for _, inc := range records.Incubators {
		if inc.Log == "" {
			continue
		}
		if st, err := os.Stat(logPath(dir, inc.Log)); err == nil {
			fmt.Fprintln(&b, inc.ID, inc.Log, st.Size(), st.ModTime().UnixNano())
		}
	}
	return b.String()
}
