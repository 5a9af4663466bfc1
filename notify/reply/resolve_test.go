package reply

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"nestround/notify"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// told writes acts in a short form: number or key, mark, details.
func told(acts []tasks.Act) string {
	var out []string
	for _, a := range acts {
		s := fmt.Sprintf("%d", a.N)
		if a.N == 0 {
			s = string(a.Task)
		}
		if a.Mark != "" {
			s += " " + string(a.Mark)
		}
		if !a.Until.IsZero() {
			s += " until " + a.Until.String()
		}
		if a.Why != "" {
			s += " (" + a.Why + ")"
		}
		if a.Finding != nil {
			if a.Finding.Note != "" && !a.Finding.Ill {
				s += " noting " + a.Finding.Note
			} else {
				s += " " + finding.Command(a.Finding)
			}
		}
		out = append(out, s)
	}
	return strings.Join(out, ", ")
}

func TestResolve(t *testing.T) {
	issue := theIssue(t) // for a Tuesday
	for _, c := range []struct{ text, acts, refused string }{
		{"done 1 3", "1 done, 3 done", ""},
		{"all", "1 done, 2 done, 3 done, 4 done, 5 done, 6 done, 7 done, 8 done, 9 done", ""},
		{"all but 4-8", "1 done, 2 done, 3 done, 9 done", ""},
		{"skip 2 3: too cold", "2 skipped (too cold), 3 skipped (too cold)", ""},
		{"undo 3 4", "3 undone, 4 undone", ""},
		// unknown numbers
		{"done 1 12", "1 done", "done 12: there is no 12; the numbers go from 1 to 9"},
		{"done 0", "", "done 0: there is no 0; the numbers go from 1 to 9"},
		{"all but 12", "", "all but 12: there is no 12; the numbers go from 1 to 9; nothing was marked"},
		{"all but 1-9", "", "all but 1-9: that leaves no task"},
		{"12 laid 6", "", "12 laid 6: there is no 12; the numbers go from 1 to 9"},
		// put off: 24 November 2026 is a Tuesday
		{"later 5 2 days", "5 put-off until 2026-11-26", ""},
		{"later 5 tomorrow", "5 put-off until 2026-11-25", ""},
		{"later 5 friday", "5 put-off until 2026-11-27", ""},
		{"later 5 tuesday", "5 put-off until 2026-12-01", ""},
		{"later 5 monday: no crickets", "5 put-off until 2026-11-30 (no crickets)", ""},
		{"later 5 2027-01-23", "5 put-off until 2027-01-23", ""},
		{"later 5 2027-01-24", "", "later 5 2027-01-24: that is more than 60 days ahead; change the routine in the books instead"},
		{"later 5 61 days", "", "later 5 61 days: that is more than 60 days ahead; change the routine in the books instead"},
		{"later 5 2026-11-24", "", "later 5 2026-11-24: 2026-11-24 is not after 2026-11-24"},
		{"later 5 7 friday", "5 put-off until 2026-11-27", "later 7 friday: a female past her time is not put off; call the veterinarian"},
		// findings
		{"2 laid 6 2 slugs", "2 done laid 6 and 2 slugs", ""},
		{"1 laid", "1 done laid", ""},
		{"5 gravid", "5 done gravid", ""},
		{"9 hatched 3", "9 done hatched 3", ""},
		{"9 mother F03", "9 done mother F03", ""},
		{"2 laid 2 more", "2 done laid 2 more", ""},
		{"5 digging", "5 done digging", ""},
		{"9 digging", "", `9 digging: it is said of an animal; name her or her enclosure: 9 is "Look at clutch C27-02"`},
		{"9 dead 1", "9 done dead 1", ""},
		{"9 veins", "9 done veins", ""},
		{"9 moved to cool", "9 done moved to cool", ""},
		{"9 ended", "9 done ended", ""},
		{"2 ended", "", `2 ended: it is said of a clutch; name the clutch: 2 is "Look for eggs in the nest box of E03"`},
		{"F03 dead 1", "", "F03 dead 1: dead eggs are a clutch's; when an animal has died, write the day it `left` in its record: F03 is of kind animal"},
		{"4 weighs 41 g", "4 done weighs 41 g", ""},
		{"6 weighs 12 g", "6 done weighs 12 g", ""},
		{"1 added 60 ml", "1 done added 60 ml", ""},
		{"6 added 60 ml", "6 done added 60 ml", ""},
		{"8 refused", "8 done refused", ""},
		{"note 2 female digging", "2 noting female digging", ""},
		{"9 laid 6", "", `9 laid 6: eggs are laid by an animal; name her or her enclosure: 9 is "Look at clutch C27-02"`},
		{"9 gravid", "", `9 gravid: it is said of an animal; name her or her enclosure: 9 is "Look at clutch C27-02"`},
		{"2 hatched 3", "", `2 hatched 3: young hatch from a clutch; name the clutch: 2 is "Look for eggs in the nest box of E03"`},
		{"1 weighs 841 g", "1 done weighs 841 g", ""}, // the nest box
		{"5 weighs 41 g", "", `5 weighs 41 g: a weight is an animal's or a clutch's; name which, or the nest box by the number of its top-up: 5 is "Clean E09"`},
		{"4 added 60 ml", "", `4 added 60 ml: water is added to an enclosure's nest box or a clutch's tub; name which: 4 is "Weigh F03"`},
		{"5 refused", "", `5 refused: food is refused at a feeding; name the feeding or the animal: 5 is "Clean E09"`},
		{"4 female", "4 done female", ""},
		{"4 ill limp", "4 done ill: limp", ""},
		{"1 ill", "1 done ill", ""},
		{"4 weighs 3.1 3.4 g", "4 done weighs 3.1 3.4 g", ""},
		{"6 weighs 12 13 g", "", `6 weighs 12 13 g: a tub has one weight: 6 is "Water the tub of clutch C27-04"`},
		{"5 uvi 2.5", "5 done uvi 2.5", ""},
		{"4 uvi 2.5", "", `4 uvi 2.5: a UV index is that of an enclosure's lamp; name the enclosure: 4 is "Weigh F03"`},
		{"5 female", "", `5 female: sexes are told of an animal, a group or a clutch's young; name which: 5 is "Clean E09"`},
		// records
		{"F03 male", "F03/found/2026-11-24 done male", ""},
		{"C27-04 sexed 2.1.1", "C27-04/found/2026-11-24 done sexed 2.1.1", ""},
		{"back_room ill", "", `back_room ill: illness is noted of an animal, an enclosure or a clutch's young; name which: back_room is of kind room`},
		{"F03 laid 6", "F03/found/2026-11-24 done laid 6", ""},
		{"C27-04 hatched 3", "C27-04/found/2026-11-24 done hatched 3", ""},
		{"F03 refused", "F03/found/2026-11-24 done refused", ""},
		{"note E07 lamp flickers", "E07/found/2026-11-24 noting lamp flickers", ""},
		{"undo F03", "F03/found/2026-11-24 undone", ""},
		{"C27-04 laid 6", "", `C27-04 laid 6: eggs are laid by an animal; name her or her enclosure: C27-04 is of kind clutch`},
		{"back_room refused", "", `back_room refused: food is refused at a feeding; name the feeding or the animal: back_room is of kind room`},
		// in the order of the text, even contradictions
		{"done 3\nskip 3\n8 refused", "3 done, 3 skipped, 8 done refused", ""},
	} {
		p := Parse(c.text, theBooks)
		if len(p.Refused) > 0 {
			t.Errorf("%q is not understood: %v", c.text, p.Refused)
		}
		acts, refused := Resolve(p.Commands, issue.Items, issue.Date)
		if got := told(acts); got != c.acts {
			t.Errorf("%q: acts %q, want %q", c.text, got, c.acts)
		}
		var why []string
		for _, r := range refused {
			why = append(why, r.Text+": "+r.Why)
		}
		if got := strings.Join(why, "; "); got != c.refused {
			t.Errorf("%q: refused %q, want %q", c.text, got, c.refused)
		}
	}
}

