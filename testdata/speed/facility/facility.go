// Package facility writes books of any size, with years of daybook, for
// measuring the speed of the program.
//
// Start with [Write]. The books are plain: four species, a male and two females
// in each enclosure, a clutch in every fourth enclosure, and a daybook of
// single marks like those of the page and the shell. The same arguments write
// the same bytes. The package imports nothing of the program, so the books stay
// the same while the program changes. A benchmark of the package house and the
// command speed in the parent folder use it.
package facility

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// Day is the day that the books are for. The daybook ends on the day before,
// and the clutches were laid in the weeks before.
var Day = time.Date(2027, time.June, 15, 0, 0, 0, 0, time.UTC)

// On is Day in the form of the flag --on.
const On = "2027-06-15"

// Write writes books with the given numbers of enclosures and of years of
// daybook into the folder dir, which must exist and be empty. The daybook of
// 200 enclosures has 120 lines a day, each with one mark. Other sizes have the
// same number of lines per enclosure.
func Write(dir string, enclosures, years int) error {
	first := Day.AddDate(0, 0, -365*years)
	if err := os.WriteFile(filepath.Join(dir, "keeper.toml"), []byte(records(enclosures, first)), 0o644); err != nil {
		return err
	}
	if err := os.Mkdir(filepath.Join(dir, "daybook"), 0o755); err != nil {
		return err
	}
	n := 0
	for year := first.Year(); year <= Day.Year(); year++ {
		f, err := os.Create(filepath.Join(dir, "daybook", fmt.Sprintf("%d.jsonl", year)))
		if err != nil {
			return err
		}
		w := bufio.NewWriter(f)
		for day := first; day.Before(Day); day = day.AddDate(0, 0, 1) {
			if day.Year() == year {
				marks(w, day, enclosures, &n)
			}
		}
		if err := w.Flush(); err != nil {
			return err
		}
		if err := f.Close(); err != nil {
			return err
		}
	}
	return nil
}

func records(enclosures int, began time.Time) string {
	var t strings.Builder
	fmt.Fprintf(&t, "zone = \"Europe/Vienna\"\nbegan = %s\n\n[digest]\nfrom = \"rounds@example.org\"\nto = [\"keeper@example.org\"]\n\n[mail.out]\nmaildir = \"out\"\n\n[[incubator]]\nid = \"INC\"\nroom = \"room-0\"\ntemperature = \"28 C\"\n",
		began.Format(time.DateOnly))
	species := []string{"wall-lizard", "leopard-gecko", "bearded-dragon", "fence-lizard"}
	const perRoom = 40
	for i := range (enclosures + perRoom - 1) / perRoom {
		fmt.Fprintf(&t, "\n[[room]]\nid = \"room-%d\"\nname = \"Room %d\"\n", i, i+1)
	}
	for i := range enclosures {
		fmt.Fprintf(&t, "\n[[enclosure]]\nid = \"E%04d\"\nroom = \"room-%d\"\nnest_box = { substrate = \"sand\" }\n", i, i/perRoom)
		for n, sex := range []string{"male", "female", "female"} {
			fmt.Fprintf(&t, "\n[[animal]]\nid = \"A%04d-%d\"\nspecies = %q\nsex = %q\nenclosure = \"E%04d\"\nbreeding = true\n", i, n, species[i%len(species)], sex, i)
		}
		if i%4 == 0 {
			fmt.Fprintf(&t, "\n[[clutch]]\nid = \"C%04d\"\nmother = \"A%04d-1\"\nlaid = %s\neggs = 4\nincubator = \"INC\"\n",
				i, i, Day.AddDate(0, 0, -i%60-1).Format(time.DateOnly))
		}
	}
	return t.String()
}

var routines = []string{"water", "clean-spot", "nest-top-up"}

// marks writes the lines of a day. n counts the lines of all days.
func marks(w *bufio.Writer, day time.Time, enclosures int, n *int) {
	date := day.Format(time.DateOnly)
	for mark := range max(1, enclosures*120/200) {
		*n++
		at := day.Add(7*time.Hour + time.Duration(mark)*10*time.Second)
		fmt.Fprintf(w, `{"id":"c.%d","at":%q,"on":%q,"via":"page","by":"keeper","acts":[{"text":"done","n":%d,"task":"E%04d/%s/%s","mark":"done"}]}`+"\n",
			*n, at.Format(time.RFC3339Nano), date, *n%40+1, *n%enclosures, routines[*n/enclosures%len(routines)], date)
	}
}
