package config

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

var cronParser = cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow)

var (
	cronStep   = regexp.MustCompile(`/(\d+)`)
	cronSunday = regexp.MustCompile(`(^|[,-])0*7($|[,/-])`)
)

// cronFields are the five fields of an expression. For each, it has the largest
// step that makes a difference.
var cronFields = []struct {
	name string
	most int
}{{"minute", 59}, {"hour", 23}, {"day of the month", 30}, {"month", 11}, {"day of the week", 6}}

// ParseCron reads a cron expression of five fields: minute, hour, day of the
// month, month, day of the week. It also rejects valid but misleading
// expressions: time zone prefixes (the books have one zone), words such as
// @every (they hide the time of day), steps longer than their field, and dates
// that never come.
//
// If an expression restricts both the day of the month and the day of the week,
// a day matches if either fits, as in every cron.
func ParseCron(s string) (cron.Schedule, error) {
	fields := strings.Fields(s)
	switch {
	case strings.Contains(s, "TZ="):
		return nil, fmt.Errorf("%q names a time zone; leave it out, the zone of keeper.toml counts", s)
	case strings.HasPrefix(strings.TrimSpace(s), "@"):
		return nil, fmt.Errorf(`%q is not a cron expression of five fields like "0 6 * * *"`, s)
	case len(fields) != len(cronFields):
		return nil, fmt.Errorf(`%q has %d fields, not five like "0 6 * * *": minute, hour, day of the month, month, day of the week`, s, len(fields))
	case cronSunday.MatchString(fields[4]):
		return nil, fmt.Errorf("%q has the weekday 7; write 0 or sun for Sunday", s)
	}
	for i, field := range fields {
		for _, m := range cronStep.FindAllStringSubmatch(field, -1) {
			if n, err := strconv.Atoi(m[1]); err != nil || n < 1 || n > cronFields[i].most {
				return nil, fmt.Errorf("%q: the step /%s of the %s is not from 1 to %d", s, m[1], cronFields[i].name, cronFields[i].most)
			}
		}
	}
	schedule, err := parseGuarded(strings.Join(fields, " "))
	if err != nil {
		return nil, fmt.Errorf("%q is not a cron expression; a field is *, a number, a range 1-5, a list 1,3, a step */2, or a name like mon", s)
	}
	// The library looks five years ahead. Any five years from 2027 contain a
	// leap day.
	if schedule.Next(time.Date(2027, time.January, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return nil, fmt.Errorf("%q never comes: there is no such date", s)
	}
	return schedule, nil
}

// parseGuarded turns a panic of the library into an error. Two expressions are
// known to make it panic.
func parseGuarded(s string) (schedule cron.Schedule, err error) {
	defer func() {
		if recover() != nil {
			schedule, err = nil, errors.New("it is not a cron expression")
		}
	}()
	return cronParser.Parse(s)
}

// CronMixesDays reports whether a valid expression restricts both the day of
// the month and the day of the week. A day then matches if either fits.
func CronMixesDays(s string) bool {
	fields := strings.Fields(s)
	return len(fields) == 5 && fields[2] != "*" && fields[2] != "?" && fields[4] != "*" && fields[4] != "?"
}