func TestResolveFillsAct(t *testing.T) {
	issue := theIssue(t)
	acts, refused := Resolve(Parse("Done 1,3. 2 laid 6", nil).Commands, issue.Items, issue.Date)
	six := 6
	want := []tasks.Act{
		{Text: "done 1 3", N: 1, Task: "E/r/1", Mark: tasks.MarkDone},
		{Text: "done 1 3", N: 3, Task: "E/r/3", Mark: tasks.MarkDone},
		{Text: "2 laid 6", N: 2, Task: "E/r/2", Mark: tasks.MarkDone, Finding: &tasks.Finding{Laid: &six}},
	}
	if !reflect.DeepEqual(acts, want) || refused != nil {
		t.Errorf("got %+v, refused %v", acts, refused)
	}
}

// The reason for not putting off a task names its subject.
func TestPinnedTaskSaysWhy(t *testing.T) {
	for kind, want := range map[husbandry.Kind]string{
		husbandry.LayWatch: "a female past her time", husbandry.Review: "an animal may be in danger",
	} {
		items := []notify.Item{{N: 1, Task: "F03/r/1", Kind: kind, Scope: husbandry.OfAnimal, Title: "Look at F03", Pinned: true}}
		acts, refused := Resolve(Parse("later 1 2 days", nil).Commands, items, civil.MustParse("2026-11-24"))
		if len(acts) != 0 || len(refused) != 1 || !strings.Contains(refused[0].Why, want) {
			t.Errorf("%s: acts %v, refused %v, want %q", kind, acts, refused, want)
		}
	}
}

