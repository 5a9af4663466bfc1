package tasks_test

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

func day(s string) civil.Date { return civil.MustParse("2027-05-" + s) }

func at(d, clock string) time.Time {
	t, err := time.Parse("2006-01-02 15:04", "2027-05-"+d+" "+clock)
	if err != nil {
		panic(err)
	}
	return t
}

const (
	boxOfE07 tasks.Key = "E07/nest-top-up/after-2027-05-09"
	watchF03 tasks.Key = "F03/lay-watch/2027-05-12"
)

func mail(id, d, clock string, acts ...tasks.Act) tasks.Entry {
	return tasks.Entry{ID: id, At: at(d, clock), On: day(d), Via: tasks.ViaMail, Digest: "K7Q2", Acts: acts}
}

func done(k tasks.Key) tasks.Act {
	return tasks.Act{Text: "done " + string(k), Task: k, Mark: tasks.MarkDone}
}
func undo(k tasks.Key) tasks.Act {
	return tasks.Act{Text: "undo " + string(k), Task: k, Mark: tasks.Undo}
}
func skip(k tasks.Key) tasks.Act {
	return tasks.Act{Text: "skip " + string(k), Task: k, Mark: tasks.Skip}
}
func later(k tasks.Key, until string) tasks.Act {
	return tasks.Act{Text: "later " + until, Task: k, Mark: tasks.PutOff, Until: day(until)}
}
func laid(k tasks.Key, n int) tasks.Act {
	return tasks.Act{Text: fmt.Sprintf("laid %d", n), Task: k, Mark: tasks.MarkDone, Finding: &tasks.Finding{Laid: &n}}
}

func TestOutcome(t *testing.T) {
	for _, c := range []struct {
		name    string
		entries []tasks.Entry
		want    tasks.Outcome
	}{
		{"nothing said", nil, tasks.Outcome{}},
		{"done", []tasks.Entry{mail("a", "12", "06:40", done(boxOfE07))}, tasks.Outcome{Mark: tasks.MarkDone, On: day("12")}},
		{"done twice keeps the first day", []tasks.Entry{
			mail("a", "12", "06:40", done(boxOfE07)),
			{ID: "b", At: at("13", "07:00"), On: day("13"), Via: tasks.ViaShell, Acts: []tasks.Act{done(boxOfE07)}},
		}, tasks.Outcome{Mark: tasks.MarkDone, On: day("12")}},
		{"skipped after all", []tasks.Entry{mail("a", "12", "06:40", done(boxOfE07)), mail("b", "12", "07:40", skip(boxOfE07))},
			tasks.Outcome{Mark: tasks.Skip, On: day("12")}},
		{"done and taken back", []tasks.Entry{mail("a", "12", "06:40", done(boxOfE07)), mail("b", "12", "07:40", undo(boxOfE07))},
			tasks.Outcome{}},
		{"done, taken back, and done from the shell the day after", []tasks.Entry{
			mail("a", "12", "06:40", done(boxOfE07)), mail("b", "12", "07:40", undo(boxOfE07)),
			{ID: "c", At: at("13", "07:00"), On: day("13"), Via: tasks.ViaShell, Acts: []tasks.Act{done(boxOfE07)}},
		}, tasks.Outcome{Mark: tasks.MarkDone, On: day("13")}},
		{"put off, then further", []tasks.Entry{mail("a", "12", "06:40", later(boxOfE07, "14")), mail("b", "12", "07:40", later(boxOfE07, "16"))},
			tasks.Outcome{Mark: tasks.PutOff, On: day("12"), Until: day("16")}},
		{"put off, then done", []tasks.Entry{mail("a", "12", "06:40", later(boxOfE07, "14")), mail("b", "13", "07:40", done(boxOfE07))},
			tasks.Outcome{Mark: tasks.MarkDone, On: day("13")}},
		{"a later mail that quotes the first without marks changes nothing", []tasks.Entry{
			mail("a", "12", "06:40", done(boxOfE07)), mail("b", "12", "07:40", undo(boxOfE07)),
			mail("c", "12", "08:40", done(watchF03), done(boxOfE07)),
		}, tasks.Outcome{}},
		{"done, taken back, and done again in a mail of its own", []tasks.Entry{
			mail("a", "12", "06:40", done(boxOfE07)), mail("b", "12", "07:40", undo(boxOfE07)), mail("c", "12", "08:40", done(boxOfE07)),
		}, tasks.Outcome{Mark: tasks.MarkDone, On: day("12")}},
		{"done and undone in one mail cancel out", []tasks.Entry{mail("a", "12", "06:40", done(boxOfE07), undo(boxOfE07))}, tasks.Outcome{}},
		{"the quoted half of a contradiction is only a quote", []tasks.Entry{
			mail("a", "12", "06:40", done(boxOfE07)), mail("b", "12", "06:50", undo(boxOfE07), done(boxOfE07)),
		}, tasks.Outcome{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := tasks.Fold(c.entries).Outcome(boxOfE07); got != c.want {
				t.Errorf("outcome = %+v, want %+v", got, c.want)
			}
		})
	}
}

