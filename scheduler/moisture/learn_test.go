package moisture_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"nestround/scheduler/moisture"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

func day(s string) civil.Date { return civil.MustParse("2027-" + s) }

func grams(x float64) *husbandry.Grams { g := husbandry.Grams(x); return &g }

// nestBox returns a box that loses 5.0 g a day through still air: an opening of
// 161 mm in air of 28 °C and 50 %.
func nestBox() moisture.Box {
	return moisture.Box{
		Way:  moisture.Way{Holes: husbandry.Holes{Count: 1, Diameter: 160.8}, Lid: 1},
		Air:  func(civil.Date) moisture.Air { return moisture.AirAt(28, 0.5) },
		Damp: husbandry.Damp{Mass: 1000, Water: 250},
		Set:  day("05-01"),
	}
}

func perDay(b moisture.Box) float64 { return b.Way.Loss(b.Air(b.On)) }

func TestTheTestBoxLosesFiveGramsADay(t *testing.T) {
	if got := perDay(nestBox()); math.Abs(got-5) > 0.02 {
		t.Errorf("loses %.3f g a day", got)
	}
}

// The notes of a keeper, and the resulting state of the box.
func TestBalanceOfABox(t *testing.T) {
	for _, c := range []struct {
		words    string
		tell     func(b *moisture.Box)
		on       string
		weighed  int // number of weighings that count
		topUps   int
		slowest  float64 // the factor lies between
		fastest  float64
		lacks    float64 // on that day, within 3 g
		unknown  bool
		target   float64
		doubts   []moisture.Doubt
		narrower float64 // the largest ratio of the interval's ends
	}{
		{words: "never weighed", tell: func(*moisture.Box) {}, on: "05-03", slowest: 0.99, fastest: 1.01, lacks: 10, target: 1000, narrower: 10.1},
		{words: "dries as in still air", tell: func(b *moisture.Box) {
			b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(980)}, {On: day("05-09"), Weighs: grams(960)}}
		}, on: "05-09", weighed: 3, slowest: 0.9, fastest: 1.1, lacks: 40, target: 1000, narrower: 1.7},
		{words: "under a lamp it dries three times as fast", tell: func(b *moisture.Box) {
			b.Notes = []moisture.Note{{On: day("05-03"), Weighs: grams(970), Added: 30}, {On: day("05-05"), Weighs: grams(970), Added: 30}, {On: day("05-07"), Weighs: grams(970), Added: 30}}
		}, on: "05-07", weighed: 4, slowest: 2.6, fastest: 3.2, lacks: 0, target: 1000, narrower: 1.7},
		{words: "the lamp came later", tell: func(b *moisture.Box) {
			for _, at := range []string{"05-05", "05-09", "05-13", "05-17"} {
				b.Notes = append(b.Notes, moisture.Note{On: day(at), Weighs: grams(980), Added: 20})
			}
			for _, at := range []string{"05-21", "05-25", "05-29"} {
				b.Notes = append(b.Notes, moisture.Note{On: day(at), Weighs: grams(940), Added: 60})
			}
		}, on: "05-29", weighed: 8, slowest: 2, fastest: 3.2, lacks: 0, target: 1000},
		{words: "topped up by eye, never weighed", tell: func(b *moisture.Box) {
			b.Damp.Mass = 0
			b.Notes = []moisture.Note{{On: day("05-04"), Added: 45}, {On: day("05-07"), Added: 45}, {On: day("05-10"), Added: 45}}
		}, on: "05-11", topUps: 3, slowest: 2, fastest: 3.1, lacks: 12, narrower: 3.5},
		{words: "topped up by an unknown amount", tell: func(b *moisture.Box) {
			b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(980)}, {On: day("05-06"), Filled: true}, {On: day("05-09"), Weighs: grams(990)}}
		}, on: "05-09", weighed: 2, slowest: 0.8, fastest: 1.2, lacks: 10, target: 1000},
		{words: "the first weighing is the target if no other is known", tell: func(b *moisture.Box) {
			b.Damp.Mass, b.Set = 0, civil.Date{}
			b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(950), Added: 40}, {On: day("05-09"), Weighs: grams(970)}}
		}, on: "05-09", weighed: 2, slowest: 0.8, fastest: 1.2, lacks: 20, target: 990},
		{words: "nothing recorded", tell: func(b *moisture.Box) { b.Set = civil.Date{} }, on: "05-09", slowest: 0.99, fastest: 1.01, unknown: true, target: 1000},
		{words: "two weighings of one day", tell: func(b *moisture.Box) {
			b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(980), Added: 20}, {On: day("05-05"), Weighs: grams(1000)}}
		}, on: "05-05", weighed: 2, slowest: 0.8, fastest: 1.2, lacks: 0, target: 1000},
		{words: "eggs taken out are not water", tell: func(b *moisture.Box) {
			b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(980)}, {On: day("05-07"), Disturbed: true}, {On: day("05-09"), Weighs: grams(930)}, {On: day("05-13"), Weighs: grams(910)}}
		}, on: "05-13", weighed: 4, slowest: 0.9, fastest: 1.1, lacks: 60, target: 970},
		{words: "so many eggs taken out that it weighs less than when it was dry", tell: func(b *moisture.Box) {
			b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(980)}, {On: day("05-07"), Disturbed: true}, {On: day("05-09"), Weighs: grams(700)}, {On: day("05-13"), Weighs: grams(680)}}
		}, on: "05-13", weighed: 4, slowest: 0.9, fastest: 1.1, lacks: 60, target: 740},
		{words: "a weighing before the box was filled does not count", tell: func(b *moisture.Box) {
			b.Notes = []moisture.Note{{On: day("04-20"), Weighs: grams(700)}, {On: day("05-05"), Weighs: grams(980)}}
		}, on: "05-05", weighed: 2, slowest: 0.8, fastest: 1.2, lacks: 20, target: 1000},
		{words: "a later note does not count yet", tell: func(b *moisture.Box) {
			b.Notes = []moisture.Note{{On: day("05-09"), Weighs: grams(900)}}
		}, on: "05-08", slowest: 0.99, fastest: 1.01, lacks: 35, target: 1000},

		{words: "heavier after days without water", tell: func(b *moisture.Box) {
			b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(980)}, {On: day("05-09"), Weighs: grams(1021)}}
		}, on: "05-09", weighed: 2, slowest: 0.8, fastest: 1.2, lacks: 40, target: 1000, doubts: []moisture.Doubt{moisture.Heavier}},
		{words: "heavier within the error of the scale", tell: func(b *moisture.Box) {
			b.Notes = []moisture.Note{{On: day("05-02"), Weighs: grams(1002)}}
		}, on: "05-02", weighed: 2, slowest: 0.1, fastest: 1, lacks: -2, target: 1000},
		{words: "lighter than without any water", tell: func(b *moisture.Box) {
			b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(980)}, {On: day("05-30"), Weighs: grams(690)}}
		}, on: "05-30", weighed: 2, slowest: 0.8, fastest: 1.2, lacks: 136, target: 1000, doubts: []moisture.Doubt{moisture.BoneDry}},
		{words: "the first weighing is lighter than without any water", tell: func(b *moisture.Box) {
			b.Set = civil.Date{}
			b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(98)}}
		}, on: "05-05", slowest: 0.99, fastest: 1.01, unknown: true, target: 1000, doubts: []moisture.Doubt{moisture.BoneDry}},
		{words: "a digit left out", tell: func(b *moisture.Box) {
			b.Damp.Water = 0
			b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(98)}}
		}, on: "05-05", slowest: 0.99, fastest: 1.01, lacks: 20, target: 1000, doubts: []moisture.Doubt{moisture.TooQuick}},
		{words: "a digit left out, then a correct weighing", tell: func(b *moisture.Box) {
			b.Damp.Water = 0
			b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(98)}, {On: day("05-09"), Weighs: grams(960)}}
		}, on: "05-09", weighed: 2, slowest: 0.8, fastest: 1.2, lacks: 40, target: 1000, doubts: []moisture.Doubt{moisture.TooQuick}},
		{words: "unrecorded water, confirmed by a second weighing", tell: func(b *moisture.Box) {
			b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(980)}, {On: day("05-09"), Weighs: grams(1030)}, {On: day("05-13"), Weighs: grams(1010)}}
		}, on: "05-13", weighed: 4, slowest: 0.8, fastest: 1.2, lacks: -10, target: 1000},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := nestBox()
			c.tell(&b)
			b.On = day(c.on)
			got := moisture.Learn(b)
			if got.Weighings != c.weighed || got.TopUps != c.topUps {
				t.Errorf("%d weighings and %d top-ups count, want %d and %d", got.Weighings, got.TopUps, c.weighed, c.topUps)
			}
			if k := got.Factor; k.Mid < c.slowest || k.Mid > c.fastest || k.From >= k.Mid || k.To <= k.Mid || c.narrower > 0 && k.To/k.From > c.narrower {
				t.Errorf("factor %.2f (%.2f-%.2f), want %v to %v", k.Mid, k.From, k.To, c.slowest, c.fastest)
			}
			if got.Known == c.unknown {
				t.Fatalf("known %v", got.Known)
			}
			if l := float64(got.LacksOn(b.On)); got.Known && math.Abs(l-c.lacks) > 3 {
				t.Errorf("lacks %.1f g, want %.0f", l, c.lacks)
			}
			if math.Abs(float64(got.Target)-c.target) > 2 {
				t.Errorf("target %.1f g, want %.0f", got.Target, c.target)
			}
			if len(got.Questions) != len(c.doubts) {
				t.Fatalf("questions %+v, want %v", got.Questions, c.doubts)
			}
			for i, q := range got.Questions {
				if q.Why != c.doubts[i] {
					t.Errorf("doubt %q, want %q", q.Why, c.doubts[i])
				}
			}
		})
	}
}

