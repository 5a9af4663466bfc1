package thermolog_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"nestround/config/thermolog"
	"nestround/tasks/civil"
)

var vienna = func() *time.Location {
	l, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		panic(err)
	}
	return l
}()

// said returns the text of a fault, with its line in front if it has one.
func said(f thermolog.Fault) string {
	if f.Line == 0 {
		return f.What
	}
	return fmt.Sprintf("line %d: %s", f.Line, f.What)
}

// hourly writes n hourly readings, starting on a day in May.
func hourly(n int, line func(at time.Time, i int) string) string {
	var b strings.Builder
	at := time.Date(2027, 5, 12, 0, 0, 0, 0, vienna)
	for i := range n {
		if s := line(at.Add(time.Duration(i)*time.Hour), i); s != "" {
			b.WriteString(s + "\n")
		}
	}
	return b.String()
}

func plain(at time.Time, i int) string {
	return fmt.Sprintf("%s,%.1f", at.Format("2006-01-02 15:04"), 28+float64(i%3)/10)
}

func read(t *testing.T, text string) *thermolog.Log {
	t.Helper()
	l, err := thermolog.Read(strings.NewReader(text), vienna)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func TestLogs(t *testing.T) {
	const day = "2006-01-02 15:04"
	// Valid logs with temperatures far from 28 °C.
	astray := map[string]bool{
		"a power cut in the log": true, "a cold room for three days": true, "a thermostat that stuck, twice": true,
		"intended cool nights": true, "a new set point": true,
	}
	for name, c := range map[string]struct {
		text string
		days int
		says []string // nil: nothing
	}{
		"clean": {"time,°C\n" + hourly(72, plain), 3, nil},
		"semicolons and decimal commas": {hourly(48, func(at time.Time, i int) string {
			return strings.ReplaceAll(strings.Replace(plain(at, i), ",", ";", 1), ".", ",")
		}), 2, nil},
		"an offset in every time":        {hourly(48, func(at time.Time, i int) string { return at.UTC().Format(time.RFC3339) + ",28" + fmt.Sprint(".", i%3) }), 2, nil},
		"Fahrenheit by its heading":      {"time,Temp (°F)\n" + hourly(48, func(at time.Time, i int) string { return at.Format(day) + fmt.Sprintf(",%d", 82+i%2) }), 2, []string{"converted"}},
		"Fahrenheit in a Celsius column": {"time,°C\n" + hourly(48, func(at time.Time, i int) string { return at.Format(day) + fmt.Sprintf(",%d", 82+i%2) }), 0, []string{"looks like degrees Fahrenheit"}},
		"Celsius in a Fahrenheit column": {"time,°F\n" + hourly(48, plain), 0, []string{"looks like degrees Celsius"}},
		"some readings in Fahrenheit": {hourly(72, func(at time.Time, i int) string {
			if i == 30 {
				return at.Format(day) + ",82.4"
			}
			return plain(at, i)
		}), 3, []string{"1 reading is outside 2 to 45 °C, the first 82.4: left out; it would be right in Fahrenheit"}},
		"a gap": {hourly(96, func(at time.Time, i int) string {
			if i >= 30 && i < 50 {
				return ""
			}
			return plain(at, i)
		}), 3, []string{"1 gap of more than 6 hours, the longest of 21 hours", "1 day with readings of fewer than 18 hours"}},
		"every four hours": {hourly(96, func(at time.Time, i int) string {
			if i%4 != 0 {
				return ""
			}
			return plain(at, i)
		}), 4, nil},
		"a power cut with the logger off": {hourly(72, func(at time.Time, i int) string {
			switch {
			case i >= 24 && i < 36:
				return ""
			case i >= 36 && i < 39:
				return at.Format(day) + ",27.1"
			}
			return at.Format(day) + fmt.Sprintf(",29.%d", 5+i%3)
		}), 3, []string{"no readings for 13 hours from 12 May 2027 23:00, then 27.1 °C after 29.7: looks like a power cut"}},
		"a power cut in the log": {hourly(72, func(at time.Time, i int) string {
			if i >= 30 && i < 36 {
				return at.Format(day) + ",23.9"
			}
			return plain(at, i)
		}), 3, []string{"line 31: down to 23.9 °C for 6 hours from 13 May 2027 06:00: was the heat off?"}},
		"a cold room for three days": {hourly(240, func(at time.Time, i int) string {
			if i >= 100 && i < 172 {
				return at.Format(day) + fmt.Sprintf(",28.%d", i%2)
			}
			return at.Format(day) + fmt.Sprintf(",33.%d", i%3)
		}), 10, []string{"line 101: down to 28.0 °C for 72 hours from 16 May 2027 04:00: was the heat off?"}},
		"a thermostat that stuck, twice": {hourly(240, func(at time.Time, i int) string {
			switch {
			case i >= 100 && i < 106:
				return at.Format(day) + ",33.4"
			case i >= 200 && i < 202:
				return at.Format(day) + ",32.1"
			}
			return plain(at, i)
		}), 10, []string{"line 201: up to 32.1 °C for 2 hours from 20 May 2027 08:00, the last of 2 times (33.4 °C from 16 May 2027 04:00): does the thermostat stick, or the sun shine in?"}},
		"intended cool nights": {hourly(240, func(at time.Time, i int) string {
			return at.Format(day) + fmt.Sprintf(",%.1f", 28+5*math.Sin(float64(at.Hour()-9)/24*2*math.Pi))
		}), 10, nil},
		"a new set point": {hourly(480, func(at time.Time, i int) string {
			if i < 240 {
				return at.Format(day) + fmt.Sprintf(",24.%d", i%3)
			}
			return at.Format(day) + fmt.Sprintf(",28.%d", i%3)
		}), 20, nil},
		"a resolution of half a degree": {hourly(480, func(at time.Time, i int) string {
			return at.Format(day) + fmt.Sprintf(",%.1f", 28+float64(i/90%2)/2)
		}), 20, nil},
		"from an afternoon to a morning": {hourly(72, func(at time.Time, i int) string {
			if i < 15 || i > 54 {
				return ""
			}
			return plain(at, i)
		}), 1, nil},
		"fractions of seconds": {hourly(48, func(at time.Time, i int) string {
			return at.Format("2006-01-02 15:04:05.000") + fmt.Sprintf(",28.%d", i%3)
		}), 2, nil},
		"tenths of degrees": {hourly(48, func(at time.Time, i int) string { return at.Format(day) + fmt.Sprintf(",%d", 280+i%3) }), 0, []string{"no temperature of eggs"}},
		"a stuck sensor": {hourly(240, func(at time.Time, i int) string {
			if i >= 48 && i < 168 {
				return at.Format(day) + ",29.9"
			}
			return plain(at, i)
		}), 5, []string{"the sensor looks stuck", "1 gap of"}},
		"the same value throughout": {hourly(96, func(at time.Time, i int) string { return at.Format(day) + ",28.0" }), 4, []string{"in every reading: used, but look"}},
		"backwards": {hourly(48, func(at time.Time, i int) string {
			return plain(time.Date(2027, 5, 13, 23, 0, 0, 0, vienna).Add(-time.Duration(i)*time.Hour), i)
		}), 2, []string{"line 2: times run backwards: put in order"}},
		"readings repeated":      {hourly(48, plain) + hourly(48, plain), 2, []string{"backwards", "48 readings repeat a time"}},
		"one time, two values":   {hourly(48, plain) + "2027-05-12 03:00,22.0\n", 2, []string{"backwards", "2 readings of one time contradict each other"}},
		"not a table":            {"hello\nworld\n\x00\x01\n", 0, []string{"line 3: no line is a time and a temperature: write them like 2027-05-12 06:00,28.1"}},
		"only a heading":         {"time,°C\n", 0, []string{"no readings yet"}},
		"dates in another order": {"time,°C\n05/12/2027 06:00,28.1\n", 0, []string{"line 2: no line is a time and a temperature"}},
		"one broken line":        {hourly(24, plain) + "2027-05-13 00:00,ERR\n" + hourly(0, plain), 1, []string{"line 25: 1 line is not a time and a temperature"}},
		"empty":                  {"", 0, []string{"no readings"}},
	} {
		t.Run(name, func(t *testing.T) {
			l := read(t, c.text)
			if len(l.Days) != c.days || len(l.Faults) != len(c.says) {
				t.Errorf("%d days, want %d; faults %v, want %q", len(l.Days), c.days, l.Faults, c.says)
				return
			}
			for i, s := range c.says {
				if !strings.Contains(said(l.Faults[i]), s) {
					t.Errorf("fault %q, want %q", said(l.Faults[i]), s)
				}
			}
			for _, hours := range l.Days {
				for _, h := range hours {
					if (h < 27 || h > 30) && !astray[name] {
						t.Errorf("%.1f °C was in no reading that is right", float64(h))
					}
				}
			}
		})
	}
}

// Vienna's clocks went forward on 28 March 2027 at 2:00 and back on 31 October
// at 3:00 (the European Union's rule, Directive 2000/84/EC).
func TestClockChanges(t *testing.T) {
	var b strings.Builder
	for h := range 24 {
		fmt.Fprintf(&b, "2027-03-28 %02d:00,28.%d\n", h, h%3)
	}
	l := read(t, b.String())
	if len(l.Faults) == 0 || !strings.Contains(said(l.Faults[0]), "line 3: 1 time does not exist, as the clocks went forward") || len(l.Days[civil.MustParse("2027-03-28")]) != 23 {
		t.Errorf("forward: %v, %d hours", l.Faults, len(l.Days[civil.MustParse("2027-03-28")]))
	}
	b.Reset()
	for _, h := range []int{0, 1, 2, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23} {
		fmt.Fprintf(&b, "2027-10-31 %02d:00,28.%d\n", h, b.Len()/20%9)
	}
	if l := read(t, b.String()); len(l.Days[civil.MustParse("2027-10-31")]) != 24 {
		t.Errorf("back: %v, %d hours", l.Faults, len(l.Days[civil.MustParse("2027-10-31")]))
	}
}

func TestReadReturnsReaderError(t *testing.T) {
	if _, err := thermolog.Read(broken{}, vienna); err == nil || !strings.Contains(err.Error(), "line 1: pulled out") {
		t.Errorf("got %v", err)
	}
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, fmt.Errorf("pulled out") }

func FuzzRead(f *testing.F) {
	f.Add("time,°C\n2027-05-12 00:00,28.1\n2027-05-12 00:00,82\n")
	f.Add("2027-05-12T00:00:00+02:00;28,1\n\t\n,,,\n")
	f.Add("2027-03-28 02:30,28\n0000-01-01 00:00,28\n9999-12-31 23:59,NaN")
	f.Fuzz(func(t *testing.T, text string) {
		l, err := thermolog.Read(strings.NewReader(text), vienna)
		if err != nil {
			t.Fatal(err)
		}
		for day, hours := range l.Days {
			if len(hours) < 18 || len(hours) > 24 {
				t.Errorf("%v has %d hours", day, len(hours))
			}
			for _, h := range hours {
				if math.IsNaN(float64(h)) || h < 1.9 || h > 45.1 {
					t.Errorf("%v: %g °C", day, float64(h))
				}
			}
		}
	})
}

func BenchmarkAYearOfMinutes(b *testing.B) {
	var s strings.Builder
	at := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range 365 * 24 * 60 {
		fmt.Fprintf(&s, "%s,%.1f\n", at.Add(time.Duration(i)*time.Minute).Format(time.RFC3339), 28+float64(i%7)/10)
	}
	b.SetBytes(int64(s.Len()))
	for b.Loop() {
		if _, err := thermolog.Read(strings.NewReader(s.String()), vienna); err != nil {
			b.Fatal(err)
		}
	}
}
