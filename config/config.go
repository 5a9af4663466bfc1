// Package config reads the settings in keeper.toml: the keeper's place and time
// zone, how mail is sent and received, and how the page and the calendar
// behave. Records in keeper.toml belong to config/books.
//
// [Read] takes the settings out of the parsed file. config/books reads the
// records of the same file in the same run, so all problems come in one list.
// The field comments of [Settings] are promises that the rest of the program
// relies on.
//
// The package opens no connection and reads no password. A [Secret] only knows
// where a password is kept.
package config

import (
	"errors"
	"fmt"
	"net"
	"net/mail"
	"net/netip"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"nestround/config/tables"
	"nestround/config/zones"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Settings holds the settings of keeper.toml. Read makes them, and nothing
// changes them afterwards.
type Settings struct {
	Name     string         // heading of the digest and the calendar; "" for no heading
	ZoneName string         // IANA name
	Zone     *time.Location // never nil
	// Latitude is in degrees, south negative; nil if keeper.toml gives no
	// latitude.
	Latitude *float64
	Units    husbandry.Units // units for output; metric by default
	Began    civil.Date      // first day to plan for; zero if keeper.toml gives no date
	Breeding husbandry.BreedingRules
	Rounds   Rounds
	Work     Work
	Digest   Digest
	Out      *Out // nil: no mail is sent
	In       *In  // nil: no replies are read
	Page     Page
	Calendar Calendar
	Contacts Contacts
	Watch    Watch
}

// Watch says how the program gives a sign of life.
type Watch struct {
	// Ping is the web address that is asked for while the program is well; zero
	// for none. It may hold a token, so it is treated as a password.
	Ping Secret
}

// Address reads the address. Errors do not repeat it.
func (w Watch) Address() (*url.URL, error) {
	s, err := w.Ping.Read()
	if err != nil {
		return nil, err
	}
	return parsePing(strings.TrimSpace(s))
}

func parsePing(s string) (*url.URL, error) {
	u, err := url.Parse(s)
	if err != nil {
		return nil, errPing // the error of url.Parse repeats the address
	}
	switch {
	case u.Scheme != "https" && u.Scheme != "http" || u.Hostname() == "" || u.Opaque != "":
		return nil, errPing
	case u.User != nil:
		return nil, errors.New("a web address with a login in it; use an address with a token")
	case u.Fragment != "":
		return nil, errors.New("a web address with a # in it")
	}
	if a, err := netip.ParseAddr(u.Hostname()); u.Scheme == "http" && err == nil && !a.IsLoopback() && !a.IsPrivate() && !a.IsLinkLocalUnicast() {
		return nil, errors.New("http may only go to this machine or a private address; write https")
	}
	return u, nil
}

var errPing = errors.New("not a web address like https://watch.example.org/token")

// Contacts are telephone numbers for the person who stands in for the keeper,
// in the keeper's words.
type Contacts struct {
	Keeper, Veterinarian string
}

// Rounds are the times at which the parts of the day begin, earliest first.
// They are shown only; nothing is computed from them.
type Rounds struct {
	Morning, Midday, Evening civil.TimeOfDay
}

// Work is how to spread the work over the days.
type Work struct {
	DaysOff []time.Weekday // each weekday at most once, and never all seven
	Minutes int            // minutes of work a day may have; 0 for no limit
	Settled int            // days after today whose plan no longer changes, 0 to 14
}

// Digest says when the morning mail is sent, and to whom.
type Digest struct {
	// At is the time of day of the digest. It is ignored if Cron is set.
	At civil.TimeOfDay
	// Cron is a cron expression of five fields in Settings.Zone, checked by
	// ParseCron; "" if At gives the time.
	Cron string
	// From is the sender's address, with or without a name. From and To are
	// always set if Out is set.
	From string
	// To are the keeper's addresses. Each address gets its own mail, and only
	// these addresses may reply.
	To []string
	// ReplyTo is the address for replies; From by default.
	ReplyTo string
	// PlusAddressing puts the digest's token into the reply address:
	// local+d.TOKEN@domain.
	PlusAddressing bool
}

// Security is how a connection to a mail server is protected.
type Security string

// The ways of protecting a connection.
const (
	TLS      Security = "tls"      // encrypted from the first byte
	STARTTLS Security = "starttls" // starts in clear, then must switch to encryption
	NoTLS    Security = "none"     // in clear; only to a server on this machine
)

// Out says how mail is sent: by SMTP, or into a Maildir. Exactly one of SMTP
// and Maildir is set.
type Out struct {
	SMTP     string // host:port
	Security Security
	User     string // "" to send without logging in
	Password Secret // set if User is set
	CAFile   string // absolute, or relative to the working directory; "" for the system's certificate authorities
	Maildir  string // absolute, or relative to the working directory
}

// Trust says how a reply proves that the keeper sent it.
type Trust string

// The two kinds of proof.
const (
	// Authenticated believes the Authentication-Results header of the server
	// AuthservID.
	Authenticated Trust = "authenticated"
	// Token accepts a valid token together with the keeper's address. This kind
	// of proof suits mail that never leaves the keeper's account or server.
	Token Trust = "token"
)

// In says how replies are received: by IMAP, or from a Maildir. Exactly one of
// IMAP and Maildir is set.
type In struct {
	IMAP       string // host:port
	Security   Security
	User       string // set if IMAP is set
	Password   Secret // set if IMAP is set
	CAFile     string // like Out.CAFile
	Mailbox    string
	Poll       time.Duration // how often to look for mail if the server does not announce it; 30 seconds to one day
	AuthservID string        // set if Trust is Authenticated
	Trust      Trust
	Maildir    string // like Out.Maildir
}

// Page is the page for the keeper's phone.
type Page struct {
	Listen string // host:port
	URL    string // the page's public address, without a slash at the end; "" if keeper.toml gives no address
	// Proxies are the addresses of web servers that stand before the page, and
	// that are believed in X-Forwarded-For; without zones, IPv4 as such.
	Proxies []netip.Prefix
}

// Calendar is what the calendar shows.
type Calendar struct {
	PastDays, AheadDays int  // 0 to 366, 1 to 400
	Alarms              bool // whether events have an alarm
}

// Default returns the settings of an empty keeper.toml. The zone is then UTC,
// but keeper.toml must name a zone.
func Default() Settings {
	return Settings{
		ZoneName: "UTC",
		Zone:     time.UTC,
		Units:    husbandry.Metric,
		Breeding: husbandry.UsualBreeding(),
		Rounds:   Rounds{Morning: 6*60 + 30, Midday: 13 * 60, Evening: 19 * 60},
		Work:     Work{Settled: 3},
		Digest:   Digest{At: 6 * 60},
		Page:     Page{Listen: "127.0.0.1:8734"},
		Calendar: Calendar{PastDays: 14, AheadDays: 120},
	}
}

// Read takes the settings out of the table of keeper.toml. Paths in keeper.toml
// are relative to dir. Read adds problems to the table's list. The caller then
// reads the records of the same file, and calls Done on the table.
func Read(t *tables.Table, dir string) Settings {
	s := Default()
	r := reader{dir}
	s.Name = t.Text("name")
	if zone, ok := tables.Parsed(t, "zone", zones.Load); ok {
		s.Zone, s.ZoneName = zone, zone.String()
	} else if !t.Has("zone") {
		t.Missing("`zone`", `say where the keeper lives, for example zone = "Europe/Vienna"`)
	}
	if latitude, ok := t.Number("latitude", -90, 90); ok {
		s.Latitude = &latitude
	}
	if units, ok := tables.Choice(t, "units", husbandry.Metric, husbandry.US); ok {
		s.Units = units
	}
	s.Began = t.Date("began")
	r.breeding(t.Table("breeding"), &s.Breeding)
	r.rounds(t.Table("rounds"), &s.Rounds)
	r.work(t.Table("work"), &s.Work)
	r.digest(t.Table("digest"), &s.Digest)
	m := t.Table("mail")
	s.Out = r.out(m.Table("out"))
	s.In = r.in(m.Table("in"))
	refuseSecrets(m)
	m.Done()
	r.page(t.Table("page"), &s.Page)
	r.calendar(t.Table("calendar"), &s.Calendar)
	contacts := t.Table("contacts")
	s.Contacts = Contacts{Keeper: contacts.Text("keeper"), Veterinarian: contacts.Text("veterinarian")}
	contacts.Done()
	s.Watch = r.watch(t.Table("watch"))
	refuseSecrets(t)

	switch d := t.Table("digest"); {
	case s.Out == nil && s.In == nil:
	case !t.Has("digest"):
		t.Missing("[digest]", `mail is set up, so say from whom it is and who the keeper is: from = "nestround <lizards@example.org>", to = ["keeper@example.org"]`)
	default:
		for _, key := range []string{"from", "to"} {
			if !d.Has(key) {
				d.Missing("`"+key+"`", "mail is set up, so say from whom it is and who the keeper is")
			}
		}
	}
	return s
}

// Keys returns the keys and tables of keeper.toml that are settings.
func Keys() []string {
	return []string{"name", "zone", "latitude", "units", "began", "breeding", "rounds", "work", "digest", "mail", "page", "calendar", "contacts", "watch"}
}

type reader struct{ dir string }

// path returns a path of the settings, joined to the folder of keeper.toml if
// it is relative.
func (r reader) path(p string) string {
	if p == "" || filepath.IsAbs(p) {
		return p
	}
	return filepath.Join(r.dir, filepath.FromSlash(p))
}

func (r reader) rounds(t *tables.Table, rounds *Rounds) {
	for _, part := range []struct {
		key string
		at  *civil.TimeOfDay
	}{{"morning", &rounds.Morning}, {"midday", &rounds.Midday}, {"evening", &rounds.Evening}} {
		if at, ok := tables.Parsed(t, part.key, civil.ParseTimeOfDay); ok {
			*part.at = at
		}
	}
	if rounds.Morning >= rounds.Midday || rounds.Midday >= rounds.Evening {
		t.Here().Error("the rounds are not in order: morning, midday, evening", fmt.Sprintf("they begin at %v, %v and %v; those not said are 06:30, 13:00 and 19:00", rounds.Morning, rounds.Midday, rounds.Evening))
	}
	t.Done()
}

func (r reader) work(t *tables.Table, w *Work) {
	for _, day := range tables.ParsedList(t, "days_off", ParseWeekday) {
		if slices.Contains(w.DaysOff, day.Value) {
			day.Place.Error(fmt.Sprintf("%v stands twice", day.Value), "")
			continue
		}
		w.DaysOff = append(w.DaysOff, day.Value)
	}
	if len(w.DaysOff) == 7 {
		t.Place("days_off").Error("no day is left to work on", "animals do not know days off: what cannot wait stays on its day whatever stands here")
	}
	if minutes, ok := t.Int("minutes", 1, 24*60); ok {
		w.Minutes = minutes
	}
	if settled, ok := tables.Parsed(t, "settled", parseSettled); ok {
		w.Settled = settled
	}
	t.Done()
}

// parseSettled reads a number of days such as "3 days", at most 14.
func parseSettled(s string) (int, error) {
	d, err := husbandry.ParseDays(s)
	if err != nil {
		return 0, err
	}
	if d > 14 {
		return 0, fmt.Errorf("%q is more than 14 days; tasks further ahead depend on what is done until then", s)
	}
	return int(d), nil
}

// ParseWeekday reads a day of the week: the English name or its first three
// letters.
func ParseWeekday(s string) (time.Weekday, error) {
	lower := strings.ToLower(s)
	for d := time.Sunday; d <= time.Saturday; d++ {
		name := strings.ToLower(d.String())
		if lower == name || lower == name[:3] {
			return d, nil
		}
	}
	return 0, fmt.Errorf("%q is not a weekday: mon, tue, wed, thu, fri, sat or sun", s)
}

func (r reader) digest(t *tables.Table, d *Digest) {
	at, hasAt := tables.Parsed(t, "at", civil.ParseTimeOfDay)
	if hasAt {
		d.At = at
		if at < 4*60 {
			warnOfNight(t.Place("at"), at.String())
		}
	}
	if expression, ok := tables.Parsed(t, "cron", checkedCron); ok {
		d.Cron = expression
		if hour, err := strconv.Atoi(strings.Fields(expression)[1]); err != nil || hour < 4 {
			warnOfNight(t.Place("cron"), "`"+expression+"`")
		}
	}
	if t.Has("at") && t.Has("cron") {
		t.KeyPlace("cron").Error("the digest has both `at` and `cron`", "keep one of them")
	}
	d.From, _ = tables.Parsed(t, "from", Address)
	d.ReplyTo, _ = tables.Parsed(t, "reply_to", Address)
	if d.ReplyTo == "" {
		d.ReplyTo = d.From
	}
	seen := make(map[string]bool)
	for _, to := range tables.ParsedList(t, "to", Address) {
		a, err := mail.ParseAddress(to.Value)
		if err == nil && seen[strings.ToLower(a.Address)] {
			to.Place.Error(fmt.Sprintf("%s stands twice", a.Address), "")
			continue
		}
		seen[strings.ToLower(a.Address)] = true
		d.To = append(d.To, to.Value)
	}
	if t.Has("to") && len(seen) == 0 {
		t.Place("to").Warn("`to` names nobody", "the digest is shown, but not sent")
	}
	d.PlusAddressing = t.Bool("plus_addressing")
	t.Done()
}

func warnOfNight(p tables.Place, what string) {
	p.Warn(fmt.Sprintf("%s may fall into the hours in which clocks change", what),
		"between 00:00 and 03:59 a day may have no such time, or have it twice; the digest then comes a little later, once. Take 04:00 or later to be sure")
}

// Address checks a mail address, with or without a name.
func Address(s string) (string, error) {
	a, err := mail.ParseAddress(s)
	if err != nil || !strings.Contains(a.Address, "@") {
		return "", fmt.Errorf("%q is not a mail address like keeper@example.org", s)
	}
	return s, nil
}

// security reads how to protect the connection to the server at hostPort.
func security(t *tables.Table, hostPort string) Security {
	how, ok := tables.Choice(t, "security", TLS, STARTTLS, NoTLS)
	if !ok {
		how = TLS
	}
	host, port, err := net.SplitHostPort(hostPort)
	if err != nil {
		return how
	}
	switch {
	case how == NoTLS && !loopback(host):
		t.Place("security").Error(fmt.Sprintf("mail and password would travel in clear to %s", host), `write security = "tls", or "starttls"; "none" is for a server on this machine`)
	case how == TLS && (port == "587" || port == "143" || port == "25"):
		t.Place("security").Warn(fmt.Sprintf("port %s is usually one of starttls, not tls", port), `write security = "starttls" if the connection fails`)
	case how == STARTTLS && (port == "465" || port == "993"):
		t.Place("security").Warn(fmt.Sprintf("port %s is usually one of tls, not starttls", port), `write security = "tls" if the connection fails`)
	}
	return how
}

func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

func hostPort(s string) (string, error) {
	host, port, err := net.SplitHostPort(s)
	n, portErr := strconv.Atoi(port)
	if err != nil || portErr != nil || n < 1 || n > 65535 || strings.ContainsAny(host, " /@") || strings.Contains(s, "@") {
		// The message does not repeat the text: it may contain a password.
		return "", fmt.Errorf("not a host and port like mail.example.org:993")
	}
	return s, nil
}

// login reads the user and the place of the password. needed says that the
// server requires a login, as every mailbox does. A server for sending mail may
// not require a login.
func (r reader) login(t *tables.Table, needed bool) (user string, password Secret) {
	user = t.Text("user")
	file, env := t.Text("password_file"), t.Text("password_env")
	switch {
	case file != "" && env != "":
		t.KeyPlace("password_env").Error("the password is both in a file and in the environment", "keep one of `password_file` and `password_env`")
	case file != "":
		password = SecretFile(r.path(file))
	case env != "":
		if strings.ContainsAny(env, "= \t") {
			t.Place("password_env").Error("not the name of an environment variable", "it names the variable, such as NESTROUND_MAIL_PASSWORD, and is not the password")
		}
		password = SecretEnv(env)
	}
	refused := refuseSecrets(t)
	named := t.Has("password_file") || t.Has("password_env") || refused
	switch {
	case (needed || t.Has("user")) && !named:
		t.Missing("`password_file` or `password_env`", "put the password alone into a file, chmod 600 it, and name the file")
	case (needed || named) && !t.Has("user"):
		t.Missing("`user`", "say whose password it is")
	}
	return user, password
}

// refuseSecrets reports passwords written into keeper.toml itself. Books are
// copied, synchronised and shown to others, so they are no place for a
// password.
func refuseSecrets(t *tables.Table) bool {
	refused := false
	for _, key := range []string{"password", "passwd", "passphrase", "pass", "pwd", "secret", "token"} {
		if t.Refuse(key, fmt.Sprintf("`%s` gives a secret in clear; the books are no place for it", key),
			`put it alone into a file, chmod 600 it, and write password_file = "secrets/mail"; or name an environment variable with password_env. Then change the password`) {
			refused = true
		}
	}
	return refused
}

func (r reader) out(t *tables.Table) *Out {
	if t == nil {
		return nil
	}
	var o Out
	o.SMTP, _ = tables.Parsed(t, "smtp", hostPort)
	o.Security = security(t, o.SMTP)
	o.User, o.Password = r.login(t, false)
	o.CAFile = r.path(optional(t, "ca_file"))
	o.Maildir = r.path(optional(t, "maildir"))
	oneWay(t, "smtp", o.Maildir)
	t.Done()
	return &o
}

// optional reads text that may be empty.
func optional(t *tables.Table, key string) string {
	if t.IsEmptyText(key) {
		return ""
	}
	return t.Text(key)
}

// oneWay reports a table that names a server and a Maildir, or neither of them.
func oneWay(t *tables.Table, server, maildir string) {
	switch {
	case t.Has(server) && maildir != "":
		t.KeyPlace("maildir").Error(fmt.Sprintf("%s has both `%s` and `maildir`", t.Name(), server), "keep one of them")
	case !t.Has(server) && maildir == "":
		t.Missing(fmt.Sprintf("`%s` or `maildir`", server), "say how the mail travels")
	}
}

func (r reader) in(t *tables.Table) *In {
	if t == nil {
		return nil
	}
	i := In{Mailbox: "INBOX", Poll: 10 * time.Minute, Trust: Authenticated}
	i.IMAP, _ = tables.Parsed(t, "imap", hostPort)
	i.Security = security(t, i.IMAP)
	i.User, i.Password = r.login(t, t.Has("imap"))
	i.CAFile = r.path(optional(t, "ca_file"))
	if mailbox := t.Text("mailbox"); mailbox != "" {
		i.Mailbox = mailbox
	}
	if poll, ok := tables.Parsed(t, "poll", parsePoll); ok {
		i.Poll = poll
	}
	i.AuthservID = t.Text("authserv_id")
	if trust, ok := tables.Choice(t, "trust", Authenticated, Token); ok {
		i.Trust = trust
	}
	i.Maildir = r.path(optional(t, "maildir"))
	oneWay(t, "imap", i.Maildir)
	if i.Trust == Authenticated && !t.Has("authserv_id") {
		t.Missing("`authserv_id`", `write the name your provider puts first into Authentication-Results; or trust = "token" where mail has no such header`)
	}
	t.Done()
	return &i
}

// parsePoll reads a duration such as "10 minutes", from 30 seconds to one day.
func parsePoll(s string) (time.Duration, error) {
	number, unit, _ := strings.Cut(strings.TrimSpace(s), " ")
	n, err := strconv.Atoi(number)
	scale := map[string]time.Duration{
		"second": time.Second, "seconds": time.Second, "s": time.Second,
		"minute": time.Minute, "minutes": time.Minute, "min": time.Minute,
		"hour": time.Hour, "hours": time.Hour, "h": time.Hour,
	}[strings.TrimSpace(unit)]
	if err != nil || scale == 0 {
		return 0, fmt.Errorf("%q is not a time like \"10 minutes\"", s)
	}
	const least, most = 30 * time.Second, 24 * time.Hour
	if n < 0 || n > int(most/time.Second) || time.Duration(n)*scale < least || time.Duration(n)*scale > most {
		return 0, fmt.Errorf("%q is not between 30 seconds and 24 hours", s)
	}
	return time.Duration(n) * scale, nil
}

func (r reader) page(t *tables.Table, p *Page) {
	if listen, ok := tables.Parsed(t, "listen", hostPort); ok {
		p.Listen = listen
		if host, _, _ := net.SplitHostPort(listen); !loopback(host) {
			t.Place("listen").Warn("everybody in the network can reach the page", "listen on 127.0.0.1 and let a web server with a certificate stand before it")
		}
	}
	if !t.IsEmptyText("url") {
		r.pageURL(t, p)
	}
	for _, proxy := range tables.ParsedList(t, "proxies", parseProxy) {
		if slices.Contains(p.Proxies, proxy.Value) {
			proxy.Place.Error(fmt.Sprintf("%v stands twice", proxy.Value), "")
			continue
		}
		p.Proxies = append(p.Proxies, proxy.Value)
	}
	t.Done()
}

// parseProxy reads an address, or a network such as "10.0.0.0/8".
func parseProxy(s string) (netip.Prefix, error) {
	if a, err := netip.ParseAddr(s); err == nil && a.Zone() == "" {
		a = a.Unmap()
		return netip.PrefixFrom(a, a.BitLen()), nil
	}
	p, err := netip.ParsePrefix(s)
	switch {
	case err != nil:
		return p, fmt.Errorf("%q is not an address like 127.0.0.1 or a network like 10.0.0.0/8", s)
	case p.Addr().Is4In6():
		return p, fmt.Errorf("write %q as a network of IPv4, such as 10.0.0.0/8", s)
	case p.Bits() == 0:
		return p, fmt.Errorf("%q is everybody; name the address of your web server", s)
	case p != p.Masked():
		return p, fmt.Errorf("%q is an address inside of a network; write %v for the network, or %v for the address", s, p.Masked(), p.Addr())
	}
	return p, nil
}

func (r reader) pageURL(t *tables.Table, p *Page) {
	u, ok := tables.Parsed(t, "url", parseURL)
	if !ok {
		return
	}
	p.URL = strings.TrimRight(u.String(), "/")
	if u.Scheme == "http" && !loopback(u.Hostname()) {
		t.Place("url").Warn("links of http can be read along the way", "use https outside of your own network")
	}
}

func parseURL(s string) (*url.URL, error) {
	u, err := url.Parse(s)
	if err != nil || (u.Scheme != "https" && u.Scheme != "http") || u.Host == "" || u.User != nil || u.RawQuery != "" || u.Fragment != "" {
		return nil, fmt.Errorf("not a web address like https://lizards.example.org")
	}
	return u, nil
}

func (r reader) watch(t *tables.Table) Watch {
	var w Watch
	_, isAddress := tables.Parsed(t, "ping", func(s string) (*url.URL, error) {
		w.Ping = SecretText(s)
		return parsePing(s)
	})
	if !isAddress {
		w.Ping = Secret{}
	}
	if file := t.Text("ping_file"); file != "" {
		if t.Has("ping") {
			t.KeyPlace("ping_file").Error("[watch] has both `ping` and `ping_file`", "keep one of them")
		}
		w.Ping = SecretFile(r.path(file))
	}
	t.Done()
	return w
}

func (r reader) calendar(t *tables.Table, c *Calendar) {
	if n, ok := t.Int("past_days", 0, 366); ok {
		c.PastDays = n
	}
	if n, ok := t.Int("ahead_days", 1, 400); ok {
		c.AheadDays = n
	}
	c.Alarms = t.Bool("alarms")
	t.Done()
}

func checkedCron(s string) (string, error) {
	if _, err := ParseCron(s); err != nil {
		return "", err
	}
	return s, nil
}
