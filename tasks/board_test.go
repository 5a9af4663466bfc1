package tasks_test

import (
	"fmt"
	"strings"
	"testing"

	"nestround/tasks"
	"nestround/tasks/husbandry"
)

func task(k tasks.Key, order int, s tasks.Status) tasks.Task {
	return tasks.Task{Key: k, Kind: husbandry.Own, Part: husbandry.Morning, Place: tasks.Place{Order: order}, Due: day("12"), Status: s}
}

func lines(b *tasks.Board) string {
	var s []string
	for _, r := range b.Rows {
		s = append(s, fmt.Sprintf("%d %s %s", r.N, r.Key.Subject(), r.Status))
	}
	return strings.Join(s, "\n")
}

func TestBoardKeepsItsNumbersAllDay(t *testing.T) {
	morning := []tasks.Task{
		task("E02/water/2027-05-12", 2, tasks.Due),
		task("E01/water/2027-05-12", 1, tasks.Due),
		task("E03/nest/after-2027-05-09", 3, tasks.Overdue),
		task("E04/feed/2027-05-11", 4, tasks.Lapsed),
		task("F03/lay-watch/2027-05-12", 5, tasks.Due),
		task("F03/gravid-check/2027-05-12", 5, tasks.Due),
	}
	six := 6
	h := tasks.Fold([]tasks.Entry{
		{ID: "a", At: at("12", "06:40"), On: day("12"), Via: tasks.ViaShell, Acts: []tasks.Act{done("E03/nest/after-2027-05-09")}},
		{ID: "b", At: at("12", "06:45"), On: day("12"), Via: tasks.ViaShell, Acts: []tasks.Act{
			{Task: "F03/lay-watch/2027-05-12", Mark: tasks.MarkDone, Finding: &tasks.Finding{Laid: &six}}}},
	})
	// The current plan: the box has moved on to its next date, the female's
	// watch and gravid check are over, and her eggs need a tub.
	now := []tasks.Task{morning[0], morning[1], morning[3], task("F03-2027-05-12/set-tub/laid", 6, tasks.Due)}
	want := strings.TrimSpace(`
1 E03 done
2 E01 due
3 E02 due
5 F03 done
6 F03-2027-05-12 due
0 E04 lapsed`)
	b := tasks.NewBoard(day("12"), morning, now, h, nil)
	if got := lines(b); got != want {
		t.Errorf("board:\n%s\nwant:\n%s", got, want)
	}
	if len(b.Moot) != 1 || b.Moot[0].N != 4 || b.Moot[0].Key != morning[5].Key {
		t.Errorf("moot: %+v, want number 4, her gravid check", b.Moot)
	}
}

func TestBoardUsesTheDigestsNumbers(t *testing.T) {
	morning := []tasks.Task{task("E01/water/2027-05-12", 1, tasks.Due), task("E02/water/2027-05-12", 2, tasks.Due)}
	digest := []tasks.Key{"E02/water/2027-05-12", "E09/water/2027-05-12"} // E09 was sold after the digest left
	b := tasks.NewBoard(day("12"), morning, morning, tasks.Fold(nil), digest)
	if got, want := lines(b), "3 E01 due\n1 E02 due"; got != want {
		t.Errorf("board:\n%s\nwant:\n%s", got, want)
	}
	if len(b.Open()) != 2 {
		t.Errorf("open: %d rows, want 2", len(b.Open()))
	}
}

// An alarm comes before overdue cleaning, also on the day on which the alarm
// appears. It keeps its place and its number after it is done.
func TestBoardBeginsWithAlarms(t *testing.T) {
	digs := task("F03/vet-digging/2027-05-10", 5, tasks.Due)
	digs.Pinned = true
	unseen := task("C1/hatch-watch/2027-05-11", 6, tasks.Overdue)
	unseen.Missed = husbandry.Alarms
	watch := task("F04/lay-watch/2027-05-12", 1, tasks.Due)
	watch.Missed = husbandry.Alarms
	later := task("F05/cooling-stop/2027", 1, tasks.Upcoming)
	later.Pinned = true
	morning := []tasks.Task{task("E01/clean-deep/first", 1, tasks.Overdue), watch, digs, unseen, later}
	want := strings.TrimSpace(`
1 F03 due true
2 C1 overdue true
3 E01 overdue false
4 F04 due false
5 F05 upcoming false`)
	show := func(b *tasks.Board) string {
		var s []string
		for i, line := range strings.Split(lines(b), "\n") {
			s = append(s, fmt.Sprintf("%s %t", line, b.Rows[i].Urgent))
		}
		return strings.Join(s, "\n")
	}
	if got := show(tasks.NewBoard(day("12"), morning, morning, tasks.Fold(nil), nil)); got != want {
		t.Errorf("board:\n%s\nwant:\n%s", got, want)
	}
	seen := tasks.Fold([]tasks.Entry{{ID: "a", At: at("12", "09:00"), On: day("12"), Via: tasks.ViaShell, Acts: []tasks.Act{done(digs.Key)}}})
	want = strings.Replace(want, "1 F03 due", "1 F03 done", 1)
	if got := show(tasks.NewBoard(day("12"), morning, []tasks.Task{morning[0], watch, unseen, later}, seen, nil)); got != want {
		t.Errorf("board, done:\n%s\nwant:\n%s", got, want)
	}
	// At noon a weighing ends a cooling. The new task comes first and has the
	// next number.
	noon := task("F06/cooling-stop/2027", 9, tasks.Due)
	noon.Pinned = true
	if b := tasks.NewBoard(day("12"), morning, append([]tasks.Task{noon}, morning...), tasks.Fold(nil), nil); b.Rows[2].Key != noon.Key || b.Rows[2].N != 6 {
		t.Errorf("an alarm of noon is not among the alarms under number 6:\n%s", show(b))
	}
}
