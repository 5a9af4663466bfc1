package reply

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"nestround/notify"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

const theToken = "abcdefghijklmnopqrstuvwxyz"

// theIssue is the digest that the mails in testdata answer.
func theIssue(t testing.TB) notify.Issue {
	t.Helper()
	b, err := os.ReadFile("testdata/digest.txt")
	if err != nil {
		t.Fatal(err)
	}
	item := func(n int, kind husbandry.Kind, scope husbandry.Scope, key, title string, pinned bool) notify.Item {
		return notify.Item{N: n, Task: tasks.NewKey("E", "r", key), Kind: kind, Scope: scope, Title: title, Pinned: pinned}
	}
	return notify.Issue{
		ID: "K7Q2", Token: theToken, MessageID: "d.K7Q2.5f1c@example.org", Date: civil.MustParse("2026-11-24"),
		Lines: strings.Split(string(b), "\n"),
		Items: []notify.Item{
			item(1, husbandry.NestTopUp, husbandry.OfEnclosure, "1", "Top up the nest box of E07", false),
			item(2, husbandry.LayWatch, husbandry.OfAnimal, "2", "Look for eggs in the nest box of E03", false),
			item(3, husbandry.Feed, husbandry.OfEnclosure, "3", "Feed E01 to E12", false),
			item(4, husbandry.Weigh, husbandry.OfAnimal, "4", "Weigh F03", false),
			item(5, husbandry.Clean, husbandry.OfEnclosure, "5", "Clean E09", false),
			item(6, husbandry.TubCheck, husbandry.OfClutch, "6", "Water the tub of clutch C27-04", false),
			item(7, husbandry.LayWatch, husbandry.OfAnimal, "7", "Look for eggs in the nest box of E05", true),
			item(8, husbandry.Feed, husbandry.OfEnclosure, "8", "Feed E14", false),
			item(9, husbandry.HatchWatch, husbandry.OfClutch, "9", "Look at clutch C27-02", false),
		},
	}
}

// issues is a memory of digests, like the command's.
type issues []notify.Issue

func (is issues) find(match func(notify.Issue) bool) (notify.Issue, bool) {
	i := slices.IndexFunc(is, match)
	if i < 0 {
		return notify.Issue{}, false
	}
	return is[i], true
}

func (is issues) ByID(id string) (notify.Issue, bool) {
	return is.find(func(i notify.Issue) bool { return i.ID == id })
}

func (is issues) ByToken(token string) (notify.Issue, bool) {
	return is.find(func(i notify.Issue) bool { return i.Token == token })
}

func (is issues) ByMessageID(id string) (notify.Issue, bool) {
	return is.find(func(i notify.Issue) bool { return i.MessageID == id })
}

