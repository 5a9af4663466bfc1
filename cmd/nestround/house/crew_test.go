package house

import (
	"fmt"
	"net/mail"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nestround/notify"
	"nestround/notify/mailout"
	"nestround/notify/reply"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
	"nestround/tasks/husbandry"
)

// shared makes small books for two keepers: Mara has E01, and Jo has the rest.
func shared(t testing.TB) string {
	dir := small(t, "Europe/Vienna", "06:00")
	write(t, filepath.Join(dir, "crew.toml"), `
[[keeper]]
id = "mara"
name = "Mara"
mail = "Mara <mara@example.org>"
for = { enclosures = ["E01"] }
[[keeper]]
id = "jo"
name = "Jo"
mail = "keeper@example.org"
[[away]]
from = 2027-05-20
until = 2027-05-22
cover = "Ines"
mail = "ines@example.org"
note = "The key hangs in the shed."
`)
	keeper, err := os.ReadFile(filepath.Join(dir, "keeper.toml"))
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "keeper.toml"), string(keeper)+"\n[contacts]\nkeeper = \"01 555 0142\"\nveterinarian = \"01 555 0163\"\n")
	return dir
}

// sentTo returns the texts of the sent mails, by recipient.
func sentTo(t testing.TB, dir string) map[string]string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "out", "new", "*"))
	if err != nil {
		t.Fatal(err)
	}
	texts := make(map[string]string)
	for _, name := range names {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		head, err := mail.ReadMessage(strings.NewReader(string(raw)))
		if err != nil {
			t.Fatal(err)
		}
		m, err := reply.Read(raw)
		if err != nil {
			t.Fatal(err)
		}
		texts[bareAddress(head.Header.Get("To"))] += strings.Join(m.Lines, "\n")
	}
	return texts
}

