package calendar

import (
	"bytes"
	"cmp"
	"errors"
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

var update = flag.Bool("update", false, "write the golden files anew")

func date(s string) civil.Date { return civil.MustParse(s) }

func mustRender(t testing.TB, c Content, s Scope) []byte {
	t.Helper()
	b, err := Render(c, s, NewRevisions(&Memory{}))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestGolden(t *testing.T) {
	alarm := civil.TimeOfDay(9*60 + 15)
	withAlarm := sample()
	withAlarm.Alarm = &alarm
	empty := Content{Install: "b7k2m9", Now: morning, Today: today}
	for file, bytes := range map[string][]byte{
		"everything.ics":  mustRender(t, sample(), Scope{}),
		"egg-room.ics":    mustRender(t, sample(), Scope{Room: "H"}),
		"renewed.ics":     mustRender(t, sample(), Scope{Room: "H", Ends: today.AddDays(14)}),
		"with-alarms.ics": mustRender(t, withAlarm, Scope{}),
		"empty.ics":       mustRender(t, empty, Scope{}),
	} {
		t.Run(file, func(t *testing.T) {
			mustBeValid(t, bytes)
			path := "testdata/" + file
			if *update {
				if err := os.WriteFile(path, bytes, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if string(bytes) != string(want) {
				t.Errorf("differs from %s; got\n%s", path, bytes)
			}
		})
	}
}

// sampleEvents are the events of the sample: UID without the id of the books,
// first day, day after the last, summary. The twelve digits in the UIDs of
// facts were computed with sha256sum.
var sampleEvents = [][4]string{
	{"status.all", "20270512", "20270513", "Calendar up to date: 5 open tasks today, 1 overdue"},
	{"fact.pairing-leopard-gecko.203e2a02c71b", "20270301", "20270701", "Pairing season of leopard geckos"},
	{"fact.hatching-c27-04.ed56eba0cebd", "20270510", "20270517", "Clutch C27-04 hatches"},
	{"20270511.room-g", "20270511", "20270512", "Gecko room 1/2 done"},
	{"20270512.keeper", "20270512", "20270513", "For the keeper: 1 task"},
	{"20270512.room-g", "20270512", "20270513", "Gecko room 1/6 done, 1 overdue, 1 skipped, 1 put off, 1 lapsed"},
	{"20270512.room-h", "20270512", "20270513", "Egg room: 1 task"},
	{"20270513.room-g", "20270513", "20270514", "Gecko room: 2 tasks"},
	{"20270515.room-h", "20270515", "20270516", "Egg room: 1 task"},
	{"fact.laying-f03.e1cc596c30af", "20270601", "20270609", "F03 may lay"},
}

func TestEventsMatchPlan(t *testing.T) {
	cal := mustBeValid(t, mustRender(t, sample(), Scope{}))
	if len(cal.subs) != len(sampleEvents) {
		t.Errorf("%d events, want %d", len(cal.subs), len(sampleEvents))
	}
	for i, e := range cal.subs {
		got := [4]string{strings.TrimSuffix(e.get("UID"), ".b7k2m9@feed"), e.get("DTSTART"), e.get("DTEND"), e.text("SUMMARY")}
		if i < len(sampleEvents) && got != sampleEvents[i] {
			t.Errorf("event %d\n got %q\nwant %q", i, got, sampleEvents[i])
		}
	}
}

func TestDescriptionOfDay(t *testing.T) {
	events := byUID(mustBeValid(t, mustRender(t, sample(), Scope{})))
	for _, c := range []struct {
		name, uid string
		want      []string // lines, in this order
		never     []string
	}{
		{"today has numbers, headings, ticks and words", "20270512.room-g",
			[]string{"Overdue:", "1. Dig up the eggs of C27-09 – overdue, was due Tue 11 May 2027", "Morning:", "3. ✓ Fresh water for E07 – done",
				"4. Top up the nest box of E07", "   every 2 days, last on 2027-05-10", "5. Weigh F03 – skipped",
				"6. Clean E02 – put off to Fri 14 May 2027", "Evening:", "8. Mist E07", "Lapsed:", "• Feed E03 – not done, no longer owed",
				"Caution: Wash your hands after touching animals or eggs (Salmonella).", "https://lizards.example.org/view/abc"},
			[]string{"Gut-load", "C27-04", "Numbers for replies"}},
		{"a past day shows the marks", "20270511.room-g",
			[]string{"1. ✓ Fresh water for E07 – done", "2. Feed E03 – not done"}, []string{"Morning:", "https:", "every 2 days"}},
		{"a day to come has no numbers and says why", "20270513.room-g",
			[]string{"• Feed: E07, E08", "Numbers for replies come with that morning's digest."}, []string{"1. ", "https:"}},
		{"a caution stands with its task", "20270512.room-h",
			[]string{"7. Watch the eggs of C27-04", "   day 41 of clutch C27-04 (laid 1 Apr, 28.0 °C): hatching most likely 10-16 May, 18 % today",
				"Caution: Do not open, turn or throw away eggs; late ones hatch too."}, nil},
		{"the keeper's own tasks", "20270512.keeper", []string{"2. Gut-load the crickets"}, []string{"Fresh water"}},
		{"a fact keeps its lines", "fact.hatching-c27-04.ed56eba0cebd",
			[]string{"5 to 95 % between 10 and 16 May; 41 days at 28.0 °C.", "Basis: 3 own clutches, 2 papers; plan, not promise."}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := events[c.uid+".b7k2m9@feed"]
			if e == nil {
				t.Fatal("no such event")
			}
			lines := strings.Split(e.text("DESCRIPTION"), "\n")
			at := 0
			for _, w := range c.want {
				i := slices.Index(lines[at:], w)
				if i < 0 {
					t.Fatalf("no line %q after %d in\n%s", w, at, strings.Join(lines, "\n"))
				}
				at += i + 1
			}
			for _, n := range c.never {
				if strings.Contains(e.text("DESCRIPTION"), n) {
					t.Errorf("%q in\n%s", n, strings.Join(lines, "\n"))
				}
			}
		})
	}
}

// Alarms stand first on their day, and count in the summary line that a month's
// view shows.
func TestAlarmsStandFirst(t *testing.T) {
	c := sample()
	rows := c.Boards[1].Rows
	box := rows[3]
	box.Pinned = true
	c.Boards[1].Rows = slices.Insert(slices.Delete(rows, 3, 4), 0, box)
	e := byUID(mustBeValid(t, mustRender(t, c, Scope{})))["20270512.room-g.b7k2m9@feed"]
	if got := e.text("SUMMARY"); !strings.Contains(got, ", 1 alarm, 1 overdue") {
		t.Error(got)
	}
	if text := e.text("DESCRIPTION"); !strings.HasPrefix(text, "Alarm:\n4. Top up the nest box of E07\n") {
		t.Error(text)
	}
}

func TestLongDayPutsAlikeTasksOnOneLine(t *testing.T) {
	c := Content{Install: "x", Now: morning, Today: today}
	b := &tasks.Board{On: today}
	for i := range 60 {
		s := tasks.Due
		if i < 2 {
			s = tasks.Done
		}
		row := tasks.Row{N: i + 1, Task: task(husbandry.Feed, fmt.Sprintf("E%02d", i), "Feed", geckoRoom, today, s)}
		b.Rows = append(b.Rows, row)
		c.Coming = append(c.Coming, task(husbandry.Feed, fmt.Sprintf("E%02d", i), "Feed", geckoRoom, today.AddDays(1), tasks.Upcoming))
	}
	c.Boards = []*tasks.Board{b}
	events := byUID(mustBeValid(t, mustRender(t, c, Scope{})))
	now := events["20270512.room-g.x@feed"].text("DESCRIPTION")
	if !strings.HasPrefix(now, "• ✓ Feed: E00 (1), E01 (2) – done\n• Feed: E02 (3), E03 (4), ") || strings.Count(now, "\n") != 1 {
		t.Errorf("today:\n%s", now)
	}
	next := events["20270513.room-g.x@feed"]
	if d := next.text("DESCRIPTION"); !strings.HasPrefix(d, "• Feed: E00, E01, E02, ") || next.text("SUMMARY") != "Gecko room: 60 tasks" {
		t.Errorf("tomorrow: %s\n%s", next.text("SUMMARY"), d)
	}
}

func TestCautionsOnceAndOnlyForOpenTasks(t *testing.T) {
	describe := func(cautions ...string) string {
		b := &tasks.Board{On: today}
		for i, words := range cautions {
			k := task(husbandry.Feed, fmt.Sprintf("E%02d", i), "Feed", geckoRoom, today, tasks.Due)
			if k.Caution = words; words == "done" {
				k.Status = tasks.Done
			}
			b.Rows = append(b.Rows, tasks.Row{N: i + 1, Task: k})
		}
		c := Content{Install: "x", Now: morning, Today: today, Boards: []*tasks.Board{b}}
		return byUID(mustBeValid(t, mustRender(t, c, Scope{})))["20270512.room-g.x@feed"].text("DESCRIPTION")
	}
	if got := describe("Wash your hands.", "Mind the heat lamp.", "Wash your hands.", "done", ""); !strings.HasSuffix(got, "\nCaution: Wash your hands.\nCaution: Mind the heat lamp.") || strings.Count(got, "Caution") != 2 {
		t.Errorf("got\n%s", got)
	}
	var many []string
	for i := range maxCautions + 3 {
		many = append(many, fmt.Sprint("Caution number ", i))
	}
	got := describe(many...)
	if strings.Count(got, "Caution: Caution number") != maxCautions || !strings.HasSuffix(got, "\nCaution: there are more cautions; read them in the digest before you begin.") {
		t.Errorf("got\n%s", got)
	}
}

// Far ahead, only watches and alarms show their cautions; all others appear
// when the day is near.
func TestOnlyWatchesHaveCautionsFarAhead(t *testing.T) {
	c := Content{Install: "x", Now: morning, Today: today}
	for _, days := range []int{near, near + 1} {
		feed := task(husbandry.Feed, "E07", "Feed", geckoRoom, today.AddDays(days), tasks.Upcoming)
		feed.Caution = "Wash your hands."
		watch := task(husbandry.HatchWatch, "C27-04", "Watch the eggs of", geckoRoom, today.AddDays(days), tasks.Upcoming)
		watch.Caution, watch.Window = "Do not open eggs.", &tasks.Window{Name: husbandry.HatchWindow}
		c.Coming = append(c.Coming, feed, watch)
	}
	events := byUID(mustBeValid(t, mustRender(t, c, Scope{})))
	for day, want := range map[string]int{"20270519": 2, "20270520": 1} {
		got := events[day+".room-g.x@feed"].text("DESCRIPTION")
		if strings.Count(got, "Caution:") != want || !strings.Contains(got, "Do not open eggs.") {
			t.Errorf("%s, want %d cautions:\n%s", day, want, got)
		}
	}
}

func TestDescriptionIsLimited(t *testing.T) {
	for _, n := range []int{maxRows, 2000} {
		b := &tasks.Board{On: today}
		for i := range n {
			k := task(husbandry.Own, fmt.Sprintf("E%04d", i), "x", geckoRoom, today, tasks.Due)
			k.Title = fmt.Sprint(strings.Repeat("sweep the floor ", 11), i) // no two titles are alike
			k.Do = k.Title
			b.Rows = append(b.Rows, tasks.Row{N: i + 1, Task: k})
		}
		c := Content{Install: "x", Now: morning, Today: today, Boards: []*tasks.Board{b}}
		e := byUID(mustBeValid(t, mustRender(t, c, Scope{})))["20270512.room-g.x@feed"]
		got := e.text("DESCRIPTION")
		if i := strings.LastIndex(got, "\n"); len(got) > maxDescription+300 || !strings.HasSuffix(got[i:], "more; the digest has all of them.") {
			t.Errorf("%d tasks: %d octets, ending %q", n, len(got), got[i:])
		}
		var left int
		if _, err := fmt.Sscanf(got[strings.LastIndex(got, "\n")+1:], "and %d tasks more", &left); err != nil {
			t.Error(err)
		}
		listed := 0
		for l := range strings.SplitSeq(got, "\n") {
			if strings.Contains(l, "sweep") {
				listed++
			}
		}
		if listed+left != n || e.text("SUMMARY") != fmt.Sprintf("Gecko room: %d tasks", n) {
			t.Errorf("%d tasks: %d listed, %d left, summary %q", n, listed, left, e.text("SUMMARY"))
		}
	}
}

func TestRoomFeedHasTheSameEvents(t *testing.T) {
	r := NewRevisions(&Memory{})
	c := sample()
	render := func(s Scope) map[string]*comp {
		b, err := Render(c, s, r)
		if err != nil {
			t.Fatal(err)
		}
		return byUID(mustBeValid(t, b))
	}
	render(Scope{})
	c.Boards[1].Rows[6].Title = "Look at the eggs of C27-04" // its event moves to revision 1
	c.Now = c.Now.Add(time.Hour)
	all, room := render(Scope{}), render(Scope{Room: "H"})
	shared := 0
	for uid, e := range room {
		if strings.HasPrefix(uid, "status.") {
			continue
		}
		shared++
		other := all[uid]
		if other == nil {
			t.Errorf("%s is not in the calendar of everything", uid)
			continue
		}
		if !slices.Equal(e.props, other.props) {
			t.Errorf("%s differs:\n%v\n%v", uid, e.props, other.props)
		}
	}
	if shared != 3 { // today, the tub check, the hatching
		t.Errorf("%d events of the room, want 3", shared)
	}
	if got := room["20270512.room-h.b7k2m9@feed"].get("SEQUENCE"); got != "1" {
		t.Errorf("SEQUENCE %s after one change", got)
	}
}

func TestNamesOfCalendars(t *testing.T) {
	for _, c := range []struct {
		name string
		s    Scope
		want string
	}{
		{"Mornings at the lizard room", Scope{}, "Mornings at the lizard room"},
		{"", Scope{}, "Lizard rounds"},
		{"Spring; eggs, and all", Scope{Room: "H"}, "Spring; eggs, and all: Egg room"},
		{"a", Scope{Room: "gone"}, "a: gone"},
	} {
		content := sample()
		content.Name = c.name
		cal := mustBeValid(t, mustRender(t, content, c.s))
		// RFC 7986, 5.1: NAME is TEXT.
		if cal.text("NAME") != c.want || cal.text("X-WR-CALNAME") != c.want {
			t.Errorf("NAME %q, X-WR-CALNAME %q, want %q", cal.text("NAME"), cal.text("X-WR-CALNAME"), c.want)
		}
	}
}

func TestAlarms(t *testing.T) {
	c := sample()
	at := civil.TimeOfDay(9*60 + 15)
	c.Alarm = &at
	var got []string
	for _, e := range mustBeValid(t, mustRender(t, c, Scope{})).subs {
		for _, a := range e.subs {
			if a.get("ACTION") != "DISPLAY" || a.get("TRIGGER") != "PT9H15M" || a.get("DESCRIPTION") != e.get("SUMMARY") || a.get("UID") != "alarm."+e.get("UID") {
				t.Errorf("%s: alarm %v", e.get("UID"), a.props)
			}
			got = append(got, strings.TrimSuffix(e.get("UID"), ".b7k2m9@feed"))
		}
	}
	want := []string{"20270512.keeper", "20270512.room-g", "20270512.room-h", "20270513.room-g", "20270515.room-h"}
	if !slices.Equal(got, want) { // no past day, no fact
		t.Errorf("alarms on %q, want %q", got, want)
	}
}

func TestSentinel(t *testing.T) {
	row := func(s tasks.Status) tasks.Row {
		return tasks.Row{N: 1, Task: task(husbandry.Feed, "E07", "Feed", geckoRoom, today, s)}
	}
	next := []tasks.Task{task(husbandry.Feed, "E07", "Feed", geckoRoom, today.AddDays(2), tasks.Upcoming)}
	for _, c := range []struct {
		name   string
		today  []tasks.Row
		coming []tasks.Task
		want   string
	}{
		{"nothing at all", nil, nil, "Calendar up to date: nothing planned"},
		{"all done", []tasks.Row{row(tasks.Done)}, nil, "Calendar up to date: nothing planned"},
		{"all done, more to come", []tasks.Row{row(tasks.Done)}, next, "Calendar up to date: next tasks on Fri 14 May 2027"},
		{"one open", []tasks.Row{row(tasks.Due)}, next, "Calendar up to date: 1 open task today"},
		{"one overdue", []tasks.Row{row(tasks.Overdue)}, next, "Calendar up to date: 1 open task today, 1 overdue"},
	} {
		t.Run(c.name, func(t *testing.T) {
			content := Content{Install: "x", Now: morning, Today: today, Boards: []*tasks.Board{{On: today, Rows: c.today}}, Coming: c.coming}
			events := byUID(mustBeValid(t, mustRender(t, content, Scope{})))
			if e := events["status.all.x@feed"]; e == nil || e.text("SUMMARY") != c.want {
				t.Errorf("got %v, want %q", e, c.want)
			}
		})
	}
}

func TestTooMuchIsCutFarFromToday(t *testing.T) {
	big := facility(2000)
	t.Run("by size", func(t *testing.T) {
		cal := mustBeValid(t, mustRender(t, big, Scope{}))
		first, last := cal.subs[0], cal.subs[len(cal.subs)-1]
		if first.get("UID") != "status.all.f1@feed" || last.get("UID") != "cut.all.f1@feed" {
			t.Fatalf("first %s, last %s", first.get("UID"), last.get("UID"))
		}
		have := make(map[string]int)
		for _, e := range cal.subs[1 : len(cal.subs)-1] {
			have[e.get("DTSTART")]++
		}
		if have["20270512"] != 40 || have["20270513"] != 40 {
			t.Errorf("%d rooms today, %d tomorrow; want 40 each", have["20270512"], have["20270513"])
		}
		// Exactly the days in the notice are missing.
		cut := last.get("DTSTART")
		for _, d := range slices.Sorted(maps.Keys(have)) {
			if d > cut {
				t.Errorf("%d events on %s after the cut on %s", have[d], d, cut)
			}
			if d >= "20270512" && d < cut && have[d] != 40 {
				t.Errorf("%d events on %s before the cut on %s, want 40", have[d], d, cut)
			}
		}
		if s := last.text("SUMMARY"); !strings.HasPrefix(s, "Calendar cut here: entries from ") {
			t.Errorf("summary %q", s)
		}
	})
	t.Run("by number, on both sides of today", func(t *testing.T) {
		c := Content{Install: "x", Now: morning, Today: today}
		for i := -500; i <= 500; i++ {
			c.Facts = append(c.Facts, Fact{Key: fmt.Sprint("f", i), Title: "x", From: today.AddDays(i), To: today.AddDays(i)})
		}
		cal := mustBeValid(t, mustRender(t, c, Scope{}))
		last := cal.subs[len(cal.subs)-1]
		want := "Calendar cut here: entries from " + english.ShortWeekdayDate(today.AddDays(450)) + " on and up to " + english.ShortWeekdayDate(today.AddDays(-449)) + " are missing"
		if len(cal.subs) != MaxEvents || last.text("SUMMARY") != want {
			t.Errorf("%d events, last %q, want %q", len(cal.subs), last.text("SUMMARY"), want)
		}
	})
	t.Run("not cut at the limit itself", func(t *testing.T) {
		c := Content{Install: "x", Now: morning, Today: today}
		for i := range MaxEvents - 2 { // leave room for the sentinel and the notice
			c.Facts = append(c.Facts, Fact{Key: fmt.Sprint("f", i), Title: "x", From: today.AddDays(i), To: today.AddDays(i)})
		}
		for _, e := range mustBeValid(t, mustRender(t, c, Scope{})).subs {
			if strings.HasPrefix(e.get("UID"), "cut.") {
				t.Error("cut")
			}
		}
	})
	t.Run("a room reaches farther", func(t *testing.T) {
		for _, e := range mustBeValid(t, mustRender(t, big, Scope{Room: "R03"})).subs {
			if strings.HasPrefix(e.get("UID"), "cut.") {
				t.Errorf("the calendar of one room is cut: %s", e.get("SUMMARY"))
			}
		}
	})
}

func TestSameContentSameBytes(t *testing.T) {
	m := &Memory{}
	first, err := Render(sample(), Scope{}, NewRevisions(m))
	if err != nil {
		t.Fatal(err)
	}
	saved, _ := m.Load(revisionsFile)
	later := sample()
	later.Now = later.Now.Add(9 * time.Hour)
	slices.Reverse(later.Facts)
	slices.Reverse(later.Coming)
	slices.Reverse(later.Boards)
	again, err := Render(later, Scope{}, NewRevisions(m))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(first, again) {
		t.Errorf("bytes differ:\n%s\n%s", first, again)
	}
	if now, _ := m.Load(revisionsFile); !bytes.Equal(saved, now) {
		t.Error("revisions differ")
	}
}

// saves counts the calls of Save, and can make them fail.
type saves struct {
	Memory
	n    atomic.Int32
	fail error
}

func (s *saves) Save(name string, data []byte) error {
	s.n.Add(1)
	if s.fail != nil {
		return s.fail
	}
	return s.Memory.Save(name, data)
}

func TestRevisionsAreSavedBeforeServing(t *testing.T) {
	s := &saves{fail: errors.New("disk full")}
	b, err := Render(sample(), Scope{}, NewRevisions(s))
	if !errors.Is(err, s.fail) || b != nil {
		t.Fatalf("%d bytes and error %v although nothing was saved", len(b), err)
	}
	s.fail = nil
	r := NewRevisions(s)
	if _, err := Render(sample(), Scope{}, r); err != nil {
		t.Fatal(err)
	}
	if n := s.n.Load(); n != 2 {
		t.Fatalf("%d savings, want 2", n)
	}
	if _, err := Render(sample(), Scope{}, r); err != nil || s.n.Load() != 2 {
		t.Errorf("saved although nothing changed (%d), or %v", s.n.Load(), err)
	}
}

func TestDamagedRevisionsAreNotReplaced(t *testing.T) {
	for name, data := range map[string]string{"damaged": `{"version":1,"events":{`, "of a newer program": `{"version":2}`} {
		t.Run(name, func(t *testing.T) {
			m := &Memory{}
			_ = m.Save(revisionsFile, []byte(data))
			if b, err := Render(sample(), Scope{}, NewRevisions(m)); err == nil {
				t.Errorf("%d bytes and no error", len(b))
			}
			if got, _ := m.Load(revisionsFile); string(got) != data {
				t.Errorf("now %q", got)
			}
		})
	}
}

func TestInvalidContent(t *testing.T) {
	for name, change := range map[string]func(*Content){
		"no day":                    func(c *Content) { c.Today = civil.Date{} },
		"no moment":                 func(c *Content) { c.Now = time.Time{} },
		"no install id":             func(c *Content) { c.Install = "" },
		"install id with a newline": func(c *Content) { c.Install = "a\nb" },
		"page that injects":         func(c *Content) { c.Page = "https://h/\r\nSUMMARY:evil" },
		"page of another kind":      func(c *Content) { c.Page = "javascript:alert(1)" },
		"page without a host":       func(c *Content) { c.Page = "https:///x" },
		"board of tomorrow":         func(c *Content) { c.Boards[0].On = today.AddDays(1) },
		"two boards of a day":       func(c *Content) { c.Boards[0].On = today },
		"fact without a day":        func(c *Content) { c.Facts[0].From = civil.Date{} },
		"two facts of one key":      func(c *Content) { c.Facts[0].Key = "LAYING/f03" },
	} {
		t.Run(name, func(t *testing.T) {
			c := sample()
			change(&c)
			if b, err := Render(c, Scope{}, NewRevisions(&Memory{})); err == nil {
				t.Errorf("no error but %d bytes", len(b))
			}
		})
	}
}

func TestUIDsOfDifferentRecordsDiffer(t *testing.T) {
	long := strings.Repeat("x", 90)
	keys := []string{"a/b", "a-b", "a.b", "a_b", "a b", "ä", "ö", "", long + "1", long + "2", "room-a", "a\nb"}
	seen := make(map[string]string)
	for _, k := range keys {
		s := slug(k)
		if other, ok := seen[s]; ok {
			t.Errorf("%q and %q are both %s", k, other, s)
		}
		seen[s] = k
		if strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789-_.") != "" || len(s) > 100 {
			t.Errorf("%q becomes %q", k, s)
		}
	}
	if slug("C27-04") != "c27-04" {
		t.Errorf("an id does not stay readable: %q", slug("C27-04"))
	}
}

// rev has the values that a subscriber compares.
type rev struct{ seq, stamp, rest string }

func revs(t interface{ Fatal(...any) }, ics []byte) map[string]rev {
	cal, err := valid(ics)
	if err != nil {
		t.Fatal(err)
	}
	m := make(map[string]rev)
	for uid, e := range byUID(cal) {
		var rest []string
		for _, p := range e.props {
			if p.name != "SEQUENCE" && p.name != "LAST-MODIFIED" && p.name != "DTSTAMP" {
				rest = append(rest, p.name+p.params+":"+p.value)
			}
		}
		m[uid] = rev{fmt.Sprintf("%06s", e.get("SEQUENCE")), e.get("LAST-MODIFIED"), strings.Join(rest, "\n")}
	}
	return m
}

// someContent generates a plan of a few days and rooms.
func someContent(t *rapid.T) Content {
	c := Content{Install: "x", Now: morning, Today: today}
	statuses := []tasks.Status{tasks.Due, tasks.Overdue, tasks.Done, tasks.Skipped, tasks.Lapsed}
	for d := -2; d <= 4; d++ {
		b := &tasks.Board{On: today.AddDays(d)}
		for i := range rapid.IntRange(0, 5).Draw(t, "tasks of a day") {
			p := tasks.Place{Room: husbandry.ID(rapid.SampledFrom([]string{"A", "B", ""}).Draw(t, "room")), Order: i}
			k := task(husbandry.Feed, fmt.Sprintf("E%d", i), "Feed", p, b.On, rapid.SampledFrom(statuses).Draw(t, "status"))
			if d > 0 {
				k.Status = tasks.Upcoming
				c.Coming = append(c.Coming, k)
			} else {
				b.Rows = append(b.Rows, tasks.Row{N: i + 1, Task: k})
			}
		}
		if d <= 0 {
			c.Boards = append(c.Boards, b)
		}
	}
	return c
}

func TestEditingOneTaskChangesOnlyItsDay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := someContent(t)
		r := NewRevisions(&Memory{})
		render := func() map[string]rev {
			b, err := Render(c, Scope{}, r)
			if err != nil {
				t.Fatal(err)
			}
			return revs(t, b)
		}
		before := render()
		var all []*tasks.Task
		for _, b := range c.Boards {
			for i := range b.Rows {
				all = append(all, &b.Rows[i].Task)
			}
		}
		for i := range c.Coming {
			all = append(all, &c.Coming[i])
		}
		if len(all) == 0 {
			return
		}
		k := all[rapid.IntRange(0, len(all)-1).Draw(t, "edited")]
		k.Do = "Look closely at"
		k.Title = k.Do + " " + string(k.Subject)
		c.Now = c.Now.Add(time.Duration(rapid.IntRange(-9000, 9000).Draw(t, "seconds later")) * time.Second)
		after := render()
		group := "keeper"
		if k.Place.Room != "" {
			group = "room-" + strings.ToLower(string(k.Place.Room))
		}
		want := k.Due.Format("20060102") + "." + group + ".x@feed"
		for uid, a := range after {
			b := before[uid]
			if changed := a != b; changed != (uid == want) {
				t.Fatalf("%s changed: %v; edited was one of %s\n%v\n%v", uid, changed, want, b, a)
			}
		}
		if len(after) != len(before) || after[want].seq <= before[want].seq || after[want].stamp <= before[want].stamp {
			t.Fatalf("revision of %s went from %v to %v", want, before[want], after[want])
		}
	})
}