// A lamp was added between two weighings. The first interval under the lamp
// shows the change.
func TestAChangeOfTheDryingRateIsSeen(t *testing.T) {
	b := nestBox()
	for _, at := range []string{"05-05", "05-09", "05-13", "05-17"} {
		b.Notes = append(b.Notes, moisture.Note{On: day(at), Weighs: grams(980), Added: 20})
	}
	b.On = day("05-21")
	if got := moisture.Learn(b); got.Changed != 0 {
		t.Errorf("nothing has changed, and it says %.1f", got.Changed)
	}
	b.Notes = append(b.Notes, moisture.Note{On: day("05-21"), Weighs: grams(940)})
	if got := moisture.Learn(b); got.Changed < 2.5 || got.Changed > 3.5 || got.ChangedSince != day("05-17") {
		t.Errorf("%.1f times as fast since %v, want 3 since 17 May", got.Changed, got.ChangedSince)
	}
}

// The factors of these boxes are drawn from the prior, and the boxes are
// weighed six times on a scale that shows whole grams. The 90 % interval must
// contain the true factor nine times in ten, and be far narrower than the
// prior's. This holds for boxes that drift as in the model. If the factor is
// constant, the interval contains it more often.
func TestTheIntervalContainsTheTrueFactor(t *testing.T) {
	for _, c := range []struct {
		words       string
		drift       float64 // variance of a day
		least, most float64
	}{{"drifting", 0.003, 0.87, 0.93}, {"steady", 0, 0.9, 0.99}} {
		const boxes = 1000
		r := rand.New(rand.NewPCG(7, 12))
		held, inside, sq := 0, 0, 0.0
		for range boxes {
			b := nestBox()
			b.Damp = husbandry.Damp{Mass: 5000, Water: 4000}
			factor := 0.7 * r.NormFloat64() // its logarithm
			mass := 5000.0
			at := b.Set
			for range 6 {
				days := 2 + r.IntN(5)
				loss := 0.0
				chance := math.Exp(0.15 * r.NormFloat64())
				for range days {
					factor += math.Sqrt(c.drift) * r.NormFloat64()
					loss += math.Exp(factor) * 5 * chance
				}
				at, mass = at.AddDays(days), mass-loss
				n := moisture.Note{On: at, Weighs: grams(math.Round(mass + 0.9*r.NormFloat64()))}
				if r.IntN(2) == 0 {
					n.Added = husbandry.Grams(10 * r.IntN(8))
					mass += float64(n.Added) * (1 + 0.05*r.NormFloat64())
				}
				b.Notes = append(b.Notes, n)
			}
			b.On = at
			got := moisture.Learn(b)
			if got.Weighings != 7 { // six, and the day of filling
				continue // a weighing was set aside
			}
			held++
			if k := math.Exp(factor); got.Factor.From <= k && k <= got.Factor.To {
				inside++
			}
			sq += math.Pow(math.Log(got.Factor.To/got.Factor.From), 2)
		}
		width := math.Exp(math.Sqrt(sq / float64(held)))
		share := float64(inside) / float64(held)
		t.Logf("%s: %d boxes, %.1f %% within, the ends %.2f times apart (10.0 before)", c.words, held, 100*share, width)
		if held < boxes*95/100 || share < c.least || share > c.most || width > 2 {
			t.Errorf("%s: %d boxes, %.1f %% within, the ends %.2f times apart", c.words, held, 100*share, width)
		}
	}
}

