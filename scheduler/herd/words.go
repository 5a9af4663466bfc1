package herd

import (
	"nestround/tasks/civil"
	"nestround/tasks/english"
)

// DateWords writes a date, with its year if that is not the year of the herd's
// day: "10 May".
func (h *Herd) DateWords(d civil.Date) string { return english.Day(d, h.On) }

// WeekdayWords writes a date near the herd's day, with its day of the week:
// "Mon 10 May".
func (h *Herd) WeekdayWords(d civil.Date) string { return english.Weekday(d, h.On) }

func AnimalWord(a *Animal) string {
	if a.Name != "" {
		return a.Name
	}
	return string(a.ID)
}