// The revision of an event that a subscriber sees never goes back, whatever
// happens to the clock or the content. It grows with every change.
func TestRevisionsOnlyGrow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := &Memory{}
		known := make(map[string]rev)
		now := morning
		for range rapid.IntRange(2, 6).Draw(t, "renderings") {
			c := someContent(t)
			now = now.Add(time.Duration(rapid.Int64Range(-1e5, 1e5).Draw(t, "seconds passed")) * time.Second)
			c.Now = now
			s := Scope{Room: husbandry.ID(rapid.SampledFrom([]string{"", "A", "B"}).Draw(t, "scope"))}
			b, err := Render(c, s, NewRevisions(m))
			if err != nil {
				t.Fatal(err)
			}
			for uid, n := range revs(t, b) {
				o, ok := known[uid]
				switch {
				case !ok:
				case n.rest == o.rest && (n.seq != o.seq || n.stamp != o.stamp):
					t.Fatalf("%s did not change but went from %v to %v", uid, o, n)
				case n.rest != o.rest && cmp.Or(strings.Compare(n.seq, o.seq), -1) <= 0:
					t.Fatalf("%s changed and SEQUENCE went from %s to %s", uid, o.seq, n.seq)
				case n.rest != o.rest && n.stamp <= o.stamp:
					t.Fatalf("%s changed and LAST-MODIFIED went from %s to %s", uid, o.stamp, n.stamp)
				}
				known[uid] = n
			}
		}
	})
}

