package books

import (
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"nestround/config"
	"nestround/config/tables"
	"nestround/tasks/husbandry"
)

func (r *reader) room(t *tables.Table) {
	v := husbandry.Room{ID: r.id(t, "room"), Name: t.Text("name"), Light: r.light(t.Table("light"))}
	if c, ok := tables.Parsed(t, "temperature", roomTemperature); ok {
		v.Temperature = &c
	}
	v.Humidity = humidity(t)
	t.Done()
	r.rooms = append(r.rooms, placed[husbandry.Room]{v, t})
}

func (r *reader) rack(t *tables.Table) {
	v := husbandry.Rack{ID: r.id(t, "rack"), Name: t.Text("name"), Room: r.ref(t, "room", "room")}
	if !t.Has("room") {
		t.Missing("`room`", "say in which room it stands")
	}
	t.Done()
	r.racks = append(r.racks, placed[husbandry.Rack]{v, t})
}

func (r *reader) enclosure(t *tables.Table) {
	v := husbandry.Enclosure{
		ID:   r.id(t, "enclosure"),
		Name: t.Text("name"),
		Room: r.ref(t, "room", "room"),
		Rack: r.ref(t, "rack", "rack"),
	}
	if !t.Has("room") && !t.Has("rack") {
		t.Missing("`room` or `rack`", "say where it stands, so that the round can lead past it")
	}
	if b := t.Table("nest_box"); b != nil {
		v.NestBox = &husbandry.NestBox{Substrate: b.Text("substrate")}
		v.NestBox.TopUp, _ = days(b, "top_up", 1, longest)
		v.NestBox.Damp = damp(b, nestBoxKeys)
		b.Done()
	}
	if l := t.Table("lamp"); l != nil {
		v.Lamp = &husbandry.Lamp{Fitted: l.Date("fitted")}
		v.Lamp.Life, _ = days(l, "life", 1, longest)
		l.Done()
	}
	t.Done()
	r.enclosures = append(r.enclosures, placed[husbandry.Enclosure]{v, t})
}

func (r *reader) incubator(t *tables.Table) {
	v := husbandry.Incubator{
		ID:   r.id(t, "incubator"),
		Name: t.Text("name"),
		Room: r.ref(t, "room", "room"),
	}
	if !t.Has("room") {
		t.Missing("`room`", "say in which room it stands")
	}
	v.Temperature, _ = tables.Parsed(t, "temperature", incubationTemperature)
	if !t.Has("temperature") {
		t.Missing("`temperature`", `say what it is set to, for example temperature = "28 C"`)
	}
	v.Swing, _ = tables.Parsed(t, "swing", func(s string) (husbandry.Celsius, error) {
		d, err := husbandry.ParseTemperatureDifference(s)
		if err == nil && d > 15 {
			return 0, fmt.Errorf("%q is too wide; the swing is half the difference between the warmest and the coolest of a day", s)
		}
		return d, err
	})
	for _, s := range t.Tables("was") {
		was := husbandry.SetPoint{Until: s.Date("until")}
		was.Temperature, _ = tables.Parsed(s, "temperature", incubationTemperature)
		for _, key := range []string{"until", "temperature"} {
			if !s.Has(key) {
				s.Missing("`"+key+"`", `write what it was set to before, as in was = [{ until = 2027-04-30, temperature = "27 C" }]`)
			}
		}
		s.Done()
		v.Was = append(v.Was, was)
	}
	slices.SortStableFunc(v.Was, func(a, b husbandry.SetPoint) int { return a.Until.Compare(b.Until) })
	v.Log, _ = tables.Parsed(t, "log", logPath)
	v.Humidity = humidity(t)
	t.Done()
	r.incubators = append(r.incubators, placed[husbandry.Incubator]{v, t})
}

// logPath checks the path of a temperature log. The path must stay inside the
// books and be valid on every system.
func logPath(s string) (string, error) {
	switch {
	case strings.Contains(s, `\`):
		return "", fmt.Errorf("%q has a backslash; write / between folder and file", s)
	case !fs.ValidPath(s) || s == ".":
		return "", fmt.Errorf("%q is not a file inside the books; write it like logs/incubator.csv", s)
	}
	return s, nil
}

func (r *reader) awayDays(t *tables.Table) {
	one := r.ref(t, "keeper", "keeper")
	v := husbandry.Away{
		From: t.Date("from"), Until: t.Date("until"),
		Cover: t.Text("cover"), Note: t.Prose("note"),
	}
	v.Mail, _ = tables.Parsed(t, "mail", config.Address)
	for _, key := range []string{"cover", "mail", "note"} {
		if t.Has("keeper") && t.Has(key) {
			t.Place(key).Error(fmt.Sprintf("days away of one keeper have no `%s`", key), "what is theirs is for the other keepers meanwhile; where nobody of you is there, leave `keeper` out")
		}
	}
	if v.Mail != "" && !t.Has("cover") && !t.Has("keeper") {
		t.Missing("`cover`", "say the name of the person with this address")
	}
	for _, key := range []string{"from", "until"} {
		if !t.Has(key) {
			t.Missing("`"+key+"`", "give the first and the last day away")
		}
	}
	inOrder(t, "from", v.From, "until", v.Until)
	t.Done()
	if t.Has("keeper") {
		r.carersAway = append(r.carersAway, placed[husbandry.CarerAway]{husbandry.CarerAway{Keeper: one, From: v.From, Until: v.Until}, t})
		return
	}
	r.away = append(r.away, placed[husbandry.Away]{v, t})
}
