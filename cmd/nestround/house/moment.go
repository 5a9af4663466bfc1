package house

import (
	"fmt"
	"time"

	"github.com/robfig/cron/v3"

	"nestround/config"
	"nestround/tasks/civil"
)

// Moments says when the digest of a day leaves. cron decides the time of day;
// which instant that is, is civil's rule: a time in a spring gap is the first
// instant after it, a time that comes twice is its first occurrence. So each
// civil date has at most one moment, whatever its clock does.
type Moments struct {
	schedule cron.Schedule
	zone     *time.Location
}

// NewMoments makes Moments from the settings: the time of day, or the cron
// expression, which config has checked.
func NewMoments(d config.Digest, zone *time.Location) (Moments, error) {
	expression := d.Cron
	if expression == "" {
		expression = fmt.Sprintf("%d %d * * *", d.At%60, d.At/60)
	}
	schedule, err := config.ParseCron(expression)
	return Moments{schedule, zone}, err
}

// On returns the moment of day, and false when there is none: cron passes
// over the day, or the zone skipped it.
func (m Moments) On(day civil.Date) (time.Time, bool) {
	// cron is asked in UTC, which has no clock changes: it then answers in
	// plain wall-clock times, and its own trouble with gaps and overlaps
	// (skipped and doubled runs) cannot arise.
	midnight := day.At(0, time.UTC)
	wall := m.schedule.Next(midnight.Add(-time.Second))
	if wall.IsZero() || civil.Of(wall, time.UTC) != day {
		return time.Time{}, false
	}
	at := day.At(civil.TimeOfDay(wall.Hour()*60+wall.Minute()), m.zone)
	return at, civil.Of(at, m.zone) == day
}