func TestOldRevisionsAreForgotten(t *testing.T) {
	m := &Memory{}
	r := NewRevisions(m)
	c := sample()
	if _, err := Render(c, Scope{}, r); err != nil {
		t.Fatal(err)
	}
	const uid, fact = "20270511.room-g.b7k2m9@feed", "fact.laying-f03.e1cc596c30af.b7k2m9@feed"
	has := func(uid string) bool {
		data, _ := m.Load(revisionsFile)
		return strings.Contains(string(data), uid)
	}
	c.Boards, c.Coming = nil, nil
	c.Now, c.Today = c.Now.Add(399*24*time.Hour), c.Today.AddDays(399)
	if _, err := Render(c, Scope{}, r); err != nil || !has(uid) {
		t.Errorf("forgotten too early, or %v", err)
	}
	c.Now, c.Today = c.Now.Add(48*time.Hour), c.Today.AddDays(2)
	if _, err := Render(c, Scope{}, r); err != nil || has(uid) {
		t.Errorf("not forgotten, or %v", err)
	}
	if !has(fact) {
		t.Error("the revision of an event that is still published was forgotten")
	}
}

// hostile are names that have broken calendars: line breaks of every kind,
// control characters, invalid UTF-8, direction marks, very long names.
var hostile = []string{
	"Gecko\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nSUMMARY:evil", "bare\rCR", "bare\nLF", "nul\x00byte", "line\u2028para\u2029next\u0085end",
	"🦎👩🏽‍🔬🏳️‍🌈", "\u202Eesrever\u202C שלום مرحبا", "\xff\xfe half \xc3", "a;b,c:d\"e\\f\\nname", strings.Repeat("🦎", 16<<10), strings.Repeat("\\", 64<<10),
	strings.Repeat("a b ", 16<<10), "\ufeffBOM", "", " ", "\t\t", strings.Repeat("e\u0301", 5000), "${jndi:ldap://x}", "<img src=x onerror=alert(1)>",
}