// Eggs are counted when they are dug up and set, which are tasks of a clutch.
func TestEggsAreCountedWhenDugUp(t *testing.T) {
	for kind, fits := range map[husbandry.Kind]bool{
		husbandry.DigEggs: true, husbandry.SetTub: true, husbandry.TubCheck: false, husbandry.HatchWatch: false,
	} {
		items := []notify.Item{{N: 1, Task: "C1/r/1", Kind: kind, Scope: kind.Scope(), Title: "Eggs of C1"}}
		acts, refused := Resolve(Parse("1 laid 6 and 1 slug", nil).Commands, items, civil.MustParse("2026-11-24"))
		if (len(acts) == 1) != fits || (len(refused) == 0) != fits {
			t.Errorf("counting eggs at %s: acts %v, refused %v", kind, acts, refused)
		}
	}
}

// The planner would take the mean of several weights, and the tub would seem to
// have lost water.
func TestTubHasOneWeight(t *testing.T) {
	for kind, fits := range map[husbandry.Kind]bool{
		husbandry.SetTub: false, husbandry.TubCheck: false, husbandry.Candle: false, husbandry.Weigh: true,
	} {
		items := []notify.Item{{N: 1, Task: "C1/r/1", Kind: kind, Scope: husbandry.OfClutch, Title: "Scales for C1"}}
		acts, refused := Resolve(Parse("1 weighs 212 213 g", nil).Commands, items, civil.MustParse("2026-11-24"))
		if (len(acts) == 1) != fits || (len(refused) == 0) != fits {
			t.Errorf("two weights at %s: acts %v, refused %v", kind, acts, refused)
		}
	}
}

func TestResolveWithoutTasks(t *testing.T) {
	on := civil.MustParse("2026-11-24")
	for _, text := range []string{"all", "all but 3", "done 3", "note 3: x"} {
		acts, refused := Resolve(Parse(text, nil).Commands, nil, on)
		if acts != nil || len(refused) != 1 || !strings.Contains(refused[0].Why, "there are no numbered tasks") {
			t.Errorf("%q: acts %v, refused %v", text, acts, refused)
		}
	}
	_, refused := Resolve(Parse("done 3", nil).Commands, []notify.Item{{N: 1}}, on)
	if len(refused) != 1 || refused[0].Why != "there is no 3; the only number is 1" {
		t.Errorf("refused %v", refused)
	}
}

// Every number of a command becomes an act, or stands in the one refusal of the
// command.
func TestEveryNumberIsAnswered(t *testing.T) {
	issue := theIssue(t)
	for text, want := range map[string]string{
		"done 8 9 10 11":              "done 10 11",
		"skip 5 12: x":                "skip 12: x",
		"undo 9 10":                   "undo 10",
		"note 30: x":                  "note 30: x",
		"done 0 20 30 40 41 42 50 77": "done 0 20 30 40-42 50 77",
	} {
		cs := Parse(text, nil).Commands
		acts, refused := Resolve(cs, issue.Items, issue.Date)
		if len(refused) != 1 || refused[0].Text != want || !strings.Contains(refused[0].Why, "from 1 to 9") {
			t.Errorf("%q: refused %q, want %q", text, refused, want)
		} else if unknown := Parse(want, nil).Commands[0].Numbers; len(acts)+len(unknown) != len(cs[0].Numbers) {
			t.Errorf("%q: %d acts and %d refused numbers of %d", text, len(acts), len(unknown), len(cs[0].Numbers))
		}
	}
}

// If an end of a range is no number of the digest, nobody knows which end was
// meant.
func TestRangeWithAnUnknownEndIsRefusedWhole(t *testing.T) {
	issue := theIssue(t)
	for text, end := range map[string]string{
		"done 3-65": "65", "done 50-2000": "50", "done 0-4": "0", "done 1, 7 to 10": "10", "done 1-9999": "9999", "undo 8-12": "12", "skip 5 – 12: x": "12",
		"later 1-10 friday": "10", "all but 4-12": "10", "done 1-3 9-10": "10",
	} {
		acts, refused := Resolve(Parse(text, nil).Commands, issue.Items, issue.Date)
		if len(acts) > 0 || len(refused) != 1 || !strings.Contains(refused[0].Why, "there is no "+end+"; the numbers go from 1 to 9; nothing was marked") {
			t.Errorf("%q: %d acts, refused %q", text, len(acts), refused)
		}
	}
	acts, refused := Resolve(Parse("done 3-65\n8 refused", nil).Commands, issue.Items, issue.Date)
	if told(acts) != "8 done refused" || len(refused) != 1 {
		t.Errorf("another line of the mail: %q, refused %q", told(acts), refused)
	}
}

