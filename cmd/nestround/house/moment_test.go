package house

import (
	"testing"
	"time"

	"nestround/config"
	"nestround/config/zones"
	"nestround/tasks/civil"
)

// The days with clock changes, and the expected moment of a digest at the hour
// of the change. The transitions are those of the IANA time zone database (NEWS
// of 2011n, 2023c, 2024a, 2026a-c and the zone files), as zic compiled release
// 2026f; UTC instants as `zdump -v` prints them.
var clockChanges = []struct {
	zone string
	day  string
	at   string // time of the digest in the settings
	want string // UTC; "" for a day that the zone skipped
	what string
}{
	{"America/Los_Angeles", "2026-03-08", "02:30", "2026-03-08T10:00:00Z", "02:30 is missing: the first instant after the gap"},
	{"America/Los_Angeles", "2026-11-01", "01:30", "2026-11-01T08:30:00Z", "01:30 comes twice: its first occurrence"},
	{"Europe/London", "2026-03-29", "01:30", "2026-03-29T01:00:00Z", "01:30 is missing"},
	{"Europe/London", "2026-10-25", "01:30", "2026-10-25T00:30:00Z", "01:30 comes twice"},
	{"Australia/Lord_Howe", "2026-10-04", "02:15", "2026-10-03T15:30:00Z", "half an hour is missing"},
	{"Australia/Lord_Howe", "2026-04-05", "01:45", "2026-04-04T14:45:00Z", "half an hour comes twice"},
	{"Pacific/Apia", "2011-12-29", "07:00", "2011-12-29T17:00:00Z", "the last day east of the date line"},
	{"Pacific/Apia", "2011-12-30", "07:00", "", "the day that Samoa skipped"},
	{"Pacific/Apia", "2011-12-31", "07:00", "2011-12-30T17:00:00Z", "the day after it"},
	{"Africa/Cairo", "2026-04-24", "00:00", "2026-04-23T22:00:00Z", "midnight is missing"},
	{"Africa/Cairo", "2026-10-29", "23:30", "2026-10-29T20:30:00Z", "the hour before midnight comes twice"},
	{"Africa/Casablanca", "2026-02-15", "02:30", "2026-02-15T01:30:00Z", "clocks go back for Ramadan: 02:30 comes twice"},
	{"Africa/Casablanca", "2026-03-22", "02:30", "2026-03-22T02:00:00Z", "and forward again: 02:30 is missing"},
	{"Africa/Casablanca", "2026-09-20", "01:30", "2026-09-20T00:30:00Z", "back for good, by the law of 2026"},
	{"Africa/Casablanca", "2027-03-01", "06:00", "2027-03-01T06:00:00Z", "and no more changes after it"},
	{"Atlantic/Azores", "2026-03-29", "00:00", "2026-03-29T01:00:00Z", "midnight is missing: not the day before"},
	{"America/Santiago", "2026-09-06", "00:00", "2026-09-06T04:00:00Z", "midnight is missing: not the day before"},
	{"America/Havana", "2026-11-01", "00:00", "2026-11-01T04:00:00Z", "the date begins twice"},
	{"Antarctica/Troll", "2026-03-29", "01:30", "2026-03-29T01:00:00Z", "two hours are missing"},
	{"America/Vancouver", "2026-11-01", "07:00", "2026-11-01T14:00:00Z", "clocks do not go back any more"},
	{"Asia/Almaty", "2024-02-29", "23:30", "2024-02-29T17:30:00Z", "the last hour of the leap day comes twice"},
	{"Asia/Kathmandu", "1986-01-01", "00:05", "1985-12-31T18:30:00Z", "a quarter of an hour is missing"},
}

func TestMomentsWhenClocksChange(t *testing.T) {
	for _, c := range clockChanges {
		t.Run(c.zone+" "+c.day+" "+c.at, func(t *testing.T) {
			zone, err := zones.Load(c.zone)
			if err != nil {
				t.Fatal(err)
			}
			at, err := civil.ParseTimeOfDay(c.at)
			if err != nil {
				t.Fatal(err)
			}
			m, err := NewMoments(config.Digest{At: at}, zone)
			if err != nil {
				t.Fatal(err)
			}
			got, ok := m.On(civil.MustParse(c.day))
			if s := got.UTC().Format(time.RFC3339); ok != (c.want != "") || ok && s != c.want {
				t.Errorf("%s: %s (%v), want %q", c.what, s, ok, c.want)
			}
		})
	}
}

func TestMomentsByCron(t *testing.T) {
	zone, err := zones.Load("Europe/Vienna")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ cron, day, want string }{
		{"30 6 * * *", "2027-05-12", "2027-05-12T04:30:00Z"},
		{"30 6 * * mon-fri", "2027-05-15", ""},                 // a Saturday
		{"0 5,17 * * *", "2027-05-12", "2027-05-12T03:00:00Z"}, // once a day, at the first time
		{"30 2 * * *", "2027-03-28", "2027-03-28T01:00:00Z"},   // spring gap: the cron library alone would skip the day
		{"30 2 * * *", "2027-10-31", "2027-10-31T00:30:00Z"},   // autumn overlap: the cron library alone would fire twice
	} {
		m, err := NewMoments(config.Digest{Cron: c.cron}, zone)
		if err != nil {
			t.Fatal(err)
		}
		got, ok := m.On(civil.MustParse(c.day))
		if s := got.UTC().Format(time.RFC3339); ok != (c.want != "") || ok && s != c.want {
			t.Errorf("%s on %s: %s (%v), want %q", c.cron, c.day, s, ok, c.want)
		}
	}
}
