package config

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/netip"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/config/diag"
	"nestround/config/tables"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

func readSettings(src string) (Settings, diag.List) {
	var list diag.List
	root := tables.Parse("keeper.toml", []byte(src), &list)
	s := Read(root, "/books")
	root.Done()
	list.Sort()
	return s, list
}

func TestReadTakesEverySetting(t *testing.T) {
	s, list := readSettings(`
name = "Mornings at the lizard room"
zone = "Europe/Vienna"
latitude = -48.2
units = "us"
began = 2026-11-01
[breeding]
kinship_limit = 0.25
kinship_warn = 0
females_per_male = 3
male_rest = "1 week"
[rounds]
morning = "07:00"
midday = "12:15"
evening = "20:00"
[digest]
at = "05:45"
from = "nestround <lizards@example.org>"
to = ["keeper@example.org", "Second <second@example.org>"]
reply_to = "replies@example.org"
plus_addressing = true
[mail.out]
smtp = "smtp.example.org:465"
security = "tls"
user = "lizards@example.org"
password_file = "secrets/mail"
ca_file = "secrets/ca.pem"
maildir = ""
[mail.in]
imap = "[::1]:1143"
security = "none"
user = "lizards"
password_env = "NESTROUND_MAIL_PASSWORD"
ca_file = ""
mailbox = "Lizards"
poll = "90 seconds"
authserv_id = "mx.example.org"
trust = "token"
maildir = ""
[page]
listen = "localhost:80"
url = "https://lizards.example.org/"
proxies = ["127.0.0.1", "10.0.0.0/8", "::1", "fd00::/8", "::ffff:192.0.2.1"]
[work]
days_off = ["sun", "Wednesday"]
minutes = 90
settled = "1 week"
[calendar]
past_days = 0
ahead_days = 400
alarms = true
[watch]
ping_file = "secrets/ping"
`)
	if len(list) > 0 {
		t.Fatalf("problems: %v", list)
	}
	zone := s.Zone
	if zone.String() != "Europe/Vienna" {
		t.Errorf("the zone is %v", zone)
	}
	latitude := -48.2
	want := Settings{
		Name: "Mornings at the lizard room", ZoneName: "Europe/Vienna", Zone: zone, Latitude: &latitude, Units: husbandry.US, Began: civil.MustParse("2026-11-01"),
		Breeding: husbandry.BreedingRules{KinshipLimit: 0.25, FemalesPerMale: 3, MaleRest: 7},
		Rounds:   Rounds{Morning: 7 * 60, Midday: 12*60 + 15, Evening: 20 * 60},
		Work:     Work{DaysOff: []time.Weekday{time.Sunday, time.Wednesday}, Minutes: 90, Settled: 7},
		Digest:   Digest{At: 5*60 + 45, From: "nestround <lizards@example.org>", To: []string{"keeper@example.org", "Second <second@example.org>"}, ReplyTo: "replies@example.org", PlusAddressing: true},
		Out:      &Out{SMTP: "smtp.example.org:465", Security: TLS, User: "lizards@example.org", Password: SecretFile("/books/secrets/mail"), CAFile: "/books/secrets/ca.pem"},
		In: &In{IMAP: "[::1]:1143", Security: NoTLS, User: "lizards", Password: SecretEnv("NESTROUND_MAIL_PASSWORD"), Mailbox: "Lizards", Poll: 90 * time.Second,
			AuthservID: "mx.example.org", Trust: Token},
		Page: Page{Listen: "localhost:80", URL: "https://lizards.example.org", Proxies: []netip.Prefix{
			netip.MustParsePrefix("127.0.0.1/32"), netip.MustParsePrefix("10.0.0.0/8"), netip.MustParsePrefix("::1/128"), netip.MustParsePrefix("fd00::/8"), netip.MustParsePrefix("192.0.2.1/32")}},
		Watch:    Watch{Ping: SecretFile("/books/secrets/ping")},
		Calendar: Calendar{AheadDays: 400, Alarms: true},
	}
	if !reflect.DeepEqual(s, want) {
		t.Errorf("got  %+v\nwant %+v", s, want)
	}
}

