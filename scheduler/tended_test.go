package scheduler_test

import (
	"strings"
	"testing"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// brooding returns the lizard room with two incubators and one clutch of six
// eggs in the warm incubator.
func brooding() *books {
	b := withSample()
	b.Species[0].Scientific, b.Species[0].Family = "Podarcis muralis", "Lacertidae"
	b.Incubators = []husbandry.Incubator{{ID: "WARM", Room: "R1", Temperature: 28}, {ID: "COOL", Room: "R1", Temperature: 24}}
	b.Clutches = []husbandry.Clutch{{ID: "C1", Mother: "F03", Species: "wall-lizard", LaidFrom: day("05-12"), Laid: day("05-12"), Eggs: 6, Incubator: "WARM", Tub: husbandry.Vented}}
	return b
}

func (b *books) clutch(t *testing.T, on string) outlook.ClutchForecast {
	t.Helper()
	in := b.input(on, 0)
	in.Forecasts = nil
	list := outlook.ClutchForecasts(scheduler.NewDay(in))
	if len(list) != 1 {
		t.Fatalf("clutches %+v", list)
	}
	return list[0]
}

// Eggs in a moved tub develop at the pace of each place. It does not matter
// whether a record or a reply reports the move, or whether the tub or the
// thermostat changed.
func TestAMovedTubDevelopsAtEachPlacesPace(t *testing.T) {
	stayed := brooding().clutch(t, "06-01")
	moves := map[string]func(b *books){
		"by a reply":    func(b *books) { b.found("05-22", "C1/found/2027-05-22", tasks.Finding{Moved: "COOL"}) },
		"by its record": func(b *books) { b.Clutches[0].Moves = []husbandry.Move{{On: day("05-22"), Incubator: "COOL"}} },
		"to a shelf of 24 °C": func(b *books) {
			cool := husbandry.Celsius(24)
			b.Clutches[0].Moves = []husbandry.Move{{On: day("05-22"), Temperature: &cool}}
		},
		"the thermostat turned": func(b *books) {
			b.Incubators[0].Temperature = 24
			b.Incubators[0].Was = []husbandry.SetPoint{{Until: day("05-21"), Temperature: 28}}
		},
	}
	var middle string
	for name, move := range moves {
		b := brooding()
		move(b)
		c := b.clutch(t, "06-01")
		// Wall lizards take about 37 days at 28 °C and 60 days at 24 °C (Ji &
		// Braña 1999, Le Henanff and others 2013). After ten days 27 remain,
		// and the move adds 17.
		if late := c.P50.Sub(stayed.P50); late < 12 || late > 22 {
			t.Errorf("%s: moved from 28 to 24 °C after ten days: %d days later", name, late)
		}
		if middle == "" {
			middle = c.P50.String()
		} else if middle != c.P50.String() {
			t.Errorf("%s: half by %s, otherwise said half by %s", name, c.P50, middle)
		}
		if before := b.clutch(t, "05-20"); name == "by a reply" && before.P50 != brooding().clutch(t, "05-20").P50 {
			t.Errorf("known of before it was said: half by %v", before.P50)
		}
	}
	b := brooding().found("05-22", "C1/found/2027-05-22", tasks.Finding{Moved: "COOL"})
	if c := b.clutch(t, "06-01"); c.Incubator != "COOL" {
		t.Errorf("it stands in %s", c.Incubator)
	}
	if c := b.undo("05-22", "C1/found/2027-05-22").clutch(t, "06-01"); c.P50 != stayed.P50 || c.Incubator != "WARM" {
		t.Errorf("taken back: %+v", c)
	}
}

// Every egg is accounted for: a clutch is finished when all its eggs have
// hatched or are dead, or when its keeper ends it.
func TestAClutchEndsWithItsLastEgg(t *testing.T) {
	two, three, six := 2, 3, 6
	hatched := tasks.Key("C1/hatch-watch/2027-06-18")
	for name, c := range map[string]struct {
		say   func(b *books)
		state herd.ClutchState
		watch bool
	}{
		"some hatched": {func(b *books) { b.hatched("06-18", hatched, 3) }, herd.Hatching, true},
		"the others dead": {func(b *books) {
			b.hatched("06-18", hatched, 3).found("06-19", "C1/found/2027-06-19", tasks.Finding{Dead: &three})
		}, herd.HatchedAll, false},
		"dead at two looks": {func(b *books) {
			b.hatched("06-18", hatched, 3).found("06-01", "C1/found/2027-06-01", tasks.Finding{Dead: &two}).found("06-02", "C1/found/2027-06-02", tasks.Finding{Dead: &three})
		}, herd.HatchedAll, false},
		"dead and counted once": {func(b *books) {
			b.hatched("06-18", hatched, 3).found("06-02", "C1/found/2027-06-02", tasks.Finding{Dead: &two}).found("06-02", "C1/found/2027-06-02", tasks.Finding{Dead: &two})
		}, herd.Hatching, true},
		"all dead": {func(b *books) { b.found("06-01", "C1/found/2027-06-01", tasks.Finding{Dead: &six}) }, herd.Ended, false},
		"ended": {func(b *books) {
			b.hatched("06-18", hatched, 3).found("06-19", "C1/found/2027-06-19", tasks.Finding{Ended: true})
		}, herd.Ended, false},
		"ended, and the end taken back": {func(b *books) {
			b.hatched("06-18", hatched, 3).found("06-19", "C1/found/2027-06-19", tasks.Finding{Ended: true}).undo("06-19", "C1/found/2027-06-19")
		}, herd.Hatching, true},
		"an end date in the future":       {func(b *books) { b.Clutches[0].Ended = day("07-01") }, herd.Incubating, true},
		"seen to have veins when candled": {func(b *books) { b.found("05-19", "C1/found/2027-05-19", tasks.Finding{Veins: &six}) }, herd.Incubating, true},
	} {
		b := brooding()
		c.say(b)
		if got := b.clutch(t, "06-20"); got.State != c.state {
			t.Errorf("%s: it is %s, want %s", name, got.State, c.state)
		}
		if p := b.plan("06-20", 0).of("hatch-watch"); (len(p) > 0) != c.watch {
			t.Errorf("%s: hatch watch %v", name, p)
		}
	}
}

// The basis of a forecast states the number of logged days.
func TestTheBasisStatesTheLoggedDays(t *testing.T) {
	b := brooding()
	in := b.input("06-01", 0)
	logged := map[husbandry.ID]map[civil.Date][]husbandry.Celsius{"WARM": {}}
	for i := range 15 {
		logged["WARM"][day("05-14").AddDays(i)] = []husbandry.Celsius{28, 28}
	}
	in.Forecasts = &herd.Calibrated{Logged: logged}
	if c := outlook.ClutchForecasts(scheduler.NewDay(in))[0]; !strings.HasSuffix(c.Basis, "; its incubator's log has 15 of its 20 days") {
		t.Errorf("basis %q", c.Basis)
	}
}

// Eggs are candled once in their tub, and not after veins were seen. A sealed
// tub stays closed.
func TestCandling(t *testing.T) {
	candle := husbandry.Routine{ID: "r", Kind: husbandry.Candle, Scope: husbandry.OfClutch, Cadence: after(husbandry.EventTubSet, 10), Missed: husbandry.Lapses, Part: husbandry.Evening, After: 7, Origin: husbandry.Common}
	six := 6
	for _, c := range []struct {
		words string
		tell  func(b *books)
		on    string
		want  string
	}{
		{"on the tenth day", func(*books) {}, "05-22", "due 05-22 C1/r/tub-set"},
		{"in the week after", func(*books) {}, "05-29", "due 05-22 C1/r/tub-set"},
		{"never again", func(*books) {}, "05-31", ""},
		{"candled", func(b *books) { b.done("05-22", "C1/r/tub-set") }, "05-23", ""},
		{"veins seen before", func(b *books) { b.found("05-20", "C1/found/2027-05-20", tasks.Finding{Veins: &six}) }, "05-22", ""},
		{"a sealed tub", func(b *books) { b.Clutches[0].Tub = husbandry.Sealed }, "05-22", ""},
		{"still in the box", func(b *books) { b.Clutches[0].Incubator = "" }, "05-22", ""},
	} {
		b := brooding()
		b.Routines = []husbandry.Routine{candle}
		c.tell(b)
		if got := b.plan(c.on, 0).of("/r/").String(); got != c.want {
			t.Errorf("%s: got %q, want %q", c.words, got, c.want)
		}
	}
}

// A clutch with a temperature and no incubator in its record has that
// temperature. It is not in the nest box, and not with other clutches of its
// species.
func TestAClutchWithATemperatureAndNoIncubator(t *testing.T) {
	b := brooding()
	warm := husbandry.Celsius(30)
	b.Clutches[0].Incubator, b.Clutches[0].Temperature = "", &warm
	b.Clutches = append(b.Clutches, husbandry.Clutch{ID: "C2", Species: "wall-lizard", LaidFrom: day("05-12"), Laid: day("05-12"), Eggs: 6, Incubator: "COOL"})
	in := b.input("06-01", 0)
	in.Forecasts = nil
	c := outlook.ClutchForecasts(scheduler.NewDay(in))[0]
	if c.ID != "C1" || c.State != herd.Incubating || c.Incubator != "" || c.Temperature == nil || *c.Temperature != 30 {
		t.Errorf("%+v", c)
	}
}

// A hatching teaches the forecast from the next day on. So another clutch's
// forecast stays the same from morning to evening.
func TestAHatchingTeachesFromTheNextDayOn(t *testing.T) {
	b := brooding()
	b.Clutches[0].Eggs = 1
	b.Clutches = append(b.Clutches, husbandry.Clutch{ID: "C2", Species: "wall-lizard", LaidFrom: day("05-14"), Laid: day("05-14"), Eggs: 6, Incubator: "WARM"})
	other := func(on string) outlook.ClutchForecast {
		in := b.input(on, 0)
		in.Forecasts = nil
		return outlook.ClutchForecasts(scheduler.NewDay(in))[1]
	}
	one := 1
	morning, next := other("06-12"), other("06-13")
	b.found("06-12", "C1/hatch-watch/2027-06-12", tasks.Finding{Hatched: &one})
	if evening := other("06-12"); evening.P50 != morning.P50 || evening.WatchFrom != morning.WatchFrom || evening.Basis != morning.Basis {
		t.Errorf("C2 in the evening: %v from %s, in the morning %v from %s", evening.P50, evening.Basis, morning.P50, morning.Basis)
	}
	if taught := other("06-13"); taught.P50 == next.P50 || taught.Basis == next.Basis {
		t.Errorf("C2 on the day after: %v from %s, as if nothing had hatched", taught.P50, taught.Basis)
	}
}
