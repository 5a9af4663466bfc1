package tasks_test

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nestround/tasks"
)

// takesBack is an entry of the shell that takes others back.
func takesBack(t *rapid.T, id string, of ...string) tasks.Entry {
	d := rapid.IntRange(1, 28).Draw(t, "said on")
	e := tasks.Entry{ID: id, At: at("01", "06:00").AddDate(0, 0, d-1), On: day("01").AddDays(d - 1), Via: tasks.ViaShell}
	for _, x := range of {
		e.Acts = append(e.Acts, tasks.Act{Text: "undo entry " + tasks.Tag(x), Entry: x})
	}
	return e
}

// whole is all that a history says about entries, but not who was taken back.
func whole(h *tasks.History, entries []tasks.Entry) string {
	s := fmt.Sprintln(h.First(), picture(h))
	for _, e := range entries {
		s += fmt.Sprintln(e.ID, h.Speaks(e.On), len(h.Dropped(e.ID)))
	}
	return s
}

// An entry that is taken back leaves the history as if it had never been: in
// every order of arrival, whenever it was taken back, and with the older part of
// the entries in a Folder.
func TestAnEntryTakenBackHasNeverBeen(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := entries(t)
		var without, of []tasks.Entry
		for _, e := range all {
			if rapid.Bool().Draw(t, "taken back") {
				of = append(of, e)
			} else {
				without = append(without, e)
			}
		}
		said := slices.Clone(all)
		for i, e := range of {
			u := takesBack(t, fmt.Sprint("u", i), e.ID, "that never came")
			said = append(said, u)
			switch rapid.IntRange(0, 3).Draw(t, "again") {
			case 1: // the keeper takes the undo back, and then says it again
				said = append(said, takesBack(t, fmt.Sprint("v", i), u.ID), takesBack(t, fmt.Sprint("w", i), e.ID))
			case 2: // the undo of an undo is taken back
				said = append(said, takesBack(t, fmt.Sprint("v", i), u.ID), takesBack(t, fmt.Sprint("w", i), fmt.Sprint("v", i)))
			case 3: // a mark in the same message as the undo of its undo
				v := takesBack(t, fmt.Sprint("v", i), u.ID)
				said = append(said, v)
				without = append(without, e)
			}
		}
		rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "order"), 1)).Shuffle(len(said), func(i, j int) { said[i], said[j] = said[j], said[i] })
		want := whole(tasks.Fold(without), without)
		if got := whole(tasks.Fold(said), without); got != want {
			t.Fatalf("it says\n%s\nand without the entries\n%s", got, want)
		}
		for _, e := range of {
			h := tasks.Fold(said)
			kept := slices.ContainsFunc(without, func(x tasks.Entry) bool { return x.ID == e.ID })
			if _, gone := h.TakenBack(e.ID); gone == kept || len(h.Dropped(e.ID)) > 0 && gone {
				t.Errorf("%s is taken back: %v", e.ID, gone)
			}
		}
		slices.SortFunc(said, func(a, b tasks.Entry) int { return cmp.Or(a.At.Compare(b.At), strings.Compare(a.ID, b.ID)) })
		n := rapid.IntRange(0, len(said)).Draw(t, "in the folder")
		folder := new(tasks.Folder)
		folder.Know(said)
		folder.Add(said[:n])
		stored, err := folder.AppendBinary(nil)
		if err != nil {
			t.Fatal(err)
		}
		if folder, err = tasks.Thaw(stored); err != nil {
			t.Fatal(err)
		}
		if got := whole(folder.With(said[n:]), without); got != want {
			t.Fatalf("with %d in a folder it says\n%s\nand without the entries\n%s", n, got, want)
		}
	})
}

// Only a correction by hand can make a circle.
func TestACircleOfEntriesTakesNothingBack(t *testing.T) {
	e := func(id, of string) tasks.Entry {
		return tasks.Entry{ID: id, At: at("12", "06:00"), On: day("12"), Acts: []tasks.Act{done(boxOfE07), {Text: "undo", Entry: of}}}
	}
	for name, list := range map[string][]tasks.Entry{
		"itself": {e("a", "a")}, "each other": {e("a", "b"), e("b", "a")}, "three": {e("a", "b"), e("b", "c"), e("c", "a")},
	} {
		h := tasks.Fold(list)
		if _, gone := h.TakenBack("a"); gone || h.Outcome(boxOfE07).Mark != tasks.MarkDone {
			t.Errorf("%s: taken back %v, %+v", name, gone, h.Outcome(boxOfE07))
		}
	}
}

func TestTags(t *testing.T) {
	seen := make(map[string]string)
	for i := range 20_000 {
		id := fmt.Sprint("c.", i)
		tag := tasks.Tag(id)
		if as, ok := tasks.AsTag(strings.ToLower(tag)); !ok || as != tag || !tasks.HasTag(id, tag) || tasks.HasTag(id+"x", tag) {
			t.Fatalf("%s: %q", id, tag)
		}
		if other, ok := seen[tag]; ok {
			longer := tasks.LongTags(id, other)
			if longer[0] == longer[1] || !tasks.HasTag(id, longer[0]) || tasks.HasTag(other, longer[0]) {
				t.Errorf("%s and %s have the tags %q", id, other, longer)
			}
		}
		seen[tag] = id
	}
	if got := tasks.LongTags("a", "b"); len(got[0]) != len(tasks.Tag("a")) || got[0] != tasks.Tag("a") {
		t.Errorf("tags that differ are lengthened: %q", got)
	}
	for _, word := range []string{"3", "F03", "A3", "K7Q2", "entry", "undone", "2027-05-12", "K7Q2M0", "K7Q2MI", "", "KQ72M4", "c.ABCDEFGH", "K7Q2M4K7Q2M4K7Q2M4K7Q2M4"} {
		if _, ok := tasks.AsTag(word); ok {
			t.Errorf("%q is a tag", word)
		}
	}
}