// withNames puts s into every place for foreign words.
func withNames(c Content, s string) Content {
	c.Name = s
	for i := range c.Rooms {
		c.Rooms[i].Name = s
	}
	for _, b := range c.Boards {
		for i := range b.Rows {
			r := &b.Rows[i]
			r.Title, r.Why, r.Caution, r.Place.RoomName = s, s, s, s
		}
	}
	for i := range c.Coming {
		k := &c.Coming[i]
		k.Title, k.Why, k.Caution, k.Place.RoomName = s, s, s, s
	}
	for i := range c.Facts {
		c.Facts[i].Title, c.Facts[i].Why = s, s
	}
	return c
}

// sameShape fails unless the calendar has the same events and properties as the
// sample with harmless words.
func sameShape(t *testing.T, ics []byte) {
	t.Helper()
	want := byUID(mustBeValid(t, mustRender(t, withNames(sample(), "plain"), Scope{})))
	got := byUID(mustBeValid(t, ics))
	if len(got) != len(want) {
		t.Errorf("%d events, want %d", len(got), len(want))
	}
	names := func(c *comp) []string {
		var list []string
		for _, p := range c.props {
			if p.name != "DESCRIPTION" { // a fact without words has none
				list = append(list, p.name)
			}
		}
		return list
	}
	for uid, w := range want {
		if got[uid] == nil || !slices.Equal(names(got[uid]), names(w)) {
			t.Errorf("%s is %v", uid, got[uid])
		}
	}
}