func from(t testing.TB, who string, i notify.Issue, id, at, words string) []byte {
	t.Helper()
	date, err := time.Parse(time.RFC3339, at)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := mailout.Compose(notify.Message{
		ID: id + "@phone.example.org", Date: date, From: who, To: notify.PlusAddress("rounds@example.org", i.Token),
		Subject: "Re: " + notify.SubjectTag(i.ID), InReplyTo: i.MessageID, Text: words + "\n",
	})
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

func marked(h *House, on string) (done, open []string) {
	for _, r := range h.Snapshot().Board(civil.MustParse(on)).Rows {
		switch s := string(r.Subject) + " " + string(r.Routine); r.Status {
		case tasks.Done:
			done = append(done, s)
		case tasks.Due, tasks.Overdue:
			open = append(open, s)
		}
	}
	return done, open
}

// Each of two keepers gets only the own tasks, under common numbers. "all"
// means all own tasks. A task that one keeper did is done for both.
func TestTwoKeepers(t *testing.T) {
	dir := shared(t)
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	i := issued(t, h)
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	texts := sentTo(t, dir)
	if len(texts) != 2 || !strings.Contains(texts["mara@example.org"], "E01") || strings.Contains(texts["mara@example.org"], "E02") ||
		!strings.Contains(texts["keeper@example.org"], "E02 (F01, wall lizard)") || strings.Contains(texts["keeper@example.org"], "E01 (M01, wall lizard)") {
		t.Fatalf("mails %v", texts)
	}
	water := numberOf(t, i, "E01", "water")
	if !strings.Contains(texts["mara@example.org"], fmt.Sprint(water)) {
		t.Errorf("her mail does not number it %d:\n%s", water, texts["mara@example.org"])
	}
	taken, err := h.TakeMail(from(t, "mara@example.org", i, "a", "2027-05-12T07:00:00+02:00", "all"), false)
	if err != nil || taken.Ignored != "" {
		t.Fatalf("%+v, %v", taken, err)
	}
	done, left := marked(h, "2027-05-12")
	for _, s := range done {
		if !strings.HasPrefix(s, "E01 ") && !strings.HasPrefix(s, "M01 ") {
			t.Errorf("her all has done %s", s)
		}
	}
	if !slices.Contains(done, "E01 water") || !slices.Contains(left, "E02 water") {
		t.Errorf("done %v, open %v", done, left)
	}
	// The answer counts her remaining tasks.
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	if answer := sentTo(t, dir)["mara@example.org"]; !strings.Contains(answer, "Nothing is left to do today.") {
		t.Errorf("her answer:\n%s", answer)
	}
	if by := h.Snapshot().said.history.Outcome("E01/water/2027-05-12").By; by != "mara@example.org" {
		t.Errorf("done by %q", by)
	}
	// A task of the other keeper, marked by number, is done for both.
	if _, err := h.TakeMail(from(t, "mara@example.org", i, "b", "2027-05-12T07:10:00+02:00", fmt.Sprint("done ", numberOf(t, i, "E02", "water"))), false); err != nil {
		t.Fatal(err)
	}
	if done, _ := marked(h, "2027-05-12"); !slices.Contains(done, "E02 water") {
		t.Errorf("done %v", done)
	}
	// Each keeper's calendar has that keeper's tasks.
	mine, err := h.Publisher().Content(t.Context(), "mara")
	if err != nil {
		t.Fatal(err)
	}
	for _, task := range mine.Coming {
		if task.Keeper != "mara" {
			t.Errorf("in her calendar: %s of %q", task.Key, task.Keeper)
		}
	}
}

// During an absence the stand-in gets the tasks that cannot wait, and may
// reply. A stranger may not reply, and the stand-in may not reply before or
// long after the absence.
func TestStandInDuringAnAbsence(t *testing.T) {
	dir := shared(t)
	var now string
	tick := func() time.Time { return clock(now)() }
	now = "2027-05-12T06:30:00+02:00"
	h := open(t, dir, tick, disk.Files{})
	early := issued(t, h)
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	if taken, err := h.TakeMail(from(t, "ines@example.org", early, "early", "2027-05-12T07:00:00+02:00", "all"), false); err != nil || taken.Ignored == "" {
		t.Errorf("before the days away she counts: %+v, %v", taken, err)
	}
	now = "2027-05-20T06:30:00+02:00"
	i := issued(t, h)
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	text := sentTo(t, dir)["ines@example.org"]
	for _, want := range []string{"Thank you for standing in, Ines", "to call: the keeper, 01 555 0142, or the veterinarian, 01 555 0163.", "E01 (M01, wall lizard)", "Watch for laying"} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), want) {
			t.Errorf("her mail does not say %q:\n%s", want, text)
		}
	}
	if strings.Contains(text, "Read the thermometers") {
		t.Errorf("her mail asks for what can wait:\n%s", text)
	}
	if taken, err := h.TakeMail(from(t, "ines@example.org", i, "all", "2027-05-20T07:00:00+02:00", "all"), false); err != nil || taken.Ignored != "" || len(taken.Accepted) == 0 {
		t.Fatalf("%+v, %v", taken, err)
	}
	if done, _ := marked(h, "2027-05-20"); slices.Contains(done, "south thermometers") || !slices.Contains(done, "E01 water") {
		t.Errorf("done %v", done)
	}
	// On the first day back the digest reports the done tasks, with the
	// stand-in's name, and the missed tasks: those of the two days without a
	// mark.
	now = "2027-05-23T06:30:00+02:00"
	_, mails, err := h.Draft()
	if err != nil {
		t.Fatal(err)
	}
	back := mails[0].Text
	for _, want := range []string{"While you were away", "by ines@example.org", "Fri 21 May", "Fresh water for E02"} {
		if !strings.Contains(strings.Join(strings.Fields(back), " "), want) {
			t.Errorf("the first digest does not say %q:\n%s", want, back)
		}
	}
	for _, m := range mails {
		if strings.Contains(m.To, "ines") {
			t.Error("she still gets mail")
		}
	}
	if taken, err := h.TakeMail(from(t, "ines@example.org", i, "late", "2027-05-23T08:00:00+02:00", fmt.Sprint("done ", numberOf(t, i, "E02", "water"))), false); err != nil || taken.Ignored != "" {
		t.Errorf("a late answer of hers: %+v, %v", taken, err)
	}
	now = "2027-06-05T06:30:00+02:00"
	if taken, err := h.TakeMail(from(t, "ines@example.org", i, "later", "2027-06-05T08:00:00+02:00", "all"), false); err != nil || taken.Ignored == "" {
		t.Errorf("two weeks after she counts: %+v, %v", taken, err)
	}
}

func TestTheSheet(t *testing.T) {
	dir := shared(t)
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	away, ok := h.Snapshot().Absences().Next(h.Snapshot().Today())
	if !ok || away.Cover != "Ines" {
		t.Fatalf("away %+v", away)
	}
	s, err := h.Snapshot().Absences().Sheet(away)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Thursday 20 May to Saturday 22 May 2027", "For Ines", "The key hangs in the shed", "Keeper: 01 555 0142", "Fresh water: E01", "every day"} {
		if !strings.Contains(s.Text, want) {
			t.Errorf("the sheet does not say %q:\n%s", want, s.Text)
		}
	}
	if strings.Contains(s.Text, "thermometers") {
		t.Errorf("the sheet asks for what can wait:\n%s", s.Text)
	}
	to, err := h.SendSheet(away)
	if err != nil || len(to) != 3 {
		t.Fatalf("sent to %v, %v", to, err)
	}
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	if texts := sentTo(t, dir); !strings.Contains(texts["ines@example.org"], "While the keeper is away") || !strings.Contains(texts["keeper@example.org"], "While the keeper is away") {
		t.Errorf("mails %v", texts)
	}
}