func TestDefaultsOfMissingSettings(t *testing.T) {
	s, list := readSettings("zone = \"UTC\"\n")
	if len(list) > 0 {
		t.Fatalf("problems: %v", list)
	}
	want := Default()
	want.Zone = s.Zone
	if !reflect.DeepEqual(s, want) || s.Digest.At.String() != "06:00" || s.Rounds.Morning.String() != "06:30" || s.Rounds.Evening.String() != "19:00" ||
		s.Page.Listen != "127.0.0.1:8734" || s.Calendar.PastDays != 14 || s.Calendar.AheadDays != 120 || s.Units != husbandry.Metric || s.Work.Settled != 3 || s.Work.DaysOff != nil || s.Out != nil || s.In != nil {
		t.Errorf("got %+v", s)
	}
	s, list = readSettings("zone = \"UTC\"\n[digest]\nfrom = \"a@example.org\"\nto = [\"k@example.org\"]\n[mail]\nout = { maildir = \"out\" }\nin = { maildir = \"/var/mail/in\", trust = \"token\" }\n")
	if len(list) > 0 {
		t.Fatalf("problems: %v", list)
	}
	if s.Digest.ReplyTo != "a@example.org" || s.Out.Maildir != "/books/out" || s.In.Maildir != "/var/mail/in" || s.In.Mailbox != "INBOX" || s.In.Poll != 10*time.Minute {
		t.Errorf("got %+v, %+v, %+v", s.Digest, s.Out, s.In)
	}
}

