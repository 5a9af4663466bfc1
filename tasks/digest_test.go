package tasks_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"nestround/tasks"
	"nestround/tasks/civil"
)

// Digests are equal only where all answers are, however the history was made;
// what is said later, for later days, changes none.
func TestADigestTellsHistoriesApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := plainEntries(t)
		var keys []tasks.Key
		for _, e := range entries {
			for _, a := range e.Acts {
				keys = append(keys, a.Task)
			}
		}
		days := []civil.Date{day("12"), day("10"), day("20")}
		digests := func(h *tasks.History, days ...civil.Date) []tasks.Digest {
			list, err := h.Digests(days)
			if err != nil {
				t.Fatal(err)
			}
			return list
		}
		h := tasks.Fold(entries)
		all := digests(h, days...)
		for i, on := range days {
			if alone := digests(h, on); alone[0] != all[i] {
				t.Fatalf("another digest before %s where other days are asked for", on)
			}
		}
		// Some entries are added up first.
		sorted := slices.Clone(entries)
		slices.SortStableFunc(sorted, func(a, b tasks.Entry) int { return a.At.Compare(b.At) })
		folder := new(tasks.Folder)
		n := rapid.IntRange(0, len(sorted)).Draw(t, "kept")
		for n < len(sorted) && n > 0 && !sorted[n].At.After(sorted[n-1].At) {
			n++
		}
		folder.Add(sorted[:n])
		if again := digests(folder.With(sorted[n:]), days...); !slices.Equal(again, all) {
			t.Fatal("another digest where some entries were kept")
		}
		// One entry more, or one less.
		other := slices.Clone(sorted)
		if len(other) > 0 && rapid.Bool().Draw(t, "less") {
			i := rapid.IntRange(0, len(other)-1).Draw(t, "which")
			other = slices.Delete(other, i, i+1)
		} else if more := plainEntries(t); len(more) > 0 {
			e := more[0]
			e.ID = "another"
			other = append(other, e)
			for _, a := range e.Acts {
				keys = append(keys, a.Task)
			}
		}
		o := tasks.Fold(other)
		for i, digest := range digests(o, days...) {
			if digest != all[i] {
				continue
			}
			a, b := h.Before(days[i]), o.Before(days[i])
			for _, k := range keys {
				if was, is := story(a, k), story(b, k); was != is {
					t.Fatalf("one digest before %s, and of %s:\n%s\n%s", days[i], k, was, is)
				}
			}
		}
	})
}

func TestWhatIsSaidForLaterDaysLeavesADigest(t *testing.T) {
	entries := []tasks.Entry{mail("a", "10", "08:00", done(boxOfE07)), mail("b", "11", "08:00", laid(watchF03, 6))}
	before := func(entries ...tasks.Entry) tasks.Digest {
		list, err := tasks.Fold(entries).Digests([]civil.Date{day("12")})
		if err != nil {
			t.Fatal(err)
		}
		return list[0]
	}
	was := before(entries...)
	if before(append(slices.Clone(entries), mail("c", "12", "08:00", done("E08/clean/2027-05-12")), mail("d", "13", "09:00", undo(watchF03)))...) != was {
		t.Error("entries for the day itself, and for later days, change the digest")
	}
	for name, e := range map[string]tasks.Entry{
		"a late entry":    {ID: "e", At: at("14", "08:00"), On: day("11"), Via: tasks.ViaShell, Acts: []tasks.Act{undo(watchF03)}},
		"a later mark":    mail("e", "11", "09:00", later(boxOfE07, "15")),
		"another finding": mail("e", "11", "09:00", laid(watchF03, 5)),
		"another name":    mail("e", "11", "09:00", done("E09/nest-top-up/after-2027-05-09")),
	} {
		if before(append(slices.Clone(entries), e)...) == was {
			t.Errorf("%s leaves the digest", name)
		}
	}
	if before(mail("a", "11", "08:00", done(boxOfE07)), mail("b", "11", "08:00", laid(watchF03, 6))) == was {
		t.Error("the same for another day leaves the digest")
	}
}
