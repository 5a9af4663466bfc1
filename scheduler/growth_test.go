package scheduler_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"nestround/scheduler"
	"nestround/scheduler/outlook"
	"nestround/tasks/husbandry"
)

func TestGrowthGoesBackToTheClutch(t *testing.T) {
	b := raised(t, group+taken("Y1", "")).
		weighs("05-05", "K/tub-check/first", 210). // the egg tub
		weighs("06-23", "K/weigh-hatchlings/hatched", 2.6).
		found("07-05", "G/weigh-young/first", each(3, 3.5, 4)).
		weighs("10-01", "Y1/weigh-young/first", 15).
		weighs("10-02", "G/weigh-young/after-2027-07-05", 13).
		weighs("05-10", "E1/found/2027-05-10", 61). // Bosco lives there alone
		weighs("10-03", "F/weigh-adult/first", 50).undo("10-04", "F/weigh-adult/first")
	show := func(b *books, on string) string {
		var lines []string
		for _, g := range outlook.Growths(scheduler.Facts(b.input(on, 0))) {
			line := fmt.Sprintf("%s (%d):", g.ID, g.Count)
			for _, w := range g.Weighings {
				line += fmt.Sprintf(" %s %v of %s %v,", w.On.Format("01-02"), w.Grams, w.Of, w.Each)
			}
			lines = append(lines, strings.TrimSuffix(line, ","))
		}
		return strings.Join(lines, "\n")
	}
	if got, want := show(b, "10-10"), `M (1): 05-10 61 of M []
G (2): 06-23 2.6 of K [], 07-05 3.5 of G [3 3.5 4], 10-02 13 of G []
Y1 (1): 06-23 2.6 of K [], 07-05 3.5 of G [3 3.5 4], 10-01 15 of Y1 []`; got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if got, want := show(raised(t, "").weighs("06-23", "K/weigh-hatchlings/hatched", 2.6), "10-10"), "K (3): 06-23 2.6 of K []"; got != want {
		t.Errorf("without records: %s", got)
	}
	// Years later the weight is still shown.
	if got := show(b, "2031-10-10"); !strings.Contains(got, "Y1 (1): 06-23 2.6 of K") {
		t.Errorf("four years later\n%s", got)
	}
	if got := outlook.Growths(scheduler.Facts(b.input("05-01", 0))); len(got) != 0 {
		t.Errorf("before the first weighing: %v", got)
	}
	if !slices.ContainsFunc(outlook.Growths(scheduler.Facts(b.input("10-10", 0))), func(g outlook.Growth) bool {
		return g.ID == "Y1" && g.Hatched == day("06-22") && g.Species == husbandry.ID("leopard-gecko")
	}) {
		t.Error("nobody knows when Y1 hatched")
	}
}
