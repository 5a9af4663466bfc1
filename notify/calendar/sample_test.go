package calendar

import (
	"fmt"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// today is the day of the sample, a Wednesday.
var today = civil.MustParse("2027-05-12")

var morning = time.Date(2027, 5, 12, 4, 30, 0, 0, time.UTC)

var (
	geckoRoom = tasks.Place{Room: "G", RoomName: "Gecko room", Enclosure: "E07", Order: 1}
	eggRoom   = tasks.Place{Room: "H", RoomName: "Egg room", Enclosure: "I1", Order: 2}
)

func task(kind husbandry.Kind, subject, words string, p tasks.Place, due civil.Date, s tasks.Status) tasks.Task {
	scope := kind.Scope()
	return tasks.Task{
		Key:  tasks.NewKey(husbandry.ID(subject), husbandry.ID(kind), due.String()),
		Kind: kind, Routine: husbandry.ID(kind), Scope: scope, Subject: husbandry.ID(subject),
		Place: p, Part: husbandry.Morning, Due: due, Earliest: due, Latest: due, Status: s,
		Title: words + " " + subject, Do: words, Whom: subject, Why: "every 2 days, last on " + due.AddDays(-2).String(),
	}
}

// sample is a keeper's spring morning: two rooms, an overdue task, a task that
// is done, a clutch about to hatch.
func sample() Content {
	evening := task(husbandry.Mist, "E07", "Mist", geckoRoom, today, tasks.Due)
	evening.Part = husbandry.Evening
	hatch := task(husbandry.HatchWatch, "C27-04", "Watch the eggs of", eggRoom, today, tasks.Due)
	hatch.Why = "day 41 of clutch C27-04 (laid 1 Apr, 28.0 °C): hatching most likely 10-16 May, 18 % today"
	hatch.Caution = "Do not open, turn or throw away eggs; late ones hatch too."
	dig := task(husbandry.DigEggs, "C27-09", "Dig up the eggs of", geckoRoom, today.AddDays(-1), tasks.Overdue)
	dig.Caution = "Wash your hands after touching animals or eggs (Salmonella)."
	lapsed := task(husbandry.Feed, "E03", "Feed", geckoRoom, today.AddDays(-1), tasks.Lapsed)
	putOff := task(husbandry.Clean, "E02", "Clean", geckoRoom, today.AddDays(2), tasks.Upcoming)
	gut := task(husbandry.GutLoad, "keeper", "Gut-load the crickets for the", tasks.Place{}, today, tasks.Due)
	gut.Title = "Gut-load the crickets"
	skipped := task(husbandry.Weigh, "F03", "Weigh", geckoRoom, today, tasks.Skipped)
	return Content{
		Name: "Mornings at the lizard room", Install: "b7k2m9", Page: "https://lizards.example.org/view/abc",
		Now: morning, Today: today,
		Rooms: []husbandry.Room{{ID: "G", Name: "Gecko room"}, {ID: "H", Name: "Egg room"}, {ID: "Q", Name: "Quarantine"}},
		Boards: []*tasks.Board{
			{On: today.AddDays(-1), Rows: []tasks.Row{
				{N: 1, Task: task(husbandry.Water, "E07", "Fresh water for", geckoRoom, today.AddDays(-1), tasks.Done)},
				{N: 2, Task: task(husbandry.Feed, "E03", "Feed", geckoRoom, today.AddDays(-1), tasks.Due)},
			}},
			{On: today, Rows: []tasks.Row{
				{N: 1, Task: dig},
				{N: 2, Task: gut},
				{N: 3, Task: task(husbandry.Water, "E07", "Fresh water for", geckoRoom, today, tasks.Done)},
				{N: 4, Task: task(husbandry.NestTopUp, "E07", "Top up the nest box of", geckoRoom, today, tasks.Due)},
				{N: 5, Task: skipped},
				{N: 6, Task: putOff},
				{N: 7, Task: hatch},
				{N: 8, Task: evening},
				{Task: lapsed},
			}},
		},
		Coming: []tasks.Task{
			task(husbandry.Feed, "E07", "Feed", geckoRoom, today.AddDays(1), tasks.Upcoming),
			task(husbandry.Feed, "E08", "Feed", geckoRoom, today.AddDays(1), tasks.Upcoming),
			task(husbandry.TubCheck, "C27-04", "Check the tub of", eggRoom, today.AddDays(3), tasks.Upcoming),
			task(husbandry.Feed, "E09", "Feed", geckoRoom, today, tasks.Due), // ignored: today's board has the tasks of today
		},
		Facts: []Fact{
			{Key: "hatching/C27-04", Title: "Clutch C27-04 hatches", Room: "H",
				Why:  "5 to 95 % between 10 and 16 May; 41 days at 28.0 °C.\r\nBasis: 3 own clutches, 2 papers; plan, not promise.",
				From: civil.MustParse("2027-05-10"), To: civil.MustParse("2027-05-16")},
			{Key: "laying/F03", Title: "F03 may lay", Room: "G", Why: "23 days after mating",
				From: civil.MustParse("2027-06-01"), To: civil.MustParse("2027-06-08")},
			{Key: "pairing/leopard-gecko", Title: "Pairing season of leopard geckos",
				From: civil.MustParse("2027-03-01"), To: civil.MustParse("2027-06-30")},
		},
	}
}

// facility is a place with n enclosures in rooms of fifty. Each enclosure is
// watered daily, fed every other day, and topped up every third day.
func facility(n int) Content {
	c := Content{Name: "Facility", Install: "f1", Now: morning, Today: today}
	place := func(i int) tasks.Place {
		return tasks.Place{Room: husbandry.ID(fmt.Sprintf("R%02d", i/50)), RoomName: fmt.Sprintf("Room %d", i/50),
			Enclosure: husbandry.ID(fmt.Sprintf("E%04d", i)), Order: i}
	}
	for i := range n {
		room := place(i)
		if i%50 == 0 {
			c.Rooms = append(c.Rooms, husbandry.Room{ID: room.Room, Name: room.RoomName})
		}
	}
	for d := -14; d <= 120; d++ {
		on := today.AddDays(d)
		var list []tasks.Task
		status := tasks.Upcoming
		if d < 0 {
			status = tasks.Done
		} else if d == 0 {
			status = tasks.Due
		}
		for i := range n {
			p := place(i)
			add := func(k husbandry.Kind, words string, every int) {
				if (d+14+i)%every == 0 {
					list = append(list, task(k, string(p.Enclosure), words, p, on, status))
				}
			}
			add(husbandry.Water, "Fresh water for", 1)
			add(husbandry.Feed, "Feed", 2)
			add(husbandry.NestTopUp, "Top up the nest box of", 3)
		}
		if d > 0 {
			c.Coming = append(c.Coming, list...)
			continue
		}
		b := &tasks.Board{On: on}
		for i, t := range list {
			b.Rows = append(b.Rows, tasks.Row{N: i + 1, Task: t})
		}
		c.Boards = append(c.Boards, b)
	}
	return c
}