// Each further weighing makes the interval narrower, if it agrees with the
// earlier ones.
func TestMoreWeighingsNarrowTheInterval(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := math.Exp(rapid.Float64Range(-0.7, 1.2).Draw(t, "log factor"))
		days := rapid.IntRange(2, 5).Draw(t, "days")
		b := nestBox()
		b.Damp.Water = 0
		loss := k * perDay(b) * float64(days)
		width := math.Inf(1)
		at := b.Set
		for i := range 6 {
			got := moisture.Learn(at2(b, at))
			if i > 0 && got.Weighings != i+1 {
				t.Fatalf("%d weighings of %d count", got.Weighings, i+1)
			}
			f := got.Factor
			if w := f.To / f.From; w > width*1.02 {
				t.Errorf("after %d weighings the ends are %.3f times apart, before %.3f", i, w, width)
			} else {
				width = w
			}
			if i > 1 && (f.From > k || f.To < k) {
				t.Errorf("after %d weighings %.3f is not within %.3f and %.3f", i, k, f.From, f.To)
			}
			at = at.AddDays(days)
			b.Notes = append(b.Notes, moisture.Note{On: at, Weighs: grams(1000 - loss), Added: husbandry.Grams(loss)})
		}
	})
}

// The errors of top-ups by eye are shares of the water. A box that loses a
// hundredth of the water through a hundredth of the holes is therefore known as
// well as the large box.
func TestTopUpsByEyeErrInProportion(t *testing.T) {
	learn := func(holes int) moisture.Range {
		b := nestBox()
		b.Damp.Mass = 0
		b.Way.Holes = husbandry.Holes{Count: holes, Diameter: 4}
		b.On = day("05-11")
		for _, at := range []string{"05-04", "05-07", "05-10"} {
			b.Notes = append(b.Notes, moisture.Note{On: day(at), Added: husbandry.Grams(6 * perDay(b))})
		}
		return moisture.Learn(b).Factor
	}
	small, large := learn(1), learn(100)
	for _, c := range []struct{ small, large float64 }{{small.From, large.From}, {small.To, large.To}} {
		if math.Abs(c.small/c.large-1) > 1e-6 {
			t.Errorf("a small box dries %.4f to %.4f times as fast as in still air, a large box %.4f to %.4f times", small.From, small.To, large.From, large.To)
		}
	}
}