func TestHostileNames(t *testing.T) {
	for _, s := range hostile {
		t.Run(clean(s, 20), func(t *testing.T) {
			sameShape(t, mustRender(t, withNames(sample(), s), Scope{}))
		})
	}
}

func FuzzNames(f *testing.F) {
	for _, s := range hostile {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		sameShape(t, mustRender(t, withNames(sample(), s), Scope{}))
	})
}

func TestClean(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"ordinary", "Top up E07", "Top up E07"},
		{"line breaks become blanks", "a\r\nb\rc\nd\u2028e\u0085f", "a b c d e f"},
		{"control characters are removed", "a\x00b\x1bc\x7fd", "abcd"},
		{"half a character", "a\xffb", "a\uFFFDb"},
		{"blanks are not doubled", "  a \t b\u00a0 c ", "a b c"},
		{"direction marks are removed, letters stay", "\u202Eשלום\u2066", "שלום"},
		{"joined emoji stay", "👩🏽‍🔬", "👩🏽‍🔬"},
		{"too long", strings.Repeat("a", 50), strings.Repeat("a", 19) + "…"},
	} {
		if got := clean(c.in, 20); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func BenchmarkRender(b *testing.B) {
	for _, n := range []int{12, 200, 2000} {
		b.Run(fmt.Sprintf("%d enclosures", n), func(b *testing.B) {
			c := facility(n)
			r := NewRevisions(&Memory{})
			var size int
			for b.Loop() {
				ics, err := Render(c, Scope{}, r)
				if err != nil {
					b.Fatal(err)
				}
				size = len(ics)
			}
			b.ReportMetric(float64(size)/1024, "KiB")
		})
	}
}
