package moisture_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"nestround/scheduler/moisture"
	"nestround/tasks/husbandry"
)

// The values are from the published equation with its published constants
// (WMO-No. 8, annex 4.B: 6.112 hPa, 17.62, 243.12 °C). As an independent check
// they are within half a percent of the values of the International Association
// for the Properties of Water and Steam (IAPWS-IF97), of Hyland and Wexler as
// in the ASHRAE Handbook, and of FAO Irrigation and Drainage Paper 56.
func TestSaturation(t *testing.T) {
	for _, c := range []struct {
		at                         husbandry.Celsius
		wmo, if97, hyland, paper56 float64
	}{
		{0, 611.2, 611.2, 611.2, 610.8},
		{20, 2332.6, 2339.2, 2338.8, 2338.3},
		{25, 3160.1, 3169.7, 3169.2, 3167.8},
		{28, 3771.1, 3782.8, 3782.2, 3779.9},
		{30, 4233.7, 4246.7, 4246.0, 4243.1},
		{35, 5612.8, 5628.6, 5627.8, 5622.7},
	} {
		got := moisture.Saturation(c.at)
		if math.Abs(got-c.wmo) > 0.1 {
			t.Errorf("%v °C: %.2f Pa, the equation gives %.1f", c.at, got, c.wmo)
		}
		for _, other := range []float64{c.if97, c.hyland, c.paper56} {
			if math.Abs(got/other-1) > 0.005 {
				t.Errorf("%v °C: %.1f Pa is not near %.1f", c.at, got, other)
			}
		}
	}
}

// The deficit is saturation less vapour, by the same equation.
func TestDeficit(t *testing.T) {
	for _, c := range []struct {
		at       husbandry.Celsius
		humidity float64
		want     float64
	}{{25, 0.5, 1580.0}, {28, 0.5, 1885.6}, {28, 0.8, 754.2}, {30, 0.6, 1693.5}, {28, 1, 0}} {
		if got := moisture.AirAt(c.at, c.humidity).Deficit(); math.Abs(got-c.want) > 0.1 {
			t.Errorf("%v °C at %v: %.1f Pa, want %.1f", c.at, c.humidity, got, c.want)
		}
	}
}

// Massman 1998, Atmospheric Environment 32:1111-1127, equation for water
// vapour, computed at four temperatures (coefficients from memory).
func TestDiffusivity(t *testing.T) {
	for at, want := range map[husbandry.Celsius]float64{20: 24.75, 25: 25.52, 28: 25.99, 30: 26.30} {
		if got := moisture.Diffusivity(at) * 1e6; math.Abs(got-want) > 0.005 {
			t.Errorf("%v °C: %.3f mm²/s, want %.2f", at, got, want)
		}
	}
}

// Cases worked by hand from the equations: 28 °C, a room of 50 %, a tub of
// 0.028 m². Fick's law gives 0.0135665 kg/m³ between substrate and room, and
// the Stefan flow 1.02875 times as much.
func TestLoss(t *testing.T) {
	room := moisture.AirAt(28, 0.5)
	inside := husbandry.Size{Length: 200, Width: 140}
	for _, c := range []struct {
		words string
		way   moisture.Way
		want  float64
	}{
		{"open, 5 cm of still air", moisture.Way{Inside: inside, Headspace: 50}, 17.549},
		{"one opening of 50 mm in a lid of 1 mm", moisture.Way{Holes: husbandry.Holes{Count: 1, Diameter: 50}, Lid: 1}, 1.5279},
		{"the same above 5 cm of still air", moisture.Way{Holes: husbandry.Holes{Count: 1, Diameter: 50}, Lid: 1, Inside: inside, Headspace: 50}, 1.5279 * 0.920},
		{"one hole of 10 mm in a lid of 2 mm", moisture.Way{Holes: husbandry.Holes{Count: 1, Diameter: 10}, Lid: 2}, 0.24977},
		{"four holes of 3 mm in a lid of 1 mm", moisture.Way{Holes: husbandry.Holes{Count: 4, Diameter: 3}, Lid: 1}, 0.26400},
		{"the same above 5 cm of still air", moisture.Way{Holes: husbandry.Holes{Count: 4, Diameter: 3}, Lid: 1, Inside: inside, Headspace: 50}, 0.26400 * 0.985},
		{"nothing known about the box", moisture.Way{}, 0},
		{"open, with unknown depth", moisture.Way{Inside: inside}, 0},
	} {
		if got := c.way.Loss(room); math.Abs(got-c.want) > 5e-4*c.want {
			t.Errorf("%s: %.5f g/day, want %.5f", c.words, got, c.want)
		}
	}
	four := moisture.Way{Holes: husbandry.Holes{Count: 4, Diameter: 3}, Lid: 1}
	if days := 10 / four.Loss(room); math.Abs(days-37.9) > 0.05 {
		t.Errorf("10 g last %.1f days, want 37.9", days)
	}
	fick := moisture.Diffusivity(28) * 0.0135665 * 0.028 / 0.05 * 86400 * 1000
	if ratio := (moisture.Way{Inside: inside, Headspace: 50}).Loss(room) / fick; math.Abs(ratio-1.02875) > 2e-5 {
		t.Errorf("Stefan flow is %.5f of diffusion, want 1.02875", ratio)
	}
}

// A free water surface of that size in a room of 28 °C and 50 % loses 91 g/day
// by Shah (2002, HVAC&R Research 8:125-131) and 167 by the equation of the
// ASHRAE Handbook (both from memory). The loss through still air must be
// smaller.
func TestStillAirIsTheLowerBound(t *testing.T) {
	open := moisture.Way{Inside: husbandry.Size{Length: 200, Width: 140}, Headspace: 20}
	if got := open.Loss(moisture.AirAt(28, 0.5)); got <= 0 || got >= 90.8 {
		t.Errorf("%.1f g/day", got)
	}
}

func TestLossGrowsWithWarmthDrynessAndOpening(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mm := func(name string, least, most float64) husbandry.Millimetres {
			return husbandry.Millimetres(rapid.Float64Range(least, most).Draw(t, name))
		}
		w := moisture.Way{
			Holes: husbandry.Holes{Count: rapid.IntRange(1, 20).Draw(t, "holes"), Diameter: mm("diameter", 0.5, 100)},
			Lid:   mm("lid", 0, 20), Inside: husbandry.Size{Length: mm("length", 50, 500), Width: mm("width", 50, 500)}, Headspace: mm("headspace", 1, 200),
		}
		at := husbandry.Celsius(rapid.Float64Range(10, 38).Draw(t, "temperature"))
		dry := rapid.Float64Range(0.01, 0.98).Draw(t, "humidity")
		room := moisture.AirAt(at, dry)
		loss := w.Loss(room)
		if !(loss > 0) {
			t.Fatalf("loses %v", loss)
		}
		more := func(what string, other moisture.Way, air moisture.Air) {
			if o := other.Loss(air); !(o > loss) {
				t.Errorf("%s: %v is not more than %v", what, o, loss)
			}
		}
		wide, many, thin, open := w, w, w, w
		wide.Holes.Diameter *= 1.1
		many.Holes.Count++
		thin.Headspace /= 2
		open.Holes = husbandry.Holes{}
		more("wider holes", wide, room)
		more("more holes", many, room)
		more("less still air", thin, room)
		more("no lid", open, room)
		more("drier air", w, moisture.AirAt(at, dry-0.01))
		more("the same air warmed", w, room.Warmed(at+1))
		if still := w.Loss(moisture.AirAt(at, 1)); still != 0 {
			t.Errorf("in saturated air it loses %v", still)
		}
	})
}
