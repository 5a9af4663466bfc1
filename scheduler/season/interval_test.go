package season_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"nestround/scheduler/season"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Efron & Morris 1977, Scientific American 236(5):119-127: hits of eighteen
// batters in their first 45 times at bat (from memory). The common mean .265
// and the factor .212 are the article's. The squared error of the shrunken
// estimates against the season's averages is less than a third of that of the
// single means.
func TestShrinkAgreesWithThePublishedExample(t *testing.T) {
	hits := []float64{18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7}
	want := []float64{.294, .289, .285, .280, .275, .275, .270, .266, .261, .261, .256, .256, .256, .256, .256, .252, .247, .242}
	var means []float64
	common := 0.0
	for _, h := range hits {
		means = append(means, h/45)
		common += h / 45 / float64(len(hits))
	}
	centre, keep, between := season.Shrink(means, common*(1-common)/45)
	if math.Abs(centre-.26543) > 5e-6 || math.Abs(keep-.2117) > 5e-5 {
		t.Errorf("common mean %.5f, share kept %.4f, want .26543 and .2117", centre, keep)
	}
	for i, m := range means {
		if got := centre + keep*(m-centre); math.Abs(got-want[i]) > 6e-4 {
			t.Errorf("%.3f becomes %.4f, want %.3f", m, got, want[i])
		}
	}
	// The variance between the means and the kept share must agree.
	if v := common * (1 - common) / 45; math.Abs(between/(between+v)-keep) > 1e-9 {
		t.Errorf("variance between %.6f of %.6f, share kept %.4f", between, between+v, keep)
	}
	for _, few := range [][]float64{nil, {1}, {1, 2, 3}, {2, 2, 2, 2, 2}} {
		if _, keep, between := season.Shrink(few, 1); keep != 0 || between != 0 {
			t.Errorf("%v: keeps %g, between %g", few, keep, between)
		}
	}
}

// Females of a made-up colony lay at their own pace. The 90 % window must
// contain about 90 % of their next clutches, both after the first and after the
// twelfth clutch. Her own history must make the window narrower.
func TestWindowsContainNineInTenClutches(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 27))
	sheet := wallLizard
	sheet.Laying.Interval, sheet.Laying.Clutches = husbandry.Span{From: 20, To: 40}, 0
	variance := math.Pow(20/3.2897, 2)
	share := math.Sqrt(variance / 4)
	type tally struct{ in, n, width int }
	byOwn := make(map[int]*tally)
	for range 60 {
		colony := 30 + share*rnd.NormFloat64()
		var all []season.Interval
		clutches := make(map[husbandry.ID][]season.Laid)
		for f := range 8 {
			id := husbandry.ID(fmt.Sprint("F", f))
			pace := colony + share*rnd.NormFloat64()
			on := civil.New(2027, 3, 1)
			clutches[id] = []season.Laid{{Clutch: "0", On: on}}
			for k := range 12 {
				w := season.LayingTime(season.Female{ID: id, Sheet: sheet, Clutches: clutches[id], Colony: season.NewColony(sheet.Laying.Interval, all), On: on})
				days := max(1, math.Round(pace+math.Sqrt(variance/2)*rnd.NormFloat64()))
				on = on.AddDays(int(days))
				if byOwn[k] == nil {
					byOwn[k] = new(tally)
				}
				byOwn[k].n++
				byOwn[k].width += w.To.Sub(w.From)
				if !on.Before(w.From) && !on.After(w.To) {
					byOwn[k].in++
				}
				clutches[id] = append(clutches[id], season.Laid{Clutch: husbandry.ID(fmt.Sprint(k)), On: on})
				all = append(all, season.Interval{Female: id, Days: days})
			}
		}
	}
	for k, c := range byOwn {
		// Of 480 clutches: three standard errors of 90 % are four percentage
		// points.
		if share := float64(c.in) / float64(c.n); share < .85 || share > .95 {
			t.Errorf("with %d own intervals %.0f %% are within the window", k, 100*share)
		}
	}
	if first, last := byOwn[0].width, byOwn[11].width; last >= first {
		t.Errorf("with eleven own intervals the windows take %d days, with none %d", last/byOwn[11].n, first/byOwn[0].n)
	}
}

// The mean of a colony is nearer to the female with many intervals than to the
// female with a single interval. A female without intervals of her own gets the
// mean of the others.
func TestManyIntervalsCountMoreThanOne(t *testing.T) {
	sheet := wallLizard
	sheet.Laying.Interval = husbandry.Span{From: 20, To: 40}
	predicted := func(many, one float64) civil.Date {
		all := []season.Interval{{Female: "F02", Days: one}}
		for range 12 {
			all = append(all, season.Interval{Female: "F01", Days: many})
		}
		w := season.LayingTime(season.Female{ID: "F03", Sheet: sheet, Clutches: laid("2027-04-01"), On: day("2027-04-01"),
			Colony: season.NewColony(sheet.Laying.Interval, all)})
		return w.Quantile(.5)
	}
	// Both females are ten days from the middle of the sheet, on opposite sides.
	short, none, long := predicted(20, 40), predicted(30, 30), predicted(40, 20)
	if !short.Before(none) || !none.Before(long) {
		t.Errorf("predicted %v after many short intervals, %v if all are equal, %v after many long intervals", short, none, long)
	}
}

// The probabilities of single days add up, and grow while she waits. If eggs
// were seen in her, they add up to 1.
func TestChancesAddUpAndGrowWhileSheWaits(t *testing.T) {
	for _, seen := range []bool{false, true} {
		f := season.Female{ID: "F03", Sheet: wallLizard, Clutches: laid("2027-04-20"), On: day("2027-05-12")}
		if seen {
			f.Gravid = day("2027-05-10")
		}
		w := season.LayingTime(f)
		sum := 0.0
		for i := range 300 {
			d := f.On.AddDays(i)
			sum += w.Chance(f.On, d) - w.Chance(f.On, d.AddDays(-1))
		}
		if want := map[bool]float64{true: 1, false: .8}[seen]; sum > want+1e-6 || sum < want-.05 {
			t.Errorf("seen %v: the chances of three hundred days are %.3f", seen, sum)
		}
		if early, late := w.Chance(f.On, f.On.AddDays(6)), w.Chance(f.On.AddDays(10), f.On.AddDays(16)); late <= early {
			t.Errorf("seen %v: a week is worth %.2f now and %.2f ten days on", seen, early, late)
		}
		if half := w.Quantile(.5); half != day("2027-05-26") {
			t.Errorf("half by %v", half)
		}
		if over := w.Chance(w.To.AddDays(40), w.To.AddDays(50)); !seen && over > .2 {
			t.Errorf("long past the window she still lays with %.2f", over)
		}
	}
}
