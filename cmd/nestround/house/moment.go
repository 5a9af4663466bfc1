package house

import (
	"fmt"
	"time"

	"github.com/robfig/cron/v3"

	"nestround/config"
	"nestround/tasks/civil"
)

// Moments computes when the digest of a day is sent. The cron expression
// decides the time of day, and package civil turns the time of day into an
// instant. A time in the gap when the clocks go forward becomes the first
// instant after the gap. A time that occurs twice becomes its first occurrence.
// Each civil date therefore has at most one moment, even if the clocks change
// on that day.
type Moments struct {
	schedule cron.Schedule
	zone     *time.Location
}

// NewMoments makes Moments from the settings: from the time of day or the cron
// expression. Package config has checked them.
func NewMoments(d config.Digest, zone *time.Location) (Moments, error) {
	expression := d.Cron
	if expression == "" {
		expression = fmt.Sprintf("%d %d * * *", d.At%60, d.At/60)
	}
	schedule, err := config.ParseCron(expression)
	return Moments{schedule, zone}, err
}

// On returns the moment of a day. It returns false if there is none, because
// the cron expression leaves the day out or the zone skipped the day.
func (m Moments) On(day civil.Date) (time.Time, bool) {
	// The cron library is asked in UTC, which has no clock changes, so the
	// library answers in plain wall-clock times. In a zone with clock changes,
	// the library would skip runs in gaps and double them in overlaps.
	midnight := day.At(0, time.UTC)
	wall := m.schedule.Next(midnight.Add(-time.Second))
	if wall.IsZero() || civil.Of(wall, time.UTC) != day {
		return time.Time{}, false
	}
	at := day.At(civil.TimeOfDay(wall.Hour()*60+wall.Minute()), m.zone)
	return at, civil.Of(at, m.zone) == day
}