func at2(b moisture.Box, on civil.Date) moisture.Box { b.On = on; return b }

// For any notes in any order the result is a number, and does not depend on the
// order.
func TestAnyNotesGiveAFiniteBalance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := nestBox()
		if rapid.Bool().Draw(t, "no mass") {
			b.Damp.Mass = 0
		}
		if rapid.Bool().Draw(t, "no day") {
			b.Set = civil.Date{}
		}
		b.Notes = rapid.SliceOfN(rapid.Custom(func(t *rapid.T) moisture.Note {
			n := moisture.Note{On: day("04-20").AddDays(rapid.IntRange(0, 90).Draw(t, "on")), Filled: rapid.IntRange(0, 4).Draw(t, "filled") == 0, Unweighed: rapid.IntRange(0, 4).Draw(t, "unweighed") == 0, Disturbed: rapid.IntRange(0, 9).Draw(t, "disturbed") == 0}
			if rapid.Bool().Draw(t, "weighed") {
				n.Weighs = grams(rapid.Float64Range(0, 3000).Draw(t, "weighs"))
			}
			if rapid.Bool().Draw(t, "watered") {
				n.Added = husbandry.Grams(rapid.Float64Range(0, 2000).Draw(t, "added"))
			}
			return n
		}), 0, 30).Draw(t, "notes")
		b.On = day("07-01")
		got := moisture.Learn(b)
		f := got.Factor
		if !(f.From > 0 && f.From < f.Mid && f.Mid < f.To && f.To < 50) {
			t.Errorf("factor %+v", f)
		}
		if l := float64(got.LacksOn(b.On)); math.IsNaN(l) || math.IsInf(l, 0) {
			t.Errorf("lacks %v", l)
		}
		weighed := make(map[civil.Date]bool)
		for _, n := range b.Notes {
			weighed[n.On] = weighed[n.On] || n.Weighs != nil
		}
		for _, q := range got.Questions {
			if !weighed[q.On] {
				t.Errorf("questions a weighing of %v that is none", q.On)
			}
		}
		if got.Weighings+got.TopUps > 24 {
			t.Errorf("%d and %d count", got.Weighings, got.TopUps)
		}
		for tolerance := husbandry.Grams(10); tolerance < 100; tolerance += 40 {
			if a, c := got.Until(tolerance), got.Until(tolerance+40); c.Before(a) && !c.IsZero() {
				t.Errorf("%v g last until %v, and more until %v", tolerance, a, c)
			}
		}
	})
}

