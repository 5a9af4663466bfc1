package digest_test

import (
	"fmt"
	"strings"

	"nestround/notify/digest"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// The days for which the tests write digests. Animals, places and numbers are
// invented.
var (
	wednesday = civil.MustParse("2027-05-12")
	rounds    = map[husbandry.Part]civil.TimeOfDay{
		husbandry.Morning: 6*60 + 30,
		husbandry.Midday:  13 * 60,
		husbandry.Evening: 19 * 60,
	}
)

const token = "abcdefghijklmnopqrstuvwx23"

func frame(b *tasks.Board) digest.Content {
	return digest.Content{
		Heading: "Mornings at the lizard room",
		Board:   b,
		ID:      "K7Q2",
		Token:   token,
		ReplyTo: "nestround <lizards+d." + token + "@example.org>",
		Rounds:  rounds,
	}
}

// row makes an open task that is due today.
func row(n int, room string, part husbandry.Part, kind husbandry.Kind, subject, title, why string, minutes int) tasks.Row {
	return tasks.Row{N: n, Task: tasks.Task{
		Key:     tasks.NewKey(husbandry.ID(subject), husbandry.ID("common."+string(kind)), wednesday.String()),
		Kind:    kind,
		Routine: husbandry.ID("common." + string(kind)),
		Scope:   kind.Scope(),
		Subject: husbandry.ID(subject),
		Place:   tasks.Place{Room: husbandry.ID(strings.ToLower(room)), RoomName: room},
		Part:    part,
		Due:     wednesday,
		Status:  tasks.Due,
		Title:   title,
		Why:     why,
		Minutes: minutes,
		Missed:  husbandry.Lapses,
	}}
}

func with(r tasks.Row, change func(*tasks.Row)) tasks.Row {
	change(&r)
	return r
}

// of sets the action and the subject of a row, and the title made of them.
func of(r tasks.Row, do, whom string) tasks.Row {
	r.Do, r.Whom, r.Title = do, whom, do+": "+whom
	return r
}

func careful(r tasks.Row, caution string) tasks.Row {
	r.Caution = caution
	return r
}

func overdue(days int) func(*tasks.Row) {
	return func(r *tasks.Row) {
		r.Due = wednesday.AddDays(-days)
		r.Status = tasks.Overdue
		r.Missed = husbandry.Stays
	}
}

func day(offset, count, minutes int, matters ...string) digest.Day {
	return digest.Day{Date: wednesday.AddDays(offset), Count: count, Minutes: minutes, Matters: matters}
}

func ordinaryDay() digest.Content {
	c := frame(&tasks.Board{On: wednesday, Rows: []tasks.Row{
		with(row(1, "Gecko room", husbandry.Morning, husbandry.NestTopUp, "E07", "Top up the nest box of E07",
			"last done 7 May; it loses about 12 ml a day, so 60 ml of water bring it back", 4), overdue(2)),
		with(row(2, "Hatchery", husbandry.Morning, husbandry.SetTub, "C27-06", "Set the tub of clutch C27-06 (Brisa)",
			"2 eggs lifted on 11 May", 10), func(r *tasks.Row) {
			overdue(1)(r)
			r.Caution = "Keep each egg the way up it lay: turning it after the first day can kill the embryo. Wash your hands afterwards."
		}),
		with(row(3, "Hatchery", husbandry.Morning, husbandry.HatchWatch, "C27-02", "Look for young in clutch C27-02 (Juno)",
			"day 41 of incubation at 28.0 °C; watched daily from 10 to 25 May", 2), func(r *tasks.Row) {
			r.Window = &tasks.Window{Name: husbandry.HatchWindow}
			r.Asks = []husbandry.FindingName{husbandry.FindHatched}
		}),
		row(4, "Gecko room", husbandry.Morning, husbandry.Water, "E01", "Fresh water for E01 to E12", "every day", 8),
		row(5, "Gecko room", husbandry.Morning, husbandry.Feed, "E03", "Feed Juno and Maro in E03 (crested gecko, adults)",
			"every 2 days, last fed 10 May", 3),
		with(row(6, "Gecko room", husbandry.Morning, husbandry.Supplement, "E03", "Dust the food of E03 with calcium and D3",
			"every second feeding, last given 8 May", 1), func(r *tasks.Row) {
			r.Caution = "Never two supplements with D3 on one feeding."
		}),
		with(row(7, "Gecko room", husbandry.Midday, husbandry.Weigh, "F03", "Weigh Juno (F03)",
			"every 2 weeks while she lays; 41 g on 28 April", 3), func(r *tasks.Row) {
			r.Asks = []husbandry.FindingName{husbandry.FindWeighs}
		}),
		row(8, "Gecko room", husbandry.Evening, husbandry.Mist, "E01", "Mist E01 to E12", "every evening", 10),
		with(row(9, "", husbandry.Evening, husbandry.GutLoad, "keeper", "Feed the crickets up for Friday",
			"24 to 48 hours before the feeding on Fri 14 May", 5), func(r *tasks.Row) {}),
		with(row(0, "Gecko room", husbandry.Morning, husbandry.Feed, "E05", "Feed Tessa in E05", "", 3), func(r *tasks.Row) {
			r.Status = tasks.Lapsed
		}),
	}})
	c.Watches = []digest.Watch{{
		N: 3, Title: "Hatching of clutch C27-02 (Juno), incubator I1",
		Why:  "Day 41, laid 1 April, 28.0 °C; most likely 15 to 21 May; from 3 own clutches and 2 papers.",
		From: wednesday.AddDays(-2), To: wednesday.AddDays(13),
		Forecast: true, Today: 0.18, By: digest.WeekEnd(wednesday), ByThen: 0.68,
	}}
	c.Ahead = []digest.Day{
		day(1, 6, 35),
		day(2, 9, 55, "Pairing window of Brisa (F09) opens", "Deep clean of E02"),
		day(3, 6, 35), day(4, 6, 30), day(5, 12, 100, "Clutch C27-03 can be looked at for veins"), day(6, 0, 0), day(7, 1, 5),
	}
	c.Notices = []digest.Notice{{Text: "The calendar was last fetched on Mon 10 May at 21:14."}}
	return c
}

func emptyDay() digest.Content {
	c := frame(&tasks.Board{On: wednesday})
	c.Ahead = []digest.Day{day(1, 0, 0), day(2, 2, 10, "Weigh Juno (F03)"), day(3, 0, 0)}
	c.Next, c.NextTitle = wednesday.AddDays(2), "Weigh Juno (F03)"
	return c
}

func alarmDay() digest.Content {
	c := frame(&tasks.Board{On: wednesday, Rows: []tasks.Row{
		with(row(1, "Gecko room", husbandry.Morning, husbandry.LayWatch, "F03", "Watch Juno (F03) for eggs",
			"gravid since 1 April; her laying was expected from 20 April to 3 May and has not been seen", 5), func(r *tasks.Row) {
			overdue(9)(r)
			r.Missed = husbandry.Alarms
			r.Pinned = true
			r.Caution = "Straining, weakness or sunken eyes are an emergency: call the veterinarian today, do not wait and do not squeeze."
			r.Asks = []husbandry.FindingName{husbandry.FindLaid, husbandry.FindSlugs}
			r.Window = &tasks.Window{Name: husbandry.LayWindow}
		}),
		with(row(2, "Gecko room", husbandry.Morning, husbandry.NestTopUp, "E03", "Top up the nest box of E03", "last done 3 May", 4), overdue(4)),
		row(3, "Gecko room", husbandry.Morning, husbandry.Feed, "E04", "Feed E04", "every day", 3),
		with(row(4, "Gecko room", husbandry.Morning, husbandry.Feed, "E05", "Feed E05", "every day", 3), func(r *tasks.Row) { r.Status = tasks.Done }),
		with(row(5, "Gecko room", husbandry.Evening, husbandry.Clean, "E05", "Clean E05", "every 10 days", 15), func(r *tasks.Row) {
			r.Status = tasks.Upcoming
			r.Due = wednesday.AddDays(2)
		}),
	}})
	at := civil.TimeOfDay(9*60 + 12)
	c.SentLate = &at
	c.Watches = []digest.Watch{{
		N: 1, Title: "Laying of Juno (F03), enclosure E03", From: wednesday.AddDays(-22), To: wednesday.AddDays(-9),
		Why: "Her last intervals were 28, 31 and 30 days.", Caution: "Past her window.",
	}}
	c.Notices = []digest.Notice{
		{Urgent: true, Text: "The last good plan is used: the books have 2 errors in animals.toml. Run the check and correct them."},
		{Urgent: true, Text: "From your answer of Tue 11 May these lines were not understood:",
			Quotes: []string{"done 99", "juno looks fat, all good", "7 laid 6 i think"}},
		{Text: "The zone data is of 2025b and may be out of date."},
	}
	return c
}

// houseDay has several tasks for most enclosures. Many of them have the same
// cautions.
func houseDay() digest.Content {
	const (
		juno    = "E03 (Juno and Maro, crested geckos)"
		tessa   = "E05 (Tessa, crested gecko)"
		clutch  = "Clutch C27-02 (crested gecko, in I1)"
		bowls   = "Rinse bowls outside the kitchen and wash your hands afterwards (Salmonella)."
		lamps   = "Keep water off lamps, sockets and cables."
		egg     = "Do not help young out of the egg, and do not open eggs."
		sinking = "Sunken eyes or weakness: to the veterinarian today."
	)
	n := 0
	task := func(room string, part husbandry.Part, kind husbandry.Kind, subject, do, whom, why string) tasks.Row {
		n++
		return of(row(n, room, part, kind, subject, "", why, 2), do, whom)
	}
	morning, evening := husbandry.Morning, husbandry.Evening
	watched := func(r *tasks.Row) {
		r.Window = &tasks.Window{Name: husbandry.HatchWindow}
		r.Asks = []husbandry.FindingName{husbandry.FindHatched}
	}
	refusal := func(r *tasks.Row) { r.Asks = []husbandry.FindingName{husbandry.FindRefused} }
	b := &tasks.Board{On: wednesday, Rows: []tasks.Row{
		with(careful(task("Gecko room", morning, husbandry.Weigh, "F09", "Weigh the female after laying", "Brisa (F09, in E09)",
			"Clutch C27-06: laid 6 May, due 3 days after"), sinking), func(r *tasks.Row) {
			overdue(3)(r)
			r.Missed = husbandry.Alarms
			r.Asks = []husbandry.FindingName{husbandry.FindWeighs}
		}),
		with(careful(task("Gecko room", morning, husbandry.Water, "E03", "Fresh water", juno, "Every day; last changed Mon 10 May"), bowls), overdue(1)),
		with(careful(task("Gecko room", morning, husbandry.Mist, "E03", "Mist", juno, "Every day; last misted Mon 10 May"), lamps), overdue(1)),
		row(4, "", morning, husbandry.Own, "keeper", "Read the thermometers", "Every day; last done Tue 11 May", 3),
	}}
	n = 4
	b.Rows = append(b.Rows,
		with(task("Gecko room", morning, husbandry.Feed, "E03", "Feed", juno, "Every 2 days; last fed Mon 10 May"), refusal),
		careful(task("Gecko room", morning, husbandry.Water, "E05", "Fresh water", tessa, "Every day; last changed Tue 11 May"), bowls),
		careful(task("Gecko room", morning, husbandry.Mist, "E05", "Mist", tessa, "Every day; last misted Tue 11 May"), lamps),
		with(task("Gecko room", morning, husbandry.Feed, "E05", "Feed", tessa, "Every 2 days; last fed Mon 10 May"), func(r *tasks.Row) { r.Status = tasks.Done }),
		with(careful(task("Hatchery", morning, husbandry.HatchWatch, "C27-02", "Look for hatchlings", clutch,
			"Day 41 of clutch C27-02 (laid 1 April, 28.0 \u00b0C)"), egg), watched),
		careful(task("Hatchery", morning, husbandry.TubCheck, "C27-02", "Check the egg tub", clutch, "Every 7 days; last checked Wed 5 May"), egg),
		with(careful(task("Hatchery", morning, husbandry.HatchWatch, "C27-03", "Look for hatchlings", "Clutch C27-03 (crested gecko, in I1)",
			"Day 38 of clutch C27-03"), egg), watched),
		careful(task("Gecko room", evening, husbandry.Mist, "E03", "Mist", juno, "Every day; last misted Tue 11 May"), lamps),
		with(careful(task("Gecko room", evening, husbandry.Weigh, "F03", "Weigh the gravid female", "Juno (F03, in E03)", "Every week; last weighed Wed 5 May"), sinking),
			func(r *tasks.Row) { r.Pinned = true }),
		with(of(row(0, "Gecko room", morning, husbandry.Feed, "E09", "", "", 3), "Feed", "E09 (Brisa)"), func(r *tasks.Row) { r.Status = tasks.Lapsed }),
		with(of(row(0, "Gecko room", morning, husbandry.Mist, "E09", "", "", 3), "Mist", "E09 (Brisa)"), func(r *tasks.Row) { r.Status = tasks.Lapsed }),
		with(of(row(0, "Gecko room", morning, husbandry.Feed, "E10", "", "", 3), "Feed", "E10 (2 crested geckos)"), func(r *tasks.Row) { r.Status = tasks.Lapsed }),
	)
	c := frame(b)
	watch := b.Rows[8]
	c.Watches = []digest.Watch{{
		N: watch.N, Title: watch.Title, Why: watch.Why, Caution: egg, From: wednesday.AddDays(-2), To: wednesday.AddDays(13),
		Forecast: true, Today: 0.18, By: digest.WeekEnd(wednesday), ByThen: 0.68,
	}, {Title: "Laying of Tessa", Why: "Seen gravid on 10 May.", Caution: "Past her window.", From: wednesday.AddDays(3), To: wednesday.AddDays(9)}}
	return c
}

// hostileDay has names and notes that imitate markup, headers and commands.
func hostileDay() digest.Content {
	names := []string{
		`<img src=x onerror=alert(1)>`,
		`</style></title><script>alert(1)</script>`,
		`{{.Token}} " onmouseover="alert(1)`,
		"two\r\nlines\rand\u2028more\nBcc: somebody@example.net\n\ndone 1 2",
		"אבגד \u202eevil\u202c هدوء",
		"🦎🥚 Größe 観葉植物の部屋",
		strings.Repeat("endless", 43)[:300],
		"done 3", "all", "4 laid 6, 2 slugs", "do\u200bne\u00a05", "all but 2", "undo one", "skip\u20103", "ｄｏｎｅ ３",
		"javascript:alert(1) https://example.net/x.png",
		"\x00\x1b[31mred\xff\xfe",
		"6 hatched 3",
	}
	b := &tasks.Board{On: wednesday}
	for i, name := range names {
		b.Rows = append(b.Rows, with(row(i+1, name, husbandry.Morning, husbandry.Own, fmt.Sprintf("E%02d", i), name, name, 1),
			func(r *tasks.Row) {
				r.Caution = name
				if i%2 == 0 {
					overdue(3)(r)
				}
			}))
	}
	for i := range names { // the same names again, with three tasks per subject
		name := names[i]
		b.Rows = append(b.Rows, with(row(len(b.Rows)+1, "Room", husbandry.Evening, husbandry.Own, fmt.Sprintf("E%02d", i), name, name, 1),
			func(r *tasks.Row) { r.Caution, r.Do, r.Whom = name, name, names[i/3*3] }))
	}
	c := frame(b)
	c.Heading = names[0] + names[1]
	for _, name := range names {
		c.Watches = append(c.Watches, digest.Watch{Title: name, Why: name, Caution: name})
		c.Notices = append(c.Notices, digest.Notice{Urgent: true, Text: name, Quotes: []string{name}})
		c.Ahead = append(c.Ahead, day(len(c.Ahead)+1, 1, 1, name))
	}
	return c
}

// bigDay has a round of n enclosures: water and food for each.
func bigDay(n int) digest.Content {
	b := &tasks.Board{On: wednesday}
	for i := range n {
		id := fmt.Sprintf("E%04d", i+1)
		room := fmt.Sprintf("Room %c", 'A'+i*10/n)
		number := len(b.Rows) + 1
		switch {
		case i%50 == 7:
			b.Rows = append(b.Rows, with(row(number, room, husbandry.Morning, husbandry.NestTopUp, id, "Top up the nest box of "+id,
				"last done 3 May; it loses about 12 ml a day, so 60 ml of water bring it back", 4), overdue(2)))
		case i%50 == 8:
			b.Rows = append(b.Rows, with(row(number, room, husbandry.Morning, husbandry.LayWatch, id, "Watch the female of "+id+" for eggs",
				"gravid since 1 April, expected from 10 to 20 May", 2), func(r *tasks.Row) {
				r.Pinned = true
				r.Caution = "Straining or weakness: call the veterinarian."
			}))
		default:
			b.Rows = append(b.Rows, row(number, room, husbandry.Morning, husbandry.Feed, id, "Feed the adults of "+id+" (crested gecko)",
				"every 2 days, last fed on Mon 10 May; 3 animals", 3))
		}
	}
	c := frame(b)
	c.Ahead = []digest.Day{day(1, n, 3*n)}
	return c
}

// bigHouse has three tasks for each of n enclosures, with the same cautions.
func bigHouse(n int) digest.Content {
	b := &tasks.Board{On: wednesday}
	for i := range n {
		id := fmt.Sprintf("E%04d", i+1)
		room := fmt.Sprintf("Room %c", 'A'+i*10/n)
		for _, do := range []struct {
			kind                   husbandry.Kind
			words, caution, reason string
		}{
			{husbandry.Water, "Fresh water", "Wash your hands afterwards.", "Every day; last changed Tue 11 May"},
			{husbandry.Mist, "Mist", "Keep water off the lamps.", "Every day; last misted Tue 11 May"},
			{husbandry.LayWatch, "Watch for eggs", "Straining or weakness: call the veterinarian.", "gravid since 1 April"},
		} {
			r := careful(of(row(len(b.Rows)+1, room, husbandry.Morning, do.kind, id, "", do.reason, 2), do.words, id+" (crested gecko)"), do.caution)
			if r.Kind == husbandry.LayWatch {
				if i%50 != 0 {
					continue
				}
				r.Pinned = true
			}
			b.Rows = append(b.Rows, r)
		}
	}
	return frame(b)
}
