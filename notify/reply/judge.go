package reply

import (
	"fmt"
	"slices"
	"strings"

	"github.com/emersion/go-msgauth/authres"
)

// Policy says whose word counts.
type Policy struct {
	Keepers []string // addresses alone, in any case
	// AuthservID is the name under which the keeper's own mail server writes
	// Authentication-Results (RFC 8601, section 2.5). That server must remove
	// fields with its name from mail that comes in (section 5); "" believes
	// none.
	AuthservID string
	// TokenSuffices accepts a keeper's address with a digest's token and no
	// authentication: for mail between folders of one account, which passes
	// no server that would check it.
	TokenSuffices bool
	// Own knows the Message-IDs of the program's own mails; nil knows none.
	Own func(messageID string) bool
}

// Verdict says what becomes of a mail.
type Verdict struct {
	Accepted bool
	Ignored  string // why it is not accepted, in words; "" when it is
	// Unproven says that it bears a keeper's address and nothing proves that it
	// is theirs: a forgery, or a reply that lost its way. The keeper should be
	// told of it, though not what it says.
	Unproven bool
}

// MayAnswer reports whether an answer may be sent to a mail so judged, whose
// text was read as p: never to a machine or a stranger, and never to one
// without a command or what was clearly meant as one. Two machines that
// answer each other do so without end (RFC 3834, section 2); whoever sends
// also limits answers to one a mail and a few a day.
func (v Verdict) MayAnswer(p Parsed) bool {
	return v.Accepted && (len(p.Commands) > 0 || p.meant)
}

// Judge tells whether m is a keeper's own word. token says that m carries the
// token of the digest it answers (see [Match]).
func Judge(m Mail, p Policy, token bool) Verdict {
	if p.Own != nil && p.Own(m.MessageID) {
		return Verdict{Ignored: "the program's own mail"}
	}
	if why := machine(m); why != "" {
		return Verdict{Ignored: why}
	}
	if why := stranger(m, p, token); why != "" {
		return Verdict{Ignored: why, Unproven: isKeeper(m, p)}
	}
	return Verdict{Accepted: true}
}

// machine says what m is if no person wrote it, "" for a person's mail.
//
// X-Auto-Response-Suppress is not looked at: Exchange stamps it on mail that
// people wrote.
func machine(m Mail) string {
	has := func(key string) (string, bool) { v, ok := m.machine[key]; return v, ok }
	if m.MediaType == "multipart/report" {
		switch m.ReportType {
		case "delivery-status": // RFC 3464, section 2
			return "a delivery report"
		case "disposition-notification": // RFC 8098, section 3
			return "a read receipt"
		}
		return "a report by a machine" // RFC 6522
	}
	if m.NullReturn {
		// RFC 5321, section 4.5.5: so that nobody answers it.
		return "a report by a machine: its Return-Path is empty"
	}
	if _, ok := has("X-Failed-Recipients"); ok {
		return "a delivery report: it has X-Failed-Recipients"
	}
	local, _, _ := strings.Cut(m.From, "@")
	if m.From == "" {
		local = strings.TrimSpace(m.FromField)
	}
	if local = strings.ToLower(local); local == "mailer-daemon" || local == "postmaster" ||
		m.From == "" && strings.Contains(local, "mailer-daemon") {
		return "a mail server's notice"
	}
	if v, ok := has("Auto-Submitted"); ok {
		// RFC 3834, section 5: anything but "no", parameters and comments aside.
		v, _, _ = strings.Cut(v, ";")
		v, _, _ = strings.Cut(v, "(")
		if v = strings.ToLower(strings.TrimSpace(v)); v != "no" {
			return fmt.Sprintf("an automatic mail: Auto-Submitted is %s", shown(v))
		}
	}
	if v, ok := has("X-Apple-Action"); ok && strings.HasPrefix(strings.ToUpper(v), "VACATION") {
		// iCloud's answers have no Auto-Submitted and look like a person's.
		return "an automatic answer: X-Apple-Action is VACATION"
	}
	if v, ok := has("Precedence"); ok {
		// RFC 3834, section 2 and common practice.
		switch v := strings.ToLower(v); v {
		case "bulk", "junk", "list", "auto_reply":
			return fmt.Sprintf("an automatic mail: Precedence is %s", v)
		}
	}
	if _, ok := has("List-Id"); ok {
		return "a mailing list's mail"
	}
	// Written by several vacation programs; common practice.
	for _, key := range []string{"X-Autoreply", "X-Autorespond", "X-Auto-Reply-From", "X-Mail-Autoreply"} {
		if _, ok := has(key); ok {
			return fmt.Sprintf("an automatic answer: it has %s", key)
		}
	}
	// Exchange's words for its own automatic answers; a rule that a person
	// made there may set no header at all.
	subject := FoldLine(m.Subject)
	for _, s := range []string{"automatic reply:", "automatische antwort:", "réponse automatique", "respuesta automática:", "out of office:"} {
		if strings.HasPrefix(subject, s) {
			return "an automatic answer, by its subject"
		}
	}
	return ""
}