// Each case is a keeper.toml with one problem, or a valid one.
func TestProblemsOfSettings(t *testing.T) {
	const digest = "zone = \"UTC\"\n[digest]\nfrom = \"a@example.org\"\nto = [\"k@example.org\"]\n"
	out := func(rest string) string { return digest + "[mail.out]\n" + rest }
	in := func(rest string) string { return digest + "[mail.in]\n" + rest }
	watch := func(rest string) string { return "zone = \"UTC\"\n[watch]\n" + rest + "\n" }
	page := func(proxies string) string { return "zone = \"UTC\"\n[page]\nproxies = [" + proxies + "]\n" }
	for _, c := range []struct {
		name, src string
		want      string // line:column: severity: beginning of the message; "" for no problem
	}{
		{"no zone", "", "1:1: error: the file has no `zone`"},
		{"Local is no zone", "zone = \"Local\"", "1:8: error: `zone`: there is no time zone \"Local\""},
		{"no such weekday", "zone = \"UTC\"\n[work]\ndays_off = [\"sundays\"]", "3:13: error: `days_off`: \"sundays\" is not a weekday"},
		{"a day off twice", "zone = \"UTC\"\n[work]\ndays_off = [\"sun\", \"Sunday\"]", "3:20: error: Sunday stands twice"},
		{"seven days off", "zone = \"UTC\"\n[work]\ndays_off = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]", "3:12: error: no day is left to work on"},
		{"too many minutes", "zone = \"UTC\"\n[work]\nminutes = 2000", "3:11: error: `minutes` is 2000, and must be from 1 to 1440"},
		{"settled too far ahead", "zone = \"UTC\"\n[work]\nsettled = \"30 days\"", "3:11: error: `settled`: \"30 days\" is more than 14 days"},
		{"no settled days", "zone = \"UTC\"\n[work]\nsettled = \"0 days\"", ""},
		{"an old name of a zone", "zone = \"US/Pacific\"", ""},
		{"a digest at four", "zone = \"UTC\"\n[digest]\nat = \"04:00\"\n", ""},
		{"a digest at midnight", "zone = \"UTC\"\n[digest]\nat = \"00:00\"\n", "3:6: warning: 00:00 may fall into the hours"},
		{"a digest at 3:59", "zone = \"UTC\"\n[digest]\nat = \"03:59\"\n", "3:6: warning: 03:59 may fall into the hours"},
		{"a cron digest by night", "zone = \"UTC\"\n[digest]\ncron = \"30 2 * * *\"\n", "3:8: warning: `30 2 * * *` may fall"},
		{"a cron digest of many hours", "zone = \"UTC\"\n[digest]\ncron = \"0 * * * *\"\n", "3:8: warning: `0 * * * *` may fall"},
		{"a cron digest", "zone = \"UTC\"\n[digest]\ncron = \"0 6 * * mon-fri\"\n", ""},
		{"a digest for nobody", "zone = \"UTC\"\n[digest]\nto = []\n", "3:6: warning: `to` names nobody"},
		{"mail, but no digest", "zone = \"UTC\"\n[digest]\nfrom = \"a@example.org\"\n[mail.out]\nmaildir = \"x\"\n", "2:1: error: [digest] has no `to`"},
		{"mail, and no digest at all", "zone = \"UTC\"\n[mail.out]\nmaildir = \"x\"\n", "1:1: error: the file has no [digest]"},
		{"an address with a line end", digest + "reply_to = \"a@example.org\\nBcc: x@example.org\"\n", "5:12: error: `reply_to` is one line of text"},
		{"a password in the server", out("smtp = \"user:hunter2@smtp.example.org:465\"\n"), "6:8: error: `smtp`: not a host and port"},
		{"no port", out("smtp = \"smtp.example.org\"\n"), "6:8: error: `smtp`: not a host and port"},
		{"a port too high", out("smtp = \"smtp.example.org:70000\"\n"), "6:8: error: `smtp`: not a host and port"},
		{"in clear to another machine", out("smtp = \"smtp.example.org:25\"\nsecurity = \"none\"\n"), "7:12: error: mail and password would travel in clear"},
		{"in clear to a look-alike", out("smtp = \"localhost.example.org:25\"\nsecurity = \"none\"\n"), "7:12: error: mail and password would travel in clear"},
		{"in clear on this machine", out("smtp = \"127.0.0.1:25\"\nsecurity = \"none\"\n"), ""},
		{"tls at the port of starttls", out("smtp = \"smtp.example.org:587\"\n"), "5:1: warning: port 587 is usually one of starttls"},
		{"starttls at the port of tls", out("smtp = \"smtp.example.org:465\"\nsecurity = \"starttls\"\n"), "7:12: warning: port 465 is usually one of tls"},
		{"a user without a password", out("smtp = \"smtp.example.org:465\"\nuser = \"u\"\n"), "5:1: error: [mail.out] has no `password_file` or `password_env`"},
		{"a password without a user", out("smtp = \"smtp.example.org:465\"\npassword_env = \"P\"\n"), "5:1: error: [mail.out] has no `user`"},
		{"sending without a login", out("smtp = \"smtp.example.org:465\"\n"), ""},
		{"no way out", out("ca_file = \"x\"\n"), "5:1: error: [mail.out] has no `smtp` or `maildir`"},
		{"two ways out", out("smtp = \"smtp.example.org:465\"\nmaildir = \"x\"\n"), "7:1: error: [mail.out] has both"},
		{"the password instead of its variable", out("smtp = \"smtp.example.org:465\"\nuser = \"u\"\npassword_env = \"a b=c\"\n"), "8:16: error: not the name of an environment variable"},
		{"a mailbox without a login", in("imap = \"imap.example.org:993\"\ntrust = \"token\"\nuser = \"u\"\n"), "5:1: error: [mail.in] has no `password_file`"},
		{"no server to vouch for replies", in("maildir = \"in\"\n"), "5:1: error: [mail.in] has no `authserv_id`"},
		{"a limit beyond one", "zone = \"UTC\"\n[breeding]\nkinship_limit = 12.5\n", "3:17: error: `kinship_limit` is 12.5, and must be from 0 to 1"},
		{"a warning above the limit", "zone = \"UTC\"\n[breeding]\nkinship_limit = 0.1\nkinship_warn = 0.2\n", "4:16: error: `kinship_warn` (0.2) is above `kinship_limit` (0.1)"},
		{"a limit below the usual warning", "zone = \"UTC\"\n[breeding]\nkinship_limit = 0\n", ""},
		{"no females for a male", "zone = \"UTC\"\n[breeding]\nfemales_per_male = 0\n", "3:20: error: `females_per_male` is 0, and must be from 1"},
		{"a male's rest without a unit", "zone = \"UTC\"\n[breeding]\nmale_rest = \"90\"\n", "3:13: error: `male_rest`: \"90\" has no unit"},
		{"looking too often", in("maildir = \"in\"\ntrust = \"token\"\npoll = \"10 seconds\"\n"), "8:8: error: `poll`: \"10 seconds\" is not between"},
		{"looking too rarely", in("maildir = \"in\"\ntrust = \"token\"\npoll = \"25 hours\"\n"), "8:8: error: `poll`: \"25 hours\" is not between"},
		{"a number that overflows", in("maildir = \"in\"\ntrust = \"token\"\npoll = \"9999999999999 hours\"\n"), "8:8: error: `poll`:"},
		{"a page open to the whole network", "zone = \"UTC\"\n[page]\nlisten = \":8734\"\n", "3:10: warning: everybody in the network"},
		{"a proxy by name", page(`"proxy.example.org"`), "3:12: error: `proxies`: \"proxy.example.org\" is not an address like 127.0.0.1"},
		{"everybody as a proxy", page(`"0.0.0.0/0"`), "3:12: error: `proxies`: \"0.0.0.0/0\" is everybody"},
		{"everybody in IPv6", page(`"::/0"`), "3:12: error: `proxies`: \"::/0\" is everybody"},
		{"an address within a network", page(`"10.0.0.1/8"`), "3:12: error: `proxies`: \"10.0.0.1/8\" is an address inside of a network; write 10.0.0.0/8"},
		{"a proxy with a zone", page(`"fe80::1%eth0"`), "3:12: error: `proxies`: \"fe80::1%eth0\" is not an address"},
		{"a network of IPv4 in IPv6", page(`"::ffff:10.0.0.0/104"`), "3:12: error: `proxies`: write \"::ffff:10.0.0.0/104\" as a network of IPv4"},
		{"a proxy with a port", page(`"127.0.0.1:80"`), "3:12: error: `proxies`:"},
		{"a proxy twice", page(`"127.0.0.1", "127.0.0.1/32"`), "3:25: error: 127.0.0.1/32 stands twice"},
		{"a proxy that is no text", page(`127`), "3:12: error: `proxies`"},
		{"a proxy without its list", "zone = \"UTC\"\n[page]\nproxies = \"127.0.0.1\"\n", "3:11: error: `proxies`"},
		{"an address to ping", watch(`ping = "https://watch.example.org/x?y=z"`), ""},
		{"an address to ping on this machine", watch(`ping = "http://localhost:8000/x"`), ""},
		{"an address to ping in a private network", watch(`ping = "http://192.168.1.2/x"`), ""},
		{"an address to ping in clear", watch(`ping = "http://203.0.113.7/x"`), "3:8: error: `ping`: http may only go to this machine"},
		{"an address to ping with a login", watch(`ping = "https://u:p@watch.example.org/x"`), "3:8: error: `ping`: a web address with a login"},
		{"an address to ping with a mark", watch(`ping = "https://watch.example.org/#x"`), "3:8: error: `ping`: a web address with a #"},
		{"no address to ping", watch(`ping = "watch.example.org"`), "3:8: error: `ping`: not a web address"},
		{"another scheme to ping", watch(`ping = "ftp://watch.example.org/x"`), "3:8: error: `ping`: not a web address"},
		{"two addresses to ping", watch("ping = \"https://watch.example.org/x\"\nping_file = \"secrets/ping\""), "4:1: error: [watch] has both"},
		{"a link in clear", "zone = \"UTC\"\n[page]\nurl = \"http://lizards.example.org\"\n", "3:7: warning: links of http"},
		{"a link in clear on this machine", "zone = \"UTC\"\n[page]\nurl = \"http://localhost:8734\"\n", ""},
		{"a link with a login", "zone = \"UTC\"\n[page]\nurl = \"https://u:p@lizards.example.org\"\n", "3:7: error: `url`: not a web address"},
		{"a link that is no web address", "zone = \"UTC\"\n[page]\nurl = \"javascript:x\"\n", "3:7: error: `url`: not a web address"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, list := readSettings(c.src)
			var got []string
			for _, p := range list {
				got = append(got, fmt.Sprintf("%d:%d: %s: %s", p.Line, p.Column, p.Severity, p.Message))
				if strings.Contains(p.Message+p.Hint, "hunter2") {
					t.Error("the password is shown")
				}
			}
			switch {
			case c.want == "" && len(got) > 0:
				t.Errorf("got %q", got)
			case c.want != "" && (len(got) != 1 || !strings.HasPrefix(got[0], c.want)):
				t.Errorf("got  %q\nwant %q", got, c.want)
			}
		})
	}
}