func readTestdata(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// understood runs all steps from a mail to its commands.
func understood(m Mail, issue notify.Issue) Parsed {
	return Parse(strings.Join(Own(m.Lines, QuotesOf(issue)), "\n"), nil)
}

func texts(cs []Command) string {
	var s []string
	for _, c := range cs {
		s = append(s, c.String())
	}
	return strings.Join(s, " | ")
}

// The mails are invented, in the formats of the mail programs in their names.
// Nearly all quote a digest. No line of the quote may become a command.
var keeperMails = []struct {
	file, want string
	carriers   []Carrier
}{
	{"gmail-en.eml", "done 1 3 | 7 laid 6", nil},
	{"gmail-de.eml", "done 1-3 | 4 weighs 41.5 g", nil},
	{"gmail-fr.eml", "done 1", nil},
	{"gmail-es.eml", "all but 4", nil},
	{"gmail-html-only.eml", "done 1 3 | 5 not gravid", nil},
	{"iphone-en.eml", "done 1 3 | 8 refused", nil},
	{"iphone-de.eml", "done 1 3", nil},
	{"outlook-desktop.eml", "done 1 3 | 6 added 60 ml", nil},
	{"outlook-de.eml", "later 5 friday", nil},
	{"outlook-mobile.eml", "all", nil},
	{"outlook-html-base64.eml", "all but 4 6", nil},
	{"outlook-web-html.eml", "done 2", nil},
	// The quote without marks contains the keeper's earlier answer. Only
	// tasks.Fold, which knows that answer, can recognise it.
	{"outlook-earlier-answer.eml", "undo 3 | done 1 3", nil},
	{"thunderbird-below.eml", "done 1 3 | note 2: female digging at the back of the box, and the lamp is bright", nil},
	{"inline.eml", "done 1 | 2 laid 6 and 2 slugs | 4 weighs 41 g", nil},
	{"windows-1252.eml", "note 2: Wärme für F03 geprüft, nächste Woche „wieder“", []Carrier{ByAddress, ByMessageID, BySubject}},
	{"yahoo.eml", "done 1 3", nil},
	{"proton.eml", "skip 2: too cold", nil},
	{"samsung.eml", "later 5 2 days", nil},
	{"k9.eml", "done 8", nil},
	{"signature.eml", "done 1", []Carrier{ByAddress, ByMessageID, BySubject}},
	{"mailto.eml", "done 1 3", []Carrier{ByAddress, BySubject}},
	{"apple-image.eml", "2 laid 6 | 4 weighs 41 g", []Carrier{ByAddress, ByMessageID, BySubject}},
	{"empty-plain.eml", "done 1", []Carrier{ByAddress, ByMessageID, BySubject}},
	{"iso-2022-jp.eml", "done 1 3", []Carrier{ByAddress, ByMessageID, BySubject}},
	{"unknown-charset.eml", "done 1 3", []Carrier{ByAddress, ByMessageID, BySubject}},
	{"forwarded-attached.eml", "done 5", []Carrier{ByAddress, ByMessageID, BySubject}},
}

func TestKeepersMails(t *testing.T) {
	issue := theIssue(t)
	policy := Policy{Keepers: []string{"Keeper@Example.com"}, AuthservID: "mx.example.org"}
	for _, c := range keeperMails {
		raw := readTestdata(t, c.file)
		// Mail travels with CRLF and is stored with LF; old files have CR.
		for _, newline := range []string{"\n", "\r\n", "\r"} {
			m, err := Read(bytes.ReplaceAll(raw, []byte("\n"), []byte(newline)))
			if err != nil {
				t.Errorf("%s with %q: %v", c.file, newline, err)
				continue
			}
			if m.Trouble != "" {
				t.Errorf("%s with %q: %s", c.file, newline, m.Trouble)
			}
			p := understood(m, issue)
			if got := texts(p.Commands); got != c.want {
				t.Errorf("%s with %q: understood %q, want %q (refused %v, unread %q)", c.file, newline, got, c.want, p.Refused, p.Unread)
			}
			if len(p.Refused) > 0 {
				t.Errorf("%s with %q: refused %v", c.file, newline, p.Refused)
			}
			match, ok := Identify(m, issues{issue})
			carriers := c.carriers
			if carriers == nil {
				carriers = []Carrier{ByAddress, ByMessageID, BySubject, ByMarker}
			}
			if !ok || match.Issue.ID != "K7Q2" || !match.Token || !slices.Equal(match.Carriers, carriers) || match.Conflict != nil {
				t.Errorf("%s with %q: answers %+v, want carriers %v", c.file, newline, match, carriers)
			}
			v := Judge(m, policy, match.Token)
			if !v.Accepted || v.Ignored != "" || !v.MayAnswer(p) {
				t.Errorf("%s with %q: judged %+v", c.file, newline, v)
			}
		}
	}
}

// A mail that has nothing but a quoted or forwarded digest, in any form, gives
// no command, even if nobody remembers the lines of the digest.
func TestQuotesAloneCommandNothing(t *testing.T) {
	for _, c := range keeperMails {
		m, err := Read(readTestdata(t, c.file))
		if err != nil {
			t.Fatal(err)
		}
		own := make(map[string]bool)
		for _, line := range Own(m.Lines, QuotesOf(theIssue(t))) {
			own[FoldLine(line)] = true
		}
		// The lines after the keeper's own lines are the quote.
		var quote []string
		for _, line := range m.Lines {
			if !own[FoldLine(line)] {
				quote = append(quote, strings.TrimLeft(line, "> "))
			}
		}
		switch c.file {
		case "gmail-html-only.eml", "outlook-html-base64.eml", "outlook-web-html.eml", "k9.eml", "signature.eml":
			continue // these have commands in quotes on purpose
		}
		if p := Parse(strings.Join(quote, "\n"), nil); len(p.Commands) > 0 {
			t.Errorf("%s: the quote alone commands %s", c.file, texts(p.Commands))
		}
	}
}

func TestAllMailsInTestdataAreTested(t *testing.T) {
	tested := map[string]bool{"rfc3464-dsn.eml": true, "rfc8098-mdn.eml": true, "vacation-apple.eml": true, "vacation-exchange.eml": true}
	for _, c := range keeperMails {
		tested[c.file] = true
	}
	files, err := filepath.Glob("testdata/*.eml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no mails found: %v", err)
	}
	for _, f := range files {
		if !tested[filepath.Base(f)] {
			t.Errorf("%s is in no table", f)
		}
	}
}