// A keeper who stands in for the other keeper gets both: her own tasks, and his
// tasks that cannot wait. Her "all" means both. Upper and lower case do not
// matter in an address.
func TestAKeeperStandsIn(t *testing.T) {
	dir := shared(t)
	crew, err := os.ReadFile(filepath.Join(dir, "crew.toml"))
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "crew.toml"), strings.NewReplacer(`cover = "Ines"`, `cover = "Mara"`, `mail = "ines@`, `mail = "MARA@`).Replace(string(crew)))
	h := open(t, dir, clock("2027-05-20T06:30:00+02:00"), disk.Files{})
	i := issued(t, h)
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	texts := sentTo(t, dir)
	hers := texts["mara@example.org"]
	if len(texts) != 2 || !strings.Contains(hers, "You stand in over these days") || !strings.Contains(hers, "E01 (M01, wall lizard)") || !strings.Contains(hers, "E02 (F01, wall lizard)") {
		t.Fatalf("mails to %d; hers:\n%s", len(texts), hers)
	}
	if taken, err := h.TakeMail(from(t, "Mara@Example.org", i, "all", "2027-05-20T07:00:00+02:00", "all"), false); err != nil || taken.Ignored != "" {
		t.Fatalf("%+v, %v", taken, err)
	}
	if done, _ := marked(h, "2027-05-20"); !slices.Contains(done, "E02 water") || !slices.Contains(done, "E01 water") {
		t.Errorf("done %v", done)
	}
}

// The sheet lists tasks that were overdue when the absence began, and an
// overdue female, as the morning's mail does.
func TestSheetListsOverdueWork(t *testing.T) {
	const books = "../../../testdata/books/demo" // the test only reads them
	for _, c := range []struct {
		now, line string
	}{
		// On the first day of the absence, the overdue work is due for the
		// stand-in.
		{"2027-05-21T06:30:00+02:00", "Top up the nest box: A1 (Saffron, leopard gecko) (water) - Fri."},
		{"2027-05-21T06:30:00+02:00", "Watch for laying: Quill (F02, leopard gecko, in A2) - every day."},
		// On the day before the absence, the box is still the keeper's work;
		// the watch over the female continues.
		{"2027-05-20T06:30:00+02:00", "Watch for laying: Quill (F02, leopard gecko, in A2) - every day."},
		{"2027-05-20T06:30:00+02:00", "Feed the subadults: C2 (5 wall lizards) (3-5 crickets each) - Fri, Sat and Mon."},
	} {
		h := open(t, books, clock(c.now), disk.Files{})
		away, _ := h.Snapshot().Absences().Next(h.Snapshot().Today())
		s, err := h.Snapshot().Absences().Sheet(away)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(strings.Join(strings.Fields(s.Text), " "), c.line) {
			t.Errorf("%s: %q is not on the sheet:\n%s", c.now, c.line, s.Text)
		}
	}
}

// The first digest after an absence counts each task once. A task that was done
// a day late counts as done.
func TestDigestAfterAnAbsence(t *testing.T) {
	dir := shared(t)
	now := "2027-05-20T06:30:00+02:00"
	h := open(t, dir, func() time.Time { return clock(now)() }, disk.Files{})
	i := issued(t, h)
	if text, _ := open(t, shared(t), clock("2027-05-23T06:30:00+02:00"), disk.Files{}).Snapshot().Absences().returned(civil.MustParse("2027-05-23")); !strings.HasPrefix(text, "While you were away, nothing was marked as done, and ") {
		t.Errorf("%q", text)
	}
	words := fmt.Sprint("done ", numberOf(t, i, "E02", "water"))
	if _, err := h.TakeMail(from(t, "ines@example.org", i, "one", "2027-05-21T21:00:00+02:00", words), false); err != nil {
		t.Fatal(err)
	}
	now = "2027-05-23T06:30:00+02:00"
	text, missed := h.Snapshot().Absences().returned(h.Snapshot().Today())
	if !strings.HasPrefix(text, "While you were away, 1 task was marked as done (1 by ines@example.org), and ") {
		t.Errorf("%q", text)
	}
	told := make(map[string]bool)
	for _, m := range missed {
		if told[m] || m == "Thu 20 May: Fresh water for E02 (F01, wall lizard)" {
			t.Errorf("missed %q", m)
		}
		told[m] = true
	}
	// A recurring task is one line.
	for _, want := range []string{"Fri 21 May to Sat 22 May, 2 times: Fresh water for E02 (F01, wall lizard)", "Thu 20 May to Sat 22 May, 3 times: Fresh water for E01 (M01, wall lizard)"} {
		if !told[want] {
			t.Errorf("%q is not among %q", want, missed)
		}
	}
}