func TestPasswordInBooksIsRejected(t *testing.T) {
	for _, src := range []string{
		"zone = \"UTC\"\npassword = \"hunter2\"\n",
		"zone = \"UTC\"\n[mail]\npassword = \"hunter2\"\n",
		"zone = \"UTC\"\n[digest]\nfrom = \"a@example.org\"\nto = [\"a@example.org\"]\n[mail.out]\nsmtp = \"a.example.org:465\"\nuser = \"u\"\npassword = \"hunter2\"\n",
		"zone = \"UTC\"\n[digest]\nfrom = \"a@example.org\"\nto = [\"a@example.org\"]\n[mail.out]\nsmtp = \"a.example.org:465\"\nuser = \"u\"\npwd = \"hunter2\"\n",
	} {
		_, list := readSettings(src)
		var b bytes.Buffer
		if err := list.Print(&b); err != nil {
			t.Fatal(err)
		}
		if !list.HasErrors() || len(list) != 1 || strings.Contains(b.String(), "hunter2") || !strings.Contains(b.String(), "password_file") {
			t.Errorf("%s\ngives\n%s", src, b.String())
		}
	}
}

func TestSecretNeverPrints(t *testing.T) {
	t.Setenv("NESTROUND_TEST_SECRET", "hunter2")
	s := SecretEnv("NESTROUND_TEST_SECRET")
	settings := Settings{Out: &Out{Password: s}}
	for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%d", "%x", "%10v"} {
		for _, v := range []any{s, &s, *settings.Out, []Secret{s}, map[string]Secret{"p": s}} {
			got := fmt.Sprintf(verb, v)
			if strings.Contains(got, "NESTROUND_TEST_SECRET") || strings.Contains(got, "hunter2") || !strings.Contains(got, hidden) {
				t.Errorf("%s of %T prints %s", verb, v, got)
			}
		}
	}
	var b bytes.Buffer
	slog.New(slog.NewJSONHandler(&b, nil)).Info("x", "secret", s, "out", settings.Out)
	j, err := json.Marshal(settings)
	if err != nil {
		t.Fatal(err)
	}
	for _, got := range []string{s.String(), b.String(), string(j)} {
		if strings.Contains(got, "NESTROUND_TEST_SECRET") || strings.Contains(got, "hunter2") || !strings.Contains(got, hidden) {
			t.Errorf("prints %s", got)
		}
	}
	if got, err := s.Read(); err != nil || got != "hunter2" {
		t.Errorf("reads %q, %v", got, err)
	}
}