func TestDroppedActsAreListed(t *testing.T) {
	h := tasks.Fold([]tasks.Entry{
		mail("a", "12", "06:40", done(boxOfE07)),
		mail("b", "12", "06:50", undo(boxOfE07)),
		mail("c", "12", "07:00", skip("E01/water/2027-05-12"), done(boxOfE07)),
		mail("d", "12", "07:10", done(watchF03), skip(watchF03)),
	})
	if got := h.Dropped("c"); len(got) != 1 || got[0].Why != tasks.WhyAfterUndo {
		t.Errorf("a repeated line after an undo: dropped = %+v", got)
	}
	if got := h.Dropped("d"); len(got) != 2 || got[0].Why != tasks.WhyConflict {
		t.Errorf("two different marks in one mail: dropped = %+v", got)
	}
	if got := h.Dropped("a"); got != nil {
		t.Errorf("a plain reply: dropped = %+v", got)
	}
}

func TestFound(t *testing.T) {
	h := tasks.Fold([]tasks.Entry{
		mail("a", "12", "06:40", laid(watchF03, 6)),
		mail("b", "12", "09:40", laid(watchF03, 8)), // a correction: it replaces the number and is not added
	})
	if got := h.Found(); len(got) != 1 || *got[0].Finding.Laid != 8 || got[0].On != day("12") {
		t.Errorf("a corrected count: %+v", got)
	}
	h = tasks.Fold([]tasks.Entry{mail("a", "12", "06:40", laid(watchF03, 6)), mail("b", "12", "09:40", undo(watchF03))})
	if got := h.Found(); len(got) != 0 {
		t.Errorf("taken back, still found: %+v", got)
	}
}

func TestBeforeIsTheStateOfThatMorning(t *testing.T) {
	h := tasks.Fold([]tasks.Entry{mail("a", "11", "06:40", done(boxOfE07)), mail("b", "12", "06:40", laid(watchF03, 6))})
	morning := h.Before(day("12"))
	if morning.Outcome(boxOfE07).Mark != tasks.MarkDone {
		t.Error("yesterday's mark does not count this morning")
	}
	if morning.Outcome(watchF03).Mark != "" || len(morning.Found()) != 0 {
		t.Error("today's finding counts already this morning")
	}
	if got, want := h.LastDone("E07", "nest-top-up"), day("11"); got != want {
		t.Errorf("last done %v, want %v", got, want)
	}
	if got := morning.LastDone("F03", "lay-watch"); !got.IsZero() {
		t.Errorf("lay watch last done %v this morning", got)
	}
}

// entries draws entries like those from real replies: few tasks, many verbs,
// days out of order, mails that quote others, and shell commands between them.
func entries(t *rapid.T) []tasks.Entry {
	n := rapid.IntRange(0, 12).Draw(t, "entries")
	keys := []tasks.Key{boxOfE07, watchF03, "E07/nest-top-up/first", "E07/water/2027-05-11"}
	var list []tasks.Entry
	for i := range n {
		d := rapid.IntRange(1, 28).Draw(t, "day")
		e := tasks.Entry{
			ID:  fmt.Sprint("m", i),
			At:  at("01", "06:00").AddDate(0, 0, d-1).Add(time.Duration(rapid.IntRange(0, 3).Draw(t, "hour")) * time.Hour),
			On:  day("01").AddDays(d - 1),
			Via: rapid.SampledFrom([]tasks.Via{tasks.ViaMail, tasks.ViaShell}).Draw(t, "via"),
		}
		if e.Via == tasks.ViaMail {
			e.Digest = rapid.SampledFrom([]string{"K7Q2", "M3XW"}).Draw(t, "digest")
		}
		for range rapid.IntRange(1, 3).Draw(t, "acts") {
			k := rapid.SampledFrom(keys).Draw(t, "key")
			e.Acts = append(e.Acts, rapid.SampledFrom([]tasks.Act{done(k), undo(k), skip(k), later(k, "20"), laid(k, 4), laid(k, 6)}).Draw(t, "act"))
		}
		list = append(list, e)
	}
	return list
}

func picture(h *tasks.History) string {
	s := ""
	for _, k := range []tasks.Key{boxOfE07, watchF03, "E07/nest-top-up/first", "E07/water/2027-05-11"} {
		s += fmt.Sprintf("%s %+v\n", k, h.Outcome(k))
	}
	s += fmt.Sprint(h.LastDone("E07", "nest-top-up"), h.DoneDays("E07", "nest-top-up", day("01")))
	for _, f := range h.Found() {
		s += fmt.Sprintf("%s %v %v\n", f.Task, f.On, *f.Finding.Laid)
	}
	return s
}

func TestOrderAndRepetitionDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := entries(t)
		want := picture(tasks.Fold(list))
		shuffled := slices.Clone(list)
		shuffled = append(shuffled, list...)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		if got := picture(tasks.Fold(shuffled)); got != want {
			t.Errorf("in order:\n%s\nshuffled and repeated:\n%s", want, got)
		}
	})
}

// The history searches from the newest act back and stops early. A full search
// from the oldest act must give the same answers.
func TestSearchFromNewestAgreesWithFullSearch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := entries(t)
		for i := range list { // another test covers quotations and conflicts
			list[i].Via, list[i].Digest = tasks.ViaShell, ""
			list[i].Acts = list[i].Acts[:1]
		}
		slices.SortFunc(list, func(a, b tasks.Entry) int {
			if c := a.At.Compare(b.At); c != 0 {
				return c
			}
			return map[bool]int{true: -1, false: 1}[a.ID < b.ID]
		})
		want := make(map[tasks.Key]tasks.Outcome)
		for _, e := range list {
			a := e.Acts[0]
			switch {
			case a.Mark == tasks.Undo:
				want[a.Task] = tasks.Outcome{}
			case want[a.Task].Mark == a.Mark && a.Mark != tasks.PutOff:
			default:
				want[a.Task] = tasks.Outcome{Mark: a.Mark, On: e.On, Until: a.Until}
			}
		}
		h := tasks.Fold(list)
		last := make(map[husbandry.ID]civil.Date)
		for k, o := range want {
			marks := h.Before(civil.Date{}).Marks(k.Subject(), k.Routine())
			if got := marks.OutcomeSince(k, day("01")); got != o {
				t.Errorf("since the first day, %s: %+v, want %+v", k, got, o)
			}
			if got, want := marks.Ahead(day("10"), day("01")), k.Occurrence() > "2027-05-10" && o.Mark != ""; want && !got {
				t.Errorf("%s was marked, ahead of the 10th: not told", k)
			}
			if got := h.Outcome(k); got != o {
				t.Errorf("%s: %+v, want %+v", k, got, o)
			}
			if o.Mark == tasks.MarkDone {
				last[k.Routine()] = civil.Max(last[k.Routine()], o.On)
			}
		}
		if got := h.LastDone("E07", "nest-top-up"); got != last["nest-top-up"] {
			t.Errorf("last done %v, want %v", got, last["nest-top-up"])
		}
	})
}

func TestKeyParts(t *testing.T) {
	k := tasks.NewKey("C27-04", "set-tub", "laid")
	got := []string{string(k.Subject()), string(k.Routine()), k.Occurrence()}
	if want := []string{"C27-04", "set-tub", "laid"}; !reflect.DeepEqual(got, want) {
		t.Errorf("%q parts %q, want %q", k, got, want)
	}
}

// Standing returns the statements that an undo would withdraw.
func TestStandingHasTheActsThatUndoWithdraws(t *testing.T) {
	found := func(d string) tasks.Key { return tasks.Key("F03/found/2027-05-" + d) }
	noted := tasks.Act{Text: "note", Task: found("11"), Finding: &tasks.Finding{Note: "digs"}}
	h := tasks.Fold([]tasks.Entry{
		mail("a", "10", "07:00", laid(found("10"), 5)),
		mail("b", "11", "07:00", noted),
		mail("c", "12", "07:00", laid(found("12"), 6)),
		mail("d", "12", "08:00", undo(found("12"))),
	})
	for _, c := range []struct {
		name string
		key  tasks.Key
		mark tasks.Verb
		eggs int
		note string
		said bool
	}{
		{"eggs", found("10"), tasks.MarkDone, 5, "", true},
		{"a note alone", found("11"), "", 0, "digs", true},
		{"taken back", found("12"), "", 0, "", false},
		{"of another record", "F04/found/2027-05-12", "", 0, "", false},
	} {
		o, f, said := h.Standing(c.key)
		eggs := 0
		if f.Laid != nil {
			eggs = *f.Laid
		}
		if o.Mark != c.mark || eggs != c.eggs || f.Note != c.note || said != c.said {
			t.Errorf("%s: %v %+v %t", c.name, o, f, said)
		}
	}
	for until, want := range map[string]tasks.Key{"12": found("11"), "10": found("10"), "09": ""} {
		if got := h.LastUnplanned("F03", day(until)); got != want {
			t.Errorf("last said of F03 by the %s: %q, want %q", until, got, want)
		}
	}
}
