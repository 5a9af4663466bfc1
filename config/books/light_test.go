package books

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"nestround/tasks/husbandry"
)

func TestReadLight(t *testing.T) {
	const hour = time.Hour
	for _, c := range []struct {
		words, keeper, light string
		want                 husbandry.Light
	}{
		{"the keeper's sky", "latitude = 48.2\n", `{}`, husbandry.Light{Latitude: 48.2, Noon: 720, Step: 15}},
		{"another sky", "latitude = 48.2\n", `{ latitude = -25 }`, husbandry.Light{Latitude: -25, Noon: 720, Step: 15}},
		{"half a year later", "latitude = 48.2\n", `{ behind = "182 days", noon = "13:00", step = "30 minutes" }`, husbandry.Light{Latitude: 48.2, Behind: 182, Noon: 780, Step: 30}},
		{"a month earlier", "", `{ latitude = 40, ahead = "30 days" }`, husbandry.Light{Latitude: 40, Behind: -30, Noon: 720, Step: 15}},
		{"the same all year", "", `{ hours = "12.5 hours" }`, husbandry.Light{Shortest: 12*hour + 30*time.Minute, Longest: 12*hour + 30*time.Minute, Noon: 720, Step: 15}},
		{"between two", "latitude = 48.2\n", `{ shortest = "10 h", longest = "14 h" }`, husbandry.Light{Latitude: 48.2, Shortest: 10 * hour, Longest: 14 * hour, Noon: 720, Step: 15}},
		{"polar, with a day and a night", "", `{ latitude = 78.2, shortest = "9 hours", longest = "15 hours" }`, husbandry.Light{Latitude: 78.2, Shortest: 9 * hour, Longest: 15 * hour, Noon: 720, Step: 15}},
		{"south of the polar circle", "latitude = 60\n", `{}`, husbandry.Light{Latitude: 60, Noon: 720, Step: 15}},
		{"the equator as it is", "latitude = 0\n", `{}`, husbandry.Light{Noon: 720, Step: 15}},
		{"a winter without light", "", `{ latitude = 50, shortest = "0 hours", longest = "14 hours" }`, husbandry.Light{Latitude: 50, Longest: 14 * hour, Noon: 720, Step: 15}},
	} {
		t.Run(c.words, func(t *testing.T) {
			v, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n"+c.keeper, "records.toml", "[[room]]\nid = \"A\"\nlight = "+c.light+"\n[[room]]\nid = \"B\"\n")
			if len(list) > 0 || *v.Rooms[0].Light != c.want || v.Rooms[1].Light != nil {
				t.Errorf("%v, %+v", list, v)
			}
		})
	}
}

// Each case is one room with one problem.
func TestProblemsOfLight(t *testing.T) {
	for _, c := range []struct {
		words, keeper, light, want string
	}{
		{"no latitude anywhere", "", `{}`, "3:9: `light` has no `latitude`"},
		{"beyond the pole", "", `{ latitude = 91 }`, "3:22: `latitude` is 91, and must be from -90 to 90"},
		{"only a longest day", "latitude = 48\n", `{ longest = "14 hours" }`, "3:9: `light` has no `shortest` and `longest`"},
		{"shortest longer than longest", "latitude = 48\n", `{ shortest = "14 hours", longest = "10 hours" }`, "3:44: the longest day is not longer than the shortest"},
		{"fixed hours that also follow a sky", "latitude = 48\n", `{ hours = "12 hours", longest = "14 hours" }`, "3:31: lamps that burn for the same `hours` all year have no `longest`"},
		{"never lit", "", `{ hours = "0 hours" }`, "3:19: `hours`: \"0 hours\" is no light at all"},
		{"more than a day", "", `{ hours = "25 hours" }`, "3:19: `hours`: \"25 hours\" is not in whole minutes from 0 to 24 hours"},
		{"without a unit", "", `{ hours = "12" }`, "3:19: `hours`: \"12\" has no unit"},
		{"in days", "", `{ hours = "12 days" }`, "3:19: `hours`: \"12 days\" is not a time"},
		{"a step of one minute", "latitude = 48\n", `{ step = "1 minute" }`, "3:18: `step`: \"1 minute\" is not from 5 minutes to 4 hours"},
		{"ahead and behind", "latitude = 48\n", `{ ahead = "1 day", behind = "1 day" }`, "3:28: the lamps' year is both `ahead` and `behind`"},
		{"seasons of the equator", "", `{ latitude = 0.5, shortest = "10 hours", longest = "14 hours" }`, "3:22: at the latitude of 0.5 the days are alike all year"},
		{"seasons of the keeper at the equator", "latitude = -1\n", `{ shortest = "10 hours", longest = "14 hours" }`, "3:44: at the latitude of -1 the days are alike all year"},
		{"a polar sky", "", `{ latitude = -70 }`, "3:22: at the latitude of -70 the sun does not rise in winter, nor set in summer: the lamps would be off for weeks"},
		{"the keeper's polar sky", "latitude = 69.6\n", `{}`, "3:9: at the latitude of 69.6 the sun does not rise"},
		{"only a summer without a night", "latitude = 66\n", `{}`, "3:9: at the latitude of 66 the sun does not set in summer: the lamps would burn day and night"},
		{"not a table", "", `"12 hours"`, "3:9: `light` is a table, not text"},
		{"an unknown key", "latitude = 48\n", `{ hour = "12 hours" }`, "3:11: unknown key `hour`"},
	} {
		t.Run(c.words, func(t *testing.T) {
			_, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n"+c.keeper, "records.toml", "[[room]]\nid = \"A\"\nlight = "+c.light+"\n")
			if len(list) != 1 || !strings.HasPrefix(fmt.Sprintf("%d:%d: %s", list[0].Line, list[0].Column, list[0].Message), c.want) {
				t.Errorf("got %v, want %s", list, c.want)
			}
		})
	}
}

// Steps of light belong to rooms only.
func TestLightStepsNeedRoom(t *testing.T) {
	v := clean(t, "[[routine]]\nid = \"r\"\nkind = \"own\"\nscope = \"room\"\ntitle = \"Turn the spots\"\nsteps = \"light\"\n")
	if c := v.Routines[0].Cadence; c.Pattern != husbandry.Stepped || c.Steps != husbandry.LightSteps {
		t.Errorf("%+v", c)
	}
	for src, want := range map[string]string{
		"kind = \"feed\"\nsteps = \"light\"\n":                   "`steps` are a room's, and the routine is about an enclosure",
		"kind = \"own\"\nscope = \"room\"\nsteps = \"warmth\"\n": "`steps` has the unknown value",
	} {
		_, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n", "records.toml", "[[routine]]\nid = \"r\"\n"+src)
		if len(list) != 1 || !strings.HasPrefix(list[0].Message, want) {
			t.Errorf("got %v, want %s", list, want)
		}
	}
}