func TestSecretRead(t *testing.T) {
	dir := t.TempDir()
	write := func(name, content string, mode os.FileMode) Secret {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(content), mode); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		return SecretFile(path)
	}
	t.Setenv("NESTROUND_TEST_EMPTY", "")
	t.Setenv("NESTROUND_TEST_LINE", "hunter2\n")
	for _, c := range []struct {
		name   string
		secret Secret
		want   string
		err    string
	}{
		{"plain", write("a", "hunter2", 0o600), "hunter2", ""},
		{"one line end", write("b", "hunter2\n", 0o600), "hunter2", ""},
		{"one line end of Windows", write("c", "hunter2\r\n", 0o600), "hunter2", ""},
		{"blanks count", write("d", " hunter2 \n", 0o600), " hunter2 ", ""},
		{"for the group", write("e", "hunter2\n", 0o640), "hunter2", ""},
		{"for everybody", write("f", "hunter2\n", 0o644), "", "chmod 600 " + filepath.Join(dir, "f")},
		{"two lines", write("g", "hunter2\n\n", 0o600), "", "more than one line"},
		{"empty", write("h", "\n", 0o600), "", "is empty"},
		{"too long", write("i", strings.Repeat("hunter2", 1000), 0o600), "", "longer than 4096"},
		{"a NUL byte", write("j", "hunter2\x00", 0o600), "", "more than one line"},
		{"no file", SecretFile(filepath.Join(dir, "none")), "", "no such file"},
		{"a folder", SecretFile(dir), "", "it is not a file"},
		{"a variable that is not set", SecretEnv("NESTROUND_TEST_NOT_SET"), "", "NESTROUND_TEST_NOT_SET is not set"},
		{"a variable that is empty", SecretEnv("NESTROUND_TEST_EMPTY"), "", "is empty"},
		{"a variable with a line end", SecretEnv("NESTROUND_TEST_LINE"), "hunter2", ""},
		{"none", Secret{}, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := c.secret.Read()
			if got != c.want || (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) {
				t.Errorf("got %q, %v", got, err)
			}
			if err != nil && strings.Contains(err.Error(), "hunter2") {
				t.Errorf("the error tells the password: %v", err)
			}
			if err != nil && strings.Count(err.Error(), dir) > 1 && c.name != "for everybody" {
				t.Errorf("the error says the path twice: %v", err)
			}
		})
	}
	if _, err := SecretFile(filepath.Join(dir, "none")).Read(); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the cause is lost: %v", err)
	}
}