// Among many missed tasks, alarms come first, and they are not among those cut
// off.
func TestAlarmsComeFirstAmongMissedTasks(t *testing.T) {
	on := civil.MustParse("2027-05-20")
	var lines []missing
	for i := range 14 {
		lines = append(lines, missing{title: fmt.Sprint("Fresh water for E", i), first: on, last: on, times: 1})
	}
	lines = append(lines, missing{title: "Watch for laying: F01", first: on, last: on.AddDays(1), times: 2, alarm: true})
	got := missingWords(lines)
	if len(got) != 13 || got[0] != "Thu 20 May to Fri 21 May, 2 times: Watch for laying: F01" || got[1] != "Thu 20 May: Fresh water for E0" || got[12] != "and 3 more" {
		t.Errorf("%q", got)
	}
}

func TestNobodyStandsIn(t *testing.T) {
	dir := shared(t)
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	if u := h.Snapshot().Absences().Uncovered(); len(u) > 0 {
		t.Errorf("Ines stands in, and it says %+v", u)
	}
	crew, err := os.ReadFile(filepath.Join(dir, "crew.toml"))
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "crew.toml"), strings.NewReplacer("cover = \"Ines\"\n", "", "mail = \"ines@example.org\"\n", "").Replace(string(crew)))
	for now, want := range map[string]int{"2027-05-12T06:30:00+02:00": 6, "2027-05-22T06:30:00+02:00": 2, "2027-05-23T06:30:00+02:00": 0} {
		got := 0
		for _, u := range open(t, dir, clock(now), disk.Files{}).Snapshot().Absences().Uncovered() {
			got += u.Tasks["water"]
		}
		if got != want {
			t.Errorf("%s: %d changes of water cannot wait, want %d", now, got, want)
		}
	}
}

// While only Mara is away, Jo's digest has her tasks and says so. On Mara's
// first day back, her digest reports what was done, by whom, and what was
// missed.
func TestOneOfTwoKeepersIsAway(t *testing.T) {
	dir := shared(t)
	write(t, filepath.Join(dir, "off.toml"), "[[away]]\nkeeper = \"mara\"\nfrom = 2027-05-12\nuntil = 2027-05-13\n")
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	i := issued(t, h)
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	texts := sentTo(t, dir)
	jo := strings.Join(strings.Fields(texts["keeper@example.org"]), " ")
	for _, want := range []string{"E01 (M01, wall lizard)", "for Mara, who is away until Thu 13 May", "Away until Thu 13 May: Mara."} {
		if !strings.Contains(jo, want) {
			t.Errorf("Jo's has no %q:\n%s", want, texts["keeper@example.org"])
		}
	}
	if hers := texts["mara@example.org"]; !strings.Contains(hers, "Nothing is due today") {
		t.Errorf("hers:\n%s", hers)
	}
	if taken, err := h.TakeMail(from(t, "keeper@example.org", i, "a", "2027-05-12T07:00:00+02:00", "all"), false); err != nil || taken.Ignored != "" {
		t.Fatalf("%+v, %v", taken, err)
	}
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	back := open(t, dir, clock("2027-05-14T06:30:00+02:00"), disk.Files{})
	issued(t, back)
	if _, err := back.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	texts = sentTo(t, dir)
	hers := strings.Join(strings.Fields(texts["mara@example.org"]), " ")
	for _, want := range []string{"While you were away,", "by keeper@example.org", "left without a mark:", "Thu 13 May: "} {
		if !strings.Contains(hers, want) {
			t.Errorf("on her return hers has no %q:\n%s", want, texts["mara@example.org"])
		}
	}
	if _, after, _ := strings.Cut(texts["keeper@example.org"], "Fri"); strings.Contains(after, "While you were away") {
		t.Errorf("Jo was not away:\n%s", after)
	}
}

// A task that is handed over because its keeper is away goes to all other
// keepers.
func TestTaskHandedToAllOtherKeepers(t *testing.T) {
	given, nobodys := &tasks.Task{For: "mara"}, &tasks.Task{}
	for who, want := range map[husbandry.ID]bool{"": true, "jo": true, "ines": true, "mara": false} {
		if r := (reader{keeper: who}); r.has(given) != want || !r.has(nobodys) {
			t.Errorf("%q has it: %v, what is nobody's: %v", who, r.has(given), r.has(nobodys))
		}
	}
}