// stranger says why m is not believed to be a keeper's, "" if it is.
func stranger(m Mail, p Policy, token bool) string {
	if m.From == "" {
		return "it has no From address that can be read"
	}
	// The domain's case never matters (RFC 5321, section 2.4), the local
	// part's does in theory only.
	if !isKeeper(m, p) {
		return fmt.Sprintf("%s is not a keeper's address", shown(m.From))
	}
	why := unauthenticated(m, p.AuthservID)
	switch {
	case why == "" || !p.TokenSuffices:
	case !token:
		why = "it carries no token of a digest, and is " + why
		if p.AuthservID == "" {
			why = "it carries no token of a digest: answer the digest itself, and leave its last line in the quote"
		}
	case !failed(m, p.AuthservID):
		return ""
	}
	return why
}

func isKeeper(m Mail, p Policy) bool {
	return slices.ContainsFunc(p.Keepers, func(k string) bool { return strings.EqualFold(k, m.From) })
}

// results returns what the trusted server found: the topmost field with its
// name, because each server writes above what it received. ok is false where
// there is none.
func results(m Mail, authservID string) (rs []authres.Result, ok bool, err error) {
	if authservID == "" {
		return nil, false, nil
	}
	for _, v := range m.AuthResults {
		clean, err := bare(v)
		if err != nil {
			// Whose field it is cannot be told. If it is the trusted server's,
			// spoilt by text that the sender made it copy, then what stands
			// below it is the sender's.
			return nil, true, err
		}
		id, rs, err := authres.Parse(clean)
		if !strings.EqualFold(id, authservID) {
			continue
		}
		return rs, true, err
	}
	return nil, false, nil
}

// unauthenticated says why m is not proved to come from its From domain, ""
// if it is.
func unauthenticated(m Mail, authservID string) string {
	rs, ok, err := results(m, authservID)
	switch {
	case !ok && authservID == "":
		return "nobody is trusted to authenticate mail: authserv_id is not set"
	case !ok:
		return fmt.Sprintf("not authenticated: no Authentication-Results of %s", authservID)
	case err != nil:
		return "not authenticated: the topmost Authentication-Results cannot be read"
	}
	domain := domainOf(m.From)
	dmarc, dkim := "", false
	for _, r := range rs {
		switch r := r.(type) {
		case *authres.DMARCResult:
			// Each must be about the mail's author, and pass: one of several
			// may have been smuggled in with text that the server copied.
			if !strings.EqualFold(domainOf(r.From), domain) {
				return fmt.Sprintf("not authenticated: DMARC was checked for %s, not %s", shown(domainOf(r.From)), shown(domain))
			}
			if dmarc == "" || dmarc == authres.ResultPass {
				dmarc = string(r.Value)
			}
		case *authres.DKIMResult:
			signer := r.Domain
			if signer == "" {
				signer = domainOf(r.Identifier)
			}
			if r.Value == authres.ResultPass && strings.EqualFold(signer, domain) {
				dkim = true
			}
		}
	}
	switch {
	case dmarc == authres.ResultPass:
		return ""
	case dmarc == authres.ResultFail:
		return "not authenticated: DMARC failed"
	case dkim: // DMARC is not set up for the domain, or could not be looked up
		return ""
	}
	return fmt.Sprintf("not authenticated: neither DMARC nor a DKIM signature of %s passed", shown(domain))
}

// failed reports whether the trusted server says that m is forged, which no
// token outweighs.
func failed(m Mail, authservID string) bool {
	rs, ok, err := results(m, authservID)
	if !ok {
		return false
	}
	return err != nil || slices.ContainsFunc(rs, func(r authres.Result) bool {
		d, ok := r.(*authres.DMARCResult)
		return ok && d.Value == authres.ResultFail
	})
}

func domainOf(addr string) string { return addr[strings.LastIndexByte(addr, '@')+1:] }

// bare rewrites an Authentication-Results field for a parser that knows
// neither comments nor quoted strings nor space around "=" and "/": without
// the first, with the second's specials made harmless, without the third. A
// method's version is left out. An unbalanced comment or quote is an error.
func bare(v string) (string, error) {
	var b strings.Builder
	depth, quote := 0, false
	for i := 0; i < len(v); i++ {
		c := v[i]
		switch {
		case c == '\\' && (quote || depth > 0):
			i++
			if quote && i < len(v) {
				b.WriteByte(harmless(v[i]))
			}
		case c == '"' && depth == 0:
			quote = !quote
		case quote:
			b.WriteByte(harmless(c))
		case c == '(':
			depth++
		case c == ')':
			if depth--; depth < 0 {
				return "", fmt.Errorf("%q closes a comment that is not open", v)
			}
			b.WriteByte(' ')
		case depth == 0:
			b.WriteByte(c)
		}
	}
	if quote || depth > 0 {
		return "", fmt.Errorf("%q does not end what it opens", v)
	}
	var out []string
	for i, part := range strings.Split(b.String(), ";") {
		if i > 0 {
			part = strings.Join(strings.Fields(strings.ReplaceAll(part, "=", " = ")), " ")
			part = strings.ReplaceAll(part, " = ", "=")
			method, rest, found := strings.Cut(part, "=")
			if found {
				method, _, _ = strings.Cut(method, "/")
				part = strings.TrimSpace(method) + "=" + rest
			}
		}
		out = append(out, part)
	}
	return strings.Join(out, ";"), nil
}

// harmless replaces what separates words and results.
func harmless(c byte) byte {
	switch c {
	case ' ', '\t', ';', '=', '(', ')', '"':
		return '_'
	}
	return c
}

// shown quotes foreign text for a sentence, shortened.
func shown(s string) string {
	if r := []rune(s); len(r) > 80 {
		s = string(r[:80]) + "..."
	}
	return fmt.Sprintf("%q", s)
}
