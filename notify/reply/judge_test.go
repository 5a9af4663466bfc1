package reply

import (
	"strings"
	"testing"

	"github.com/emersion/go-msgauth/authres"
)

// aMail returns a mail with the header fields of extra above its own fields.
func aMail(t testing.TB, extra, from string) Mail {
	t.Helper()
	m, err := Read([]byte(extra + "From: " + from + "\nTo: lizards@example.org\nMessage-ID: <m1@mail.example.com>\n\ndone 1\n"))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

const (
	keeper = "Sam Keeper <keeper@example.com>"
	passes = "Authentication-Results: mx.example.org; dmarc=pass header.from=example.com\n"
)

func TestJudgeAuthentication(t *testing.T) {
	policy := Policy{Keepers: []string{"keeper@example.com"}, AuthservID: "mx.example.org"}
	for _, c := range []struct {
		name, header, from string
		ignored            string // part of the reason; "" for accepted
	}{
		{"dmarc passes", passes, keeper, ""},
		{"the address in capitals", passes, "KEEPER@EXAMPLE.COM", ""},
		{"a name that needs quotes", passes, `"Keeper, Sam" <keeper@example.com>`, ""},
		{"an aligned signature, no dmarc", "Authentication-Results: mx.example.org; dkim=pass header.d=example.com\n", keeper, ""},
		{"an aligned identity, no domain", "Authentication-Results: mx.example.org; dkim=pass header.i=@example.com\n", keeper, ""},
		{"an aligned signature among others", "Authentication-Results: mx.example.org; dkim=fail header.d=list.example.net; dkim=pass header.d=Example.COM; spf=fail smtp.mailfrom=x@example.net\n", keeper, ""},
		{"dmarc not set up, an aligned signature", "Authentication-Results: mx.example.org; dkim=pass header.d=example.com; dmarc=none header.from=example.com\n", keeper, ""},
		{"dmarc could not be looked up, an aligned signature", "Authentication-Results: mx.example.org; dkim=pass header.d=example.com; dmarc=temperror header.from=example.com\n", keeper, ""},
		{"with a version", "Authentication-Results: mx.example.org 1; dmarc=pass header.from=example.com\n", keeper, ""},
		{"the server's name in capitals", "Authentication-Results: MX.EXAMPLE.ORG; dmarc=pass header.from=example.com\n", keeper, ""},
		{"the server's name quoted", "Authentication-Results: \"mx.example.org\"; dmarc=pass header.from=example.com\n", keeper, ""},
		{"method version and space around =", "Authentication-Results: mx.example.org; dmarc / 1 = pass header.from = example.com\n", keeper, ""},
		{"comments everywhere", "Authentication-Results: (a) mx.example.org (b); dmarc=pass (p=none (sp=none) dis=none) header.from=example.com\n", keeper, ""},
		{"folded", "Authentication-Results: mx.example.org;\n\tdkim=pass header.d=example.com;\n\tdmarc=pass\n\t header.from=example.com\n", keeper, ""},
		{"another server's field above", "Authentication-Results: inner.example.org; none\n" + passes, keeper, ""},

		{"no field at all", "", keeper, "no Authentication-Results of mx.example.org"},
		{"no result", "Authentication-Results: mx.example.org; none\n", keeper, "neither DMARC nor a DKIM signature"},
		{"another server's field alone", "Authentication-Results: mx.evil.example; dmarc=pass header.from=example.com\n", keeper, "no Authentication-Results of mx.example.org"},
		{"a name that only begins like the server's", "Authentication-Results: mx.example.org.evil.example; dmarc=pass header.from=example.com\n", keeper, "no Authentication-Results"},
		{"forged below the real", "Authentication-Results: mx.example.org; dmarc=fail header.from=example.com\n" + passes, keeper, "DMARC failed"},
		{"forged below a real one without results", "Authentication-Results: mx.example.org; none\n" + passes, keeper, "neither DMARC"},
		{"forged below a real field that the sender damaged", "Authentication-Results: mx.example.org; spf=pass smtp.mailfrom=(@evil.example; dmarc=fail header.from=example.com\n" + passes, keeper, "cannot be read"},
		{"an unknown version", "Authentication-Results: mx.example.org 2; dmarc=pass header.from=example.com\n", keeper, "no Authentication-Results"},
		{"the attacker's own domain passes", "Authentication-Results: mx.example.org; dkim=pass header.d=evil.example; dmarc=pass header.from=evil.example\n", keeper, `DMARC was checked for "evil.example"`},
		{"the attacker's own signature", "Authentication-Results: mx.example.org; dkim=pass header.d=evil.example\n", keeper, "neither DMARC"},
		{"a signature of a domain that ends alike", "Authentication-Results: mx.example.org; dkim=pass header.d=notexample.com\n", keeper, "neither DMARC"},
		{"a signature of a domain above", "Authentication-Results: mx.example.org; dkim=pass header.d=com\n", keeper, "neither DMARC"},
		{"an aligned signature that fails", "Authentication-Results: mx.example.org; dkim=fail header.d=example.com\n", keeper, "neither DMARC"},
		{"spf alone", "Authentication-Results: mx.example.org; spf=pass smtp.mailfrom=keeper@example.com\n", keeper, "neither DMARC"},
		{"dmarc fails, an aligned signature", "Authentication-Results: mx.example.org; dkim=pass header.d=example.com; dmarc=fail header.from=example.com\n", keeper, "DMARC failed"},
		{"two dmarc results that differ", "Authentication-Results: mx.example.org; dmarc=pass header.from=example.com; dmarc=fail header.from=example.com\n", keeper, "DMARC failed"},
		{"two dmarc results that differ, the other way", "Authentication-Results: mx.example.org; dmarc=fail header.from=example.com; dmarc=pass header.from=example.com\n", keeper, "DMARC failed"},
		{"two dmarc results, one smuggled", "Authentication-Results: mx.example.org; dmarc=pass header.from=example.com; dmarc=pass header.from=evil.example\n", keeper, "DMARC was checked"},
		{"pass in a comment", "Authentication-Results: mx.example.org; dmarc=fail (dmarc=pass header.from=example.com) header.from=example.com\n", keeper, "DMARC failed"},
		{"pass in another result's comment", "Authentication-Results: mx.example.org; arc=pass (i=1; dmarc=pass header.from=example.com)\n", keeper, "neither DMARC"},
		{"pass in a nested comment", "Authentication-Results: mx.example.org; arc=pass (i=1 (x); dmarc=pass header.from=example.com)\n", keeper, "neither DMARC"},
		{"pass in a comment with an escaped bracket", `Authentication-Results: mx.example.org; arc=pass (\) ; dmarc=pass header.from=example.com)` + "\n", keeper, "neither DMARC"},
		{"pass in a mailbox", `Authentication-Results: mx.example.org; spf=pass smtp.mailfrom="a; dmarc=pass header.from=example.com ;"@evil.example` + "\n", keeper, "neither DMARC"},
		{"pass in a mailbox with an escaped quote", `Authentication-Results: mx.example.org; spf=pass smtp.mailfrom="a\"; dmarc=pass header.from=example.com"@evil.example` + "\n", keeper, "neither DMARC"},
		{"pass in a reason", `Authentication-Results: mx.example.org; dkim=fail reason="; dmarc=pass header.from=example.com"` + "\n", keeper, "neither DMARC"},
		{"a dmarc result without an author", "Authentication-Results: mx.example.org; dmarc=pass\n", keeper, "DMARC was checked for"},
		{"a result without a value", "Authentication-Results: mx.example.org; dmarc\n", keeper, "cannot be read"},

		{"somebody else", "Authentication-Results: mx.example.org; dmarc=pass header.from=evil.example\n", "x@evil.example", "is not a keeper's address"},
		{"the keeper's address as a name", "Authentication-Results: mx.example.org; dmarc=pass header.from=evil.example\n", `"keeper@example.com" <x@evil.example>`, "is not a keeper's address"},
		{"the keeper's address as a comment", "Authentication-Results: mx.example.org; dmarc=pass header.from=evil.example\n", `x@evil.example (keeper@example.com)`, "is not a keeper's address"},
		{"the keeper's address before the brackets", passes, `keeper@example.com <x@evil.example>`, "no From address that can be read"},
		{"no address", passes, "Sam Keeper", "no From address that can be read"},
		{"a longer local part", passes, "xkeeper@example.com", "is not a keeper's address"},
		{"the keeper's address in a longer one", passes, "keeper@example.com.evil.example", "is not a keeper's address"},
	} {
		v := Judge(aMail(t, c.header, c.from), policy, true)
		if v.Accepted != (c.ignored == "") || v.Accepted != (v.Ignored == "") || !strings.Contains(v.Ignored, c.ignored) {
			t.Errorf("%s: %+v, want a reason with %q", c.name, v, c.ignored)
		}
	}
}

func TestJudgeToken(t *testing.T) {
	for _, c := range []struct {
		name, header, from string
		suffices, token    bool
		accepted           bool
	}{
		{"own account, no field", "", keeper, true, true, true},
		{"no token", "", keeper, true, false, false},
		{"the token does not suffice", "", keeper, false, true, false},
		{"a stranger who has the token", "", "x@evil.example", true, true, false},
		{"dmarc fails", "Authentication-Results: mx.example.org; dmarc=fail header.from=example.com\n", keeper, true, true, false},
		{"the field is damaged", "Authentication-Results: mx.example.org; (\n", keeper, true, true, false},
		{"another server says fail", "Authentication-Results: mx.other.example; dmarc=fail header.from=example.com\n", keeper, true, true, true},
		{"authenticated without a token", passes, keeper, true, false, true},
		{"a machine with the token", "Auto-Submitted: auto-replied\n", keeper, true, true, false},
	} {
		p := Policy{Keepers: []string{"keeper@example.com"}, AuthservID: "mx.example.org", TokenSuffices: c.suffices}
		if v := Judge(aMail(t, c.header, c.from), p, c.token); v.Accepted != c.accepted {
			t.Errorf("%s: %+v, want accepted %v", c.name, v, c.accepted)
		}
	}
	v := Judge(aMail(t, passes, keeper), Policy{Keepers: []string{"keeper@example.com"}}, true)
	if v.Accepted || !strings.Contains(v.Ignored, "authserv_id is not set") {
		t.Errorf("nobody trusted: %+v", v)
	}
}

func TestMachines(t *testing.T) {
	p := Policy{Keepers: []string{"keeper@example.com", "joe_recipient@example.com", "mailer-daemon@cs.utk.edu"}, TokenSuffices: true}
	for _, c := range []struct{ file, ignored string }{
		{"rfc3464-dsn.eml", "a delivery report"}, // RFC 3464, section 10.1
		{"rfc8098-mdn.eml", "a read receipt"},    // RFC 8098, section 9
		{"vacation-apple.eml", "X-Apple-Action"},
		{"vacation-exchange.eml", "Auto-Submitted"},
	} {
		m, err := Read(readTestdata(t, c.file))
		if err != nil {
			t.Errorf("%s: %v", c.file, err)
			continue
		}
		v := Judge(m, p, true)
		if v.Accepted || !strings.Contains(v.Ignored, c.ignored) || v.MayAnswer(Parse("done 1", nil)) {
			t.Errorf("%s: %+v", c.file, v)
		}
	}
	for _, c := range []struct{ name, header, from, ignored string }{
		// RFC 3834, section 5: the keywords, and an extension.
		{"auto-generated", "Auto-Submitted: auto-generated\n", keeper, "Auto-Submitted"},
		{"auto-replied", "Auto-Submitted: auto-replied\n", keeper, "Auto-Submitted"},
		{"a parameter", "Auto-Submitted: auto-replied; owner-email=\"x@example.com\"\n", keeper, "Auto-Submitted"},
		{"a comment", "Auto-Submitted: Auto-Replied (vacation)\n", keeper, "Auto-Submitted"},
		{"an extension", "Auto-Submitted: auto-notified\n", keeper, "Auto-Submitted"},
		{"no, by a person", "Auto-Submitted: no\n", keeper, ""},
		{"no, with a comment", "Auto-Submitted: No (really)\n", keeper, ""},
		{"null return path", "Return-Path: <>\n", keeper, "Return-Path"},
		{"null return path, spaced", "Return-Path: < >\n", keeper, "Return-Path"},
		{"a return path", "Return-Path: <keeper@example.com>\n", keeper, ""},
		{"failed recipients", "X-Failed-Recipients: x@example.net\n", keeper, "X-Failed-Recipients"},
		{"mailer-daemon", "", "MAILER-DAEMON@example.com", "mail server"},
		{"mailer-daemon without a domain", "", "MAILER-DAEMON (Mail Delivery System)", "mail server"},
		{"postmaster", "", "Postmaster <postmaster@example.com>", "mail server"},
		{"apple vacation", "X-Apple-Action: vacation\n", keeper, "X-Apple-Action"},
		{"another action", "X-Apple-Action: MOVE_TO_FOLDER/INBOX\n", keeper, ""},
		{"precedence bulk", "Precedence: bulk\n", keeper, "Precedence"},
		{"precedence auto_reply", "Precedence: AUTO_REPLY\n", keeper, "Precedence"},
		{"precedence of a person", "Precedence: first-class\n", keeper, ""},
		{"mailing list", "List-Id: <x.example.net>\n", keeper, "mailing list"},
		{"vacation program", "X-Autoreply: yes\n", keeper, "X-Autoreply"},
		{"a rule's subject", "Subject: Automatic reply: Tuesday [#K7Q2]\n", keeper, "subject"},
		{"a rule's subject in German", "Subject: =?utf-8?q?Automatische_Antwort=3A?= Tuesday\n", keeper, "subject"},
		{"an answer's subject", "Subject: Re: Automatic feeders\n", keeper, ""},
		{"feedback report", "Content-Type: multipart/report; report-type=feedback-report; boundary=x\n", keeper, "report"},
		// Exchange also sets this on mails from people.
		{"suppress", "X-Auto-Response-Suppress: All\n", keeper, ""},
	} {
		v := Judge(aMail(t, passes+c.header, c.from), Policy{Keepers: p.Keepers, AuthservID: "mx.example.org"}, true)
		if v.Accepted != (c.ignored == "") || !strings.Contains(v.Ignored, c.ignored) {
			t.Errorf("%s: %+v, want a reason with %q", c.name, v, c.ignored)
		}
	}
}

func TestOwnMail(t *testing.T) {
	p := Policy{Keepers: []string{"keeper@example.com"}, AuthservID: "mx.example.org", Own: func(id string) bool { return id == "m1@mail.example.com" }}
	if v := Judge(aMail(t, passes, keeper), p, true); v.Accepted || v.Ignored != "the program's own mail" {
		t.Errorf("own mail: %+v", v)
	}
}

func TestMayAnswer(t *testing.T) {
	accepted := Verdict{Accepted: true}
	for _, c := range []struct {
		text string
		want bool
	}{
		{"done 1", true},
		{"4 weighs 41", true}, // a mistake deserves an answer
		{"7 laid 6 2", true},
		{"1 3", false}, // numbers alone may mean anything
		{"I am away until Friday. All mails wait.", false},
		{"All mail will be read after 3 May.", false},
		{"", false},
	} {
		p := Parse(c.text, nil)
		if got := accepted.MayAnswer(p); got != c.want {
			t.Errorf("%q: may answer %v, want %v", c.text, got, c.want)
		}
		if (Verdict{Ignored: "a stranger"}).MayAnswer(p) {
			t.Errorf("%q: a stranger may be answered", c.text)
		}
	}
}

// The examples of RFC 8601, appendix B, read as the appendix explains them.
func TestExamplesOfRFC8601(t *testing.T) {
	type result struct {
		method string
		value  authres.ResultValue
		who    string
	}
	for _, c := range []struct {
		section, field, server string
		want                   []result
	}{
		// Quoted from memory.
		{"B.2", "example.org 1; none", "example.org", nil},
		{"B.3", "example.com;\n          spf=pass smtp.mailfrom=example.net", "example.com", []result{{"spf", "pass", "example.net"}}},
		{"B.4", "example.com;\n          auth=pass (cram-md5) smtp.auth=sender@example.net;\n          spf=pass smtp.mailfrom=example.net", "example.com",
			[]result{{"auth", "pass", "sender@example.net"}, {"spf", "pass", "example.net"}}},
		// Checked against the text.
		{"B.6", "example.com;\n      dkim=pass reason=\"good signature\"\n        header.i=@mail-router.example.net;\n      dkim=fail reason=\"bad signature\"\n        header.i=@newyork.example.com", "example.com",
			[]result{{"dkim", "pass", "@mail-router.example.net"}, {"dkim", "fail", "@newyork.example.com"}}},
		{"B.6", "example.net;\n      dkim=pass (good signature) header.i=@newyork.example.com", "example.net", []result{{"dkim", "pass", "@newyork.example.com"}}},
		{"B.7", "foo.example.net (foobar) 1 (baz);\n    dkim (Because I like it) / 1 (One yay) = (wait for it) fail\n      policy (A dot can go here) . (like that) expired\n      (this surprised me) = (as I wasn't expecting it) 1362471462", "foo.example.net",
			[]result{{"dkim", "fail", ""}}},
	} {
		m := aMail(t, "Authentication-Results: "+c.field+"\n", keeper)
		rs, ok, err := results(m, c.server)
		if !ok || err != nil {
			t.Errorf("%s: not read: %v, %v", c.section, ok, err)
			continue
		}
		var got []result
		for _, r := range rs {
			switch r := r.(type) {
			case *authres.DKIMResult:
				got = append(got, result{"dkim", r.Value, r.Domain + r.Identifier})
			case *authres.SPFResult:
				got = append(got, result{"spf", r.Value, r.From})
			case *authres.AuthResult:
				got = append(got, result{"auth", r.Value, r.Auth})
			}
		}
		if len(got) != len(c.want) {
			t.Errorf("%s: got %v, want %v", c.section, got, c.want)
			continue
		}
		for i := range got {
			if got[i] != c.want[i] {
				t.Errorf("%s: got %v, want %v", c.section, got[i], c.want[i])
			}
		}
	}
}