func TestParseCron(t *testing.T) {
	for _, c := range []struct {
		name, expression string
		first            string // first moment after 2027-01-01T00:00Z, or part of the error
	}{
		{"every day", "0 6 * * *", "2027-01-01T06:00:00Z"},
		{"extra spaces", "  0  6 * * * ", "2027-01-01T06:00:00Z"},
		{"Sunday", "0 6 * * 0", "2027-01-03T06:00:00Z"},
		{"Sunday by name", "0 6 * * sun", "2027-01-03T06:00:00Z"},
		{"leap day", "0 6 29 2 *", "2028-02-29T06:00:00Z"},
		{"day of the month or weekday", "0 6 13 * 5", "2027-01-01T06:00:00Z"}, // crontab(5): either day matches; 1 January 2027 is a Friday, but not a 13th
		{"Sunday as seven", "0 6 * * 7", "write 0 or sun"},
		{"Sunday as seven in a list", "0 6 * * 1,7", "write 0 or sun"},
		{"Sunday as seven in a range", "0 6 * * 5-7", "write 0 or sun"},
		{"never", "0 6 31 4 *", "never comes"},
		{"step too long", "*/100 6 * * *", "is not from 1 to 59"},
		{"no step", "*/0 6 * * *", "is not from 1 to 59"},
		{"step beyond numbers", "*/99999999999999999999 6 * * *", "is not from 1 to 59"},
		{"zone", "TZ=Europe/Vienna 0 6 * * *", "names a time zone"},
		{"zone alone", "CRON_TZ=Europe/Vienna", "names a time zone"},
		{"zone cut off", "TZ=", "names a time zone"},
		{"word", "@daily", "five fields"},
		{"interval", "@every 1s", "five fields"},
		{"seconds", "0 0 6 * * *", "6 fields"},
		{"nothing", "", "0 fields"},
		{"out of range", "0 24 * * *", "not a cron expression"},
		{"letters", "a b c d e", "not a cron expression"},
		{"backwards", "0 6 5-1 * *", "not a cron expression"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := ParseCron(c.expression)
			if err != nil {
				if !strings.Contains(err.Error(), c.first) {
					t.Errorf("got the error %v, want %s", err, c.first)
				}
				return
			}
			if got := s.Next(time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)).Format(time.RFC3339); got != c.first {
				t.Errorf("first at %s, want %s", got, c.first)
			}
		})
	}
}

func TestCronMixesDays(t *testing.T) {
	for expression, want := range map[string]bool{"0 0 1 * 5": true, "0 0 */2 * mon": true, "0 0 1 * *": false, "0 0 * * 5": false, "0 0 ? * 5": false, "": false} {
		if got := CronMixesDays(expression); got != want {
			t.Errorf("%q: %v", expression, got)
		}
	}
}

// Read must know every key of Keys, so that a setting in another file is
// recognised.
func TestReadKnowsEveryKey(t *testing.T) {
	for _, key := range Keys() {
		var list diag.List
		root := tables.Parse("f", []byte(key+" = 1\n"), &list)
		Read(root, "")
		list = nil
		root.Done()
		if len(list) > 0 {
			t.Errorf("Read does not know %s", key)
		}
	}
	_, list := readSettings("zone = \"UTC\"\nrooms = 1\n")
	if len(list) != 1 {
		t.Errorf("an unknown key passes: %v", list)
	}
}

func TestPollRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(30, 24*60*60).Draw(t, "seconds")
		got, err := parsePoll(fmt.Sprintf("%d seconds", n))
		if err != nil || got != time.Duration(n)*time.Second {
			t.Fatalf("got %v, %v", got, err)
		}
	})
}

func FuzzParseCron(f *testing.F) {
	for _, s := range []string{"0 6 * * *", "TZ=", "CRON_TZ=x", "@every 1s", "*/2 1-5/2 ? jan-mar sun,mon", "0 0 29 2 *", "-1 - , / *", "0 0 1-31/999999999999 * *"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		schedule, err := ParseCron(s)
		if (err == nil) != (schedule != nil) {
			t.Fatalf("%q: %v, %v", s, schedule, err)
		}
		if err == nil && schedule.Next(time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
			t.Errorf("%q never comes", s)
		}
	})
}