// A keeper who marks a box as back at its target mass is trusted until the next
// weighing. The uncertain amount of water makes the next check earlier, and the
// more so the more often nobody weighed the box.
func TestABoxMarkedAsBackAtItsMassIsTrusted(t *testing.T) {
	b := nestBox()
	b.Notes = []moisture.Note{{On: day("05-05"), Weighs: grams(980), Added: 20}, {On: day("05-09"), Weighs: grams(980), Added: 20}}
	weighed := at2(b, day("05-13"))
	weighed.Notes = append(slices.Clone(b.Notes), moisture.Note{On: day("05-13"), Weighs: grams(980), Added: 20})
	sure := moisture.Learn(weighed)
	if !sure.Unweighed.IsZero() || sure.Unsure != 0 {
		t.Errorf("weighed, and not sure by %v since %v", sure.Unsure, sure.Unweighed)
	}
	said := at2(b, day("05-13"))
	said.Notes = append(slices.Clone(b.Notes), moisture.Note{On: day("05-13"), Unweighed: true})
	once := moisture.Learn(said)
	// It lost about 20 g, so eyeError is 7 g.
	if once.Unweighed != day("05-13") || once.Lacks != 0 || math.Abs(float64(once.Unsure)-7) > 0.7 {
		t.Errorf("said: since %v, lacks %v, unsure %v", once.Unweighed, once.Lacks, once.Unsure)
	}
	if !once.Until(40).Before(sure.Until(40)) {
		t.Errorf("said, until %v; weighed, until %v", once.Until(40), sure.Until(40))
	}
	said.Notes, said.On = append(said.Notes, moisture.Note{On: day("05-17"), Unweighed: true}), day("05-17")
	twice := moisture.Learn(said)
	if twice.Unsure <= once.Unsure || twice.Unweighed != day("05-17") {
		t.Errorf("said twice: unsure by %v, once by %v", twice.Unsure, once.Unsure)
	}
	if twice.Weighings != once.Weighings {
		t.Errorf("%d weighings from a word", twice.Weighings)
	}
	said.Notes, said.On = append(said.Notes, moisture.Note{On: day("05-18"), Weighs: grams(955)}), day("05-18")
	if got := moisture.Learn(said); !got.Unweighed.IsZero() || got.Unsure != 0 || got.Lacks != 45 || len(got.Questions) > 0 {
		t.Errorf("weighed again: %+v", got)
	}
}

// The next date is the day on which the tolerance is used up, with a margin
// while little is known.
func TestTheNextDateHasAMarginWhileLittleIsKnown(t *testing.T) {
	b := nestBox()
	b.On = day("05-01")
	// 40 g at 5 g a day last 8 days. Only the opening is known yet, so the
	// factor is below 1.8 with a probability of 80 %.
	if got := moisture.Learn(b); got.Until(40) != day("05-05") || got.Lasts(40) != 4 {
		t.Errorf("by its opening alone until %v, %d days", got.Until(40), got.Lasts(40))
	}
	for _, at := range []string{"05-05", "05-09", "05-13", "05-17"} {
		b.Notes = append(b.Notes, moisture.Note{On: day(at), Weighs: grams(980), Added: 20})
	}
	b.On = day("05-17")
	if got := moisture.Learn(b); got.Until(40) != day("05-24") || got.Lasts(40) != 7 {
		t.Errorf("after four weighings until %v, %d days", got.Until(40), got.Lasts(40))
	}
	b.Notes[3].Added = 0
	if got := moisture.Learn(b); got.Until(40) != day("05-20") || got.Lasts(40) != 7 {
		t.Errorf("20 g short until %v, %d days", got.Until(40), got.Lasts(40))
	}
	if got := moisture.Learn(b); !got.Until(10).Before(got.Since) {
		t.Errorf("too dry already, and until %v", got.Until(10))
	}
	if got := moisture.Learn(b); !got.Until(0).IsZero() {
		t.Errorf("without a tolerance until %v", got.Until(0))
	}
}

func BenchmarkLearn(b *testing.B) {
	box := nestBox()
	for i := range 20 {
		box.Notes = append(box.Notes, moisture.Note{On: box.Set.AddDays(4 * (i + 1)), Weighs: grams(980), Added: 20})
	}
	box.On = box.Set.AddDays(81)
	for b.Loop() {
		moisture.Learn(box)
	}
}
