package sheet_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"nestround/notify/sheet"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

var update = flag.Bool("update", false, "write the golden files anew")

func task(day, part, do, whom, room string, order int, more func(*tasks.Task)) tasks.Task {
	t := tasks.Task{Key: tasks.NewKey(husbandry.ID(whom), "r", day+do), Due: civil.MustParse(day), Part: husbandry.Part(part), Do: do, Whom: whom,
		Place: tasks.Place{RoomName: room, Order: order}, Kind: husbandry.Water}
	if more != nil {
		more(&t)
	}
	return t
}

func sample() sheet.Content {
	c := sheet.Content{
		Heading: "The two lizard rooms", Cover: "Ines", From: civil.MustParse("2027-05-21"), Until: civil.MustParse("2027-05-30"),
		Note: "The key hangs in the shed.", Keeper: "01 555 0142", Veterinarian: "01 555 0163", Mailed: true,
		Rounds: map[husbandry.Part]civil.TimeOfDay{husbandry.Morning: 6*60 + 30, husbandry.Evening: 19 * 60},
	}
	wash := "Rinse bowls outside the kitchen and wash your hands afterwards (Salmonella)."
	for d := c.From; !d.After(c.Until); d = d.AddDays(1) {
		for i, e := range []string{"A1 (Saffron, leopard gecko)", "B1 (Ochre, bearded dragon)"} {
			c.Tasks = append(c.Tasks, task(d.String(), "morning", "Fresh water", e, "South room", i, func(t *tasks.Task) { t.Caution = wash }))
		}
		if d.Day()%2 == 0 {
			c.Tasks = append(c.Tasks, task(d.String(), "evening", "Feed", "A1 (Saffron, leopard gecko)", "South room", 0, func(t *tasks.Task) {
				t.Kind, t.Amount = husbandry.Feed, "6 crickets"
				t.Uses, t.Asks = []string{"crickets"}, []husbandry.FindingName{husbandry.FindRefused}
			}))
		}
	}
	c.Tasks = append(c.Tasks, task("2027-05-22", "morning", "Look for hatchlings", "clutch K02", "North room", 9, nil))
	return c
}

func TestGolden(t *testing.T) {
	s, err := sheet.Render(sample())
	if err != nil {
		t.Fatal(err)
	}
	for name, got := range map[string]string{"sheet.txt": s.Text, "sheet.html": s.HTML} {
		path := filepath.Join("testdata", name)
		if *update {
			if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s differs; look at it, then run with -update", name)
		}
	}
}

// Every task has its box, and there are no other boxes.
func TestEveryTaskHasItsBox(t *testing.T) {
	c := sample()
	s, err := sheet.Render(c)
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Count(s.HTML, "&#9744;"); got != len(c.Tasks) {
		t.Errorf("%d boxes for %d tasks", got, len(c.Tasks))
	}
	if strings.Count(s.HTML, "Rinse bowls outside") != 1 || strings.Count(strings.Join(strings.Fields(s.Text), " "), "Rinse bowls outside") != 1 {
		t.Error("a caution stands more than once")
	}
	for _, line := range strings.Split(s.Text, "\n") {
		if utf8.RuneCountInString(line) > 72 {
			t.Errorf("wider than 72 columns: %q", line)
		}
	}
	for _, must := range []string{"Wash your hands", "veterinarian", "Open no egg tub", "01 555 0142", "01 555 0163"} {
		if !strings.Contains(s.Text, must) || !strings.Contains(s.HTML, must) {
			t.Errorf("the sheet does not say %q", must)
		}
	}
}

func TestForeignWordsAreText(t *testing.T) {
	c := sample()
	evil := `</td><script>alert(1)</script>"'&` + "\u202e"
	c.Cover, c.Note, c.Heading, c.Keeper = evil, evil, evil, evil
	c.Tasks = append(c.Tasks, task("2027-05-21", "midday", evil, evil, evil, 3, func(t *tasks.Task) { t.Caution, t.Uses = evil, []string{evil} }))
	s, err := sheet.Render(c)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(s.HTML, "<script") || strings.Contains(s.HTML, "</td><s") {
		t.Error("a name is a tag")
	}
	if strings.Contains(s.HTML, "http://") || strings.Contains(s.HTML, "https://") || strings.Contains(s.HTML, "url(") {
		t.Error("the page loads something")
	}
}

func TestNothingToDo(t *testing.T) {
	c := sample()
	c.Tasks = nil
	s, err := sheet.Render(c)
	if err != nil || !strings.Contains(s.Text, "Nothing must be done") || !strings.Contains(s.HTML, "Nothing must be done") {
		t.Errorf("%v\n%s", err, s.Text)
	}
}

// A single day is written as one day, not as a range from the day to itself.
func TestWeekOfOneDay(t *testing.T) {
	c := sample()
	c.Until = c.From.AddDays(7)
	s, err := sheet.Render(c)
	if err != nil || !strings.Contains(s.Text, "\nFRI 28 MAY\n") || !strings.Contains(s.Text, "\nFRI 21 MAY TO THU 27 MAY\n") {
		t.Errorf("%v\n%s", err, s.Text)
	}
}

// A line shows the amount and not only the food. Two amounts give two lines.
func TestAmountsOnTheSheet(t *testing.T) {
	c := sample()
	c.Tasks = nil
	for day, amount := range map[string]string{"2027-05-21": "6-8 crickets", "2027-05-22": "6-8 crickets", "2027-05-23": "3 crickets"} {
		c.Tasks = append(c.Tasks, task(day, "morning", "Feed", "A1", "South room", 0, func(t *tasks.Task) { t.Uses, t.Amount = []string{"crickets", "mealworms"}, amount }))
	}
	s, err := sheet.Render(c)
	if err != nil || !strings.Contains(s.Text, "Feed: A1 (6-8 crickets) - Fri and Sat") || !strings.Contains(s.Text, "Feed: A1 (3 crickets) - Sun") || strings.Contains(s.HTML, "mealworms") {
		t.Errorf("%v\n%s", err, s.Text)
	}
}