// Any keeper.toml gives settings or problems. Problems stand in the file, and
// settings without a problem can be used.
func FuzzSettings(f *testing.F) {
	for _, s := range []string{
		"zone = \"Europe/Vienna\"\nbegan = 2026-11-01\n",
		"zone = \"UTC\"\n[digest]\nat = \"05:45\"\nfrom = \"nestround <lizards@example.org>\"\nto = [\"keeper@example.org\"]\ncron = \"0 6 * * *\"\n",
		"[mail.out]\nsmtp = \"smtp.example.org:465\"\nsecurity = \"tls\"\nuser = \"u\"\npassword_file = \"secrets/mail\"\nca_file = \"ca.pem\"\n",
		"[mail.in]\nimap = \"[::1]:993\"\nsecurity = \"none\"\npassword_env = \"X\"\npoll = \"10 minutes\"\ntrust = \"token\"\nmaildir = \"in\"\n",
		"[page]\nlisten = \":0\"\nurl = \"https://example.org/x?y\"\n[contacts]\nkeeper = \"+43\"\n[calendar]\npast_days = -1\nahead_days = 100000\nalarms = 1\n",
		"latitude = nan\nunits = \"us\"\n[work]\ndays_off = [\"sun\", 1]\nminutes = 1e9\nsettled = \"15 days\"\n[breeding]\nkinship_limit = -0.0\n",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, src string) {
		if strings.Contains(src, "_file") && strings.Contains(src, "/dev") || len(src) > 64<<10 {
			return
		}
		s, list := readSettings(src)
		lines := 1 + strings.Count(src, "\n")
		for _, p := range list {
			if p.Message == "" || p.Line < 0 || p.Line > lines+1 || strings.ContainsAny(p.Message, "\n\r") {
				t.Errorf("%+v", p)
			}
		}
		if list.HasErrors() {
			return
		}
		if s.Zone == nil {
			t.Error("no zone, and no problem")
		}
		for _, a := range append([]string{s.Digest.From, s.Digest.ReplyTo}, s.Digest.To...) {
			if strings.ContainsAny(a, "\r\n\x00") {
				t.Errorf("the address %q", a)
			}
		}
		if s.Digest.Cron != "" {
			if _, err := ParseCron(s.Digest.Cron); err != nil {
				t.Errorf("cron %q: %v", s.Digest.Cron, err)
			}
		}
		if s.Out != nil && (s.Out.SMTP == "") == (s.Out.Maildir == "") || s.In != nil && (s.In.IMAP == "") == (s.In.Maildir == "") {
			t.Errorf("a way of mail with two places or none: %+v, %+v", s.Out, s.In)
		}
		if s.In != nil && s.In.Maildir == "" && s.In.Poll <= 0 {
			t.Errorf("poll every %v", s.In.Poll)
		}
	})
}

// The address of [watch] may hold a token. No problem, dump or error shows it.
func TestThePingAddressIsNotShown(t *testing.T) {
	const token = "squeamish-ossifrage"
	for _, line := range []string{
		`ping = "ftp://watch.example.org/` + token + `"`, `ping = "https://watch.example.org/%zz` + token + `"`, `ping = "https://u:` + token + `@a/"`,
		`ping = "https://watch.example.org/` + token, `ping = ["https://watch.example.org/` + token + `"]`, `ping = https://watch.example.org/` + token,
		`pings = "https://watch.example.org/` + token + `"`, "ping = \"https://a/\"\nping = \"" + token + `"`,
	} {
		for _, src := range []string{"zone = \"UTC\"\n[watch]\n" + line + "\n", "zone = \"UTC\"\nwatch = { " + line + " }\n", "zone = \"UTC\"\nwatch." + line + "\n"} {
			var list diag.List
			root := tables.Parse("keeper.toml", []byte(src), &list)
			s := Read(root, "/books")
			root.Done()
			if len(list) == 0 {
				t.Errorf("no problem in %s", src)
			}
			if said := fmt.Sprintf("%v %+v %#v", list, list, s); strings.Contains(said, token) {
				t.Errorf("%s: shown in %s", src, said)
			}
		}
	}
	w := Watch{Ping: SecretText("https://watch.example.org/" + token)}
	if u, err := w.Address(); err != nil || u.Path != "/"+token || strings.Contains(fmt.Sprintf("%v %+v %#v", w, w, w), token) {
		t.Errorf("%v, %v", u, err)
	}
}