// "Done" on an order means the number of packs in its digest, unless the
// command gives another number. Counting the stock leaves the order open.
func TestDoneOrderHasPacksOfDigest(t *testing.T) {
	items := []notify.Item{
		{N: 1, Task: "E/r/1", Kind: husbandry.Feed, Scope: husbandry.OfEnclosure, Title: "Feed E07"},
		{N: 2, Task: "locusts/order/2026-11-27", Kind: husbandry.Order, Scope: husbandry.OfFeeder, Title: "Order locusts: 3 boxes of 50", Packs: 3},
	}
	on := civil.MustParse("2026-11-24")
	for _, c := range []struct{ text, acts, refused string }{
		{"done 2", "2 done ordered 3", ""},
		{"all", "1 done, 2 done ordered 3", ""},
		{"all but 1", "2 done ordered 3", ""},
		{"2 ordered 5 boxes", "2 done ordered 5", ""},
		{"2 stock 40", "2 stock 40", ""},
		{"skip 2 shop closed", "2 skipped (shop closed)", ""},
		{"undo 2", "2 undone", ""},
		{"locusts ordered 2", "locusts/found/2026-11-24 done ordered 2", ""},
		{"locusts stock 40", "locusts/found/2026-11-24 done stock 40", ""},
		{"1 ordered 3", "", `1 ordered 3: it is said of live food in stock; name the feeder by its id: 1 is "Feed E07"`},
		{"F03 stock 3", "", `F03 stock 3: it is said of live food in stock; name the feeder by its id: F03 is of kind animal`},
		{"2 laid 3", "", `2 laid 3: eggs are laid by an animal; name her or her enclosure: 2 is "Order locusts: 3 boxes of 50"`},
		{"locusts refused", "", `locusts refused: food is refused at a feeding; name the feeding or the animal: locusts is of kind feeder`},
		{"locusts hatched 30", "", `locusts hatched 30: young hatch from a clutch; name the clutch: locusts is of kind feeder`},
		{"locusts dead 30", "", `locusts dead 30: it is said of a clutch; name the clutch: locusts is of kind feeder`},
	} {
		acts, refused := Resolve(Parse(c.text, theBooks).Commands, items, on)
		why := ""
		for _, r := range refused {
			why += r.Text + ": " + r.Why
		}
		if told(acts) != c.acts || why != c.refused {
			t.Errorf("%q: %q, refused %q; want %q, %q", c.text, told(acts), why, c.acts, c.refused)
		}
	}
}

// "Done" on a pairing means the male that its digest named, even if tomorrow's
// digest would name another.
func TestDonePairingHasMaleOfDigest(t *testing.T) {
	items := []notify.Item{
		{N: 1, Task: "F1/pair/2027-05-03", Kind: husbandry.Pair, Scope: husbandry.OfAnimal, Title: "Pair F1", Mate: "M1"},
		{N: 2, Task: "F1/part-pair/2027-05-03", Kind: husbandry.Pair, Scope: husbandry.OfAnimal, Title: "Part the pair: F1"},
	}
	for _, c := range []struct {
		text  string
		with  husbandry.ID
		mated bool
	}{
		{"done 1", "M1", false},
		{"all but 2", "M1", false},
		{"1 mated", "M1", true},
		{"note 1 she bites him", "", false},
		{"1 gravid", "", false},
		{"skip 1", "", false},
		{"undo 1", "", false},
		{"done 2", "", false},
		{"2 mated", "", true},
	} {
		acts, refused := Resolve(Parse(c.text, theBooks).Commands, items, civil.MustParse("2027-05-03"))
		if len(acts) != 1 || refused != nil {
			t.Fatalf("%q: %v, refused %v", c.text, acts, refused)
		}
		f := tasks.Finding{}
		if acts[0].Finding != nil {
			f = *acts[0].Finding
		}
		if f.With != c.with || f.Mated != c.mated {
			t.Errorf("%q: with %q, mated %v; want %q, %v", c.text, f.With, f.Mated, c.with, c.mated)
		}
	}
}

// A moot task keeps its number, but "all" leaves it out.
func TestAllLeavesOutMootTasks(t *testing.T) {
	items := []notify.Item{
		{N: 1, Task: "E/r/1", Kind: husbandry.Feed, Scope: husbandry.OfEnclosure, Title: "Feed E07"},
		{N: 2, Task: "F03/lay-watch/1", Kind: husbandry.LayWatch, Scope: husbandry.OfAnimal, Title: "Watch for laying", Moot: true},
	}
	for text, want := range map[string]string{"all": "1 done", "all but 1": "", "done 2": "2 done", "2 laid 6": "2 done laid 6"} {
		if acts, _ := Resolve(Parse(text, theBooks).Commands, items, civil.MustParse("2026-11-24")); told(acts) != want {
			t.Errorf("%q: %q, want %q", text, told(acts), want)
		}
	}
}
