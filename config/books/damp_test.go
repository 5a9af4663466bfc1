package books

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"nestround/tasks/husbandry"
)

func TestReadDamp(t *testing.T) {
	v := clean(t, `
[[room]]
id = "A"
temperature = "77 F"
humidity = "55 %"
[[incubator]]
id = "I1"
room = "A"
temperature = "28 C"
humidity = "80 %"
[[enclosure]]
id = "E1"
room = "A"
nest_box = { substrate = "vermiculite", top_up = "3 days", opening = "2 x 50 mm", lid = "2 mm", size = "20 x 14 cm", headspace = "5 cm", water = "250 ml", mass = "900 g", tolerance = "50 g" }
[[enclosure]]
id = "E2"
room = "A"
nest_box = { size = "8 x 5 in", headspace = "1 in", tolerance = "1 oz" }
[[clutch]]
id = "C1"
species = "test-gecko"
laid = 2027-05-01
incubator = "I1"
tub_set = 2027-05-01
holes = "4 x 3 mm"
tub_size = "18 x 12 cm"
headspace = "30 mm"
tub_mass = "412 g"
water = "120 g"
tolerance = "12 g"
`)
	room := v.Rooms[0]
	if room.Temperature == nil || *room.Temperature != 25 || room.Humidity == nil || *room.Humidity != 0.55 {
		t.Errorf("room %+v", room)
	}
	if h := v.Incubators[0].Humidity; h == nil || *h != 0.8 {
		t.Errorf("incubator %+v", v.Incubators[0])
	}
	for i, want := range []husbandry.Damp{
		{Holes: husbandry.Holes{Count: 2, Diameter: 50}, Lid: 2, Inside: husbandry.Size{Length: 200, Width: 140}, Headspace: 50, Water: 250, Mass: 900, Tolerance: 50},
		{Inside: husbandry.Size{Length: 203.2, Width: 127}, Headspace: 25.4, Tolerance: 28.349523125},
		{Holes: husbandry.Holes{Count: 4, Diameter: 3}, Lid: 1, Inside: husbandry.Size{Length: 180, Width: 120}, Headspace: 30, Water: 120, Mass: 412, Tolerance: 12},
	} {
		got := v.Clutches[0].Damp
		if i < 2 {
			got = v.Enclosures[i].NestBox.Damp
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("got  %+v\nwant %+v", got, want)
		}
	}
}

func TestProblemsOfDamp(t *testing.T) {
	const tub = "[[clutch]]\nid = \"C\"\nspecies = \"test-gecko\"\ntemperature = \"28 C\"\nlaid = 2027-05-02\ntub_set = 2027-05-02\n"
	for _, c := range []struct{ name, src, want string }{
		{"a length without a unit", tub + "holes = \"4 x 3\"\n", "7:9: `holes`: \"4 x 3\" is not an opening"},
		{"a number for an opening", place + "nest_box = { opening = 50 }\n", "6:24: `opening` is text, not a whole number"},
		{"a box as long as a house", place + "nest_box = { size = \"3000 x 20 cm\", headspace = \"5 cm\" }\n", "6:21: `size`: \"3000 x 20 cm\" is not a length and a width"},
		{"more water than it weighs", tub + "holes = \"4 x 3 mm\"\ntub_mass = \"100 g\"\nwater = \"120 g\"\n", "9:9: there is more water in it"},
		{"all its water", tub + "holes = \"4 x 3 mm\"\nwater = \"120 g\"\ntolerance = \"120 ml\"\n", "9:13: all its water may be lost"},
		{"no water", tub + "holes = \"4 x 3 mm\"\nwater = \"0 g\"\n", "8:9: `water`: \"0 g\" is not between nothing and 100 kg"},
		{"a lid without holes", tub + "lid = \"1 mm\"\n", "7:1: there is a `lid` and no `holes`"},
		{"a size alone", place + "nest_box = { size = \"20 x 14 cm\" }\n", "6:12: `size` and `headspace` are used together"},
		{"water without an opening", tub + "water = \"120 g\"\n", "1:1: nothing is said of where the water leaves"},
		{"a mass without its day", strings.Replace(tub, "tub_set = 2027-05-02\n", "", 1) + "tub_mass = \"412 g\"\n", "6:1: the tub has a mass and no day"},
		{"humidity above 100 %", "[[room]]\nid = \"A\"\nhumidity = \"120 %\"\n", "3:12: `humidity`: \"120 %\" is not a share"},
		{"a room in Fahrenheit", "[[room]]\nid = \"A\"\ntemperature = \"77 C\"\n", "3:15: `temperature`: \"77 C\" is no temperature of a room"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n", "records.toml", c.src)
			if len(list) != 1 || !strings.HasPrefix(fmt.Sprintf("%d:%d: %s", list[0].Line, list[0].Column, list[0].Message), c.want) {
				t.Errorf("got %v, want %s", list, c.want)
			}
		})
	}
}
