package reply

import (
	"fmt"
	"slices"
	"strings"

	"github.com/emersion/go-msgauth/authres"
)

// Policy says which mails count as a keeper's word.
type Policy struct {
	Keepers []string // bare addresses, in any case
	// AuthservID is the name that the keeper's own mail server writes into
	// Authentication-Results (RFC 8601, section 2.5). That server must remove
	// fields with its name from incoming mail (section 5). With "", no such
	// field is believed.
	AuthservID string
	// TokenSuffices accepts a keeper's address together with a digest's token,
	// without authentication. It is for mail between folders of one account,
	// because such mail passes no server that could authenticate it.
	TokenSuffices bool
	// Own knows the Message-IDs of the program's own mails; nil knows none.
	Own func(messageID string) bool
}

// Verdict is the decision about a mail.
type Verdict struct {
	Accepted bool
	Ignored  string // reason why the mail is not accepted; "" if it is accepted
	// Unproven says that the mail has a keeper's address without proof: a
	// forgery, or a reply that went through the wrong server. The keeper should
	// be told about the mail, but not its content.
	Unproven bool
	// Automatic says that a machine wrote the mail, or this program itself.
	// Nobody is told about such a mail.
	Automatic bool
}

// MayAnswer reports whether the program may answer the mail, whose text was
// read as p. The program must never answer a machine or a stranger, and never a
// mail that has no command and no obvious attempt at a command. Two machines
// that answer each other never stop (RFC 3834, section 2). The caller must also
// limit answers to one per mail and a few per day.
func (v Verdict) MayAnswer(p Parsed) bool {
	return v.Accepted && (len(p.Commands) > 0 || p.meant)
}

// Judge decides whether m was written by a keeper. token says that m carries
// the token of the digest that m answers (see [Match]).
func Judge(m Mail, p Policy, token bool) Verdict {
	if p.Own != nil && p.Own(m.MessageID) {
		return Verdict{Ignored: "the program's own mail", Automatic: true}
	}
	if why := machine(m); why != "" {
		return Verdict{Ignored: why, Automatic: true}
	}
	if why := stranger(m, p, token); why != "" {
		return Verdict{Ignored: why, Unproven: isKeeper(m, p)}
	}
	return Verdict{Accepted: true}
}

// machine says what kind of machine wrote m; "" if a person wrote it.
//
// It ignores X-Auto-Response-Suppress, because Exchange also sets it on mails
// from people.
func machine(m Mail) string {
	for _, sign := range []func(Mail) string{report, serverNotice, automatic, vacation} {
		if why := sign(m); why != "" {
			return why
		}
	}
	return ""
}

// report recognises reports about the delivery of a mail.
func report(m Mail) string {
	switch {
	case m.MediaType != "multipart/report":
	case m.ReportType == "delivery-status": // RFC 3464, section 2
		return "a delivery report"
	case m.ReportType == "disposition-notification": // RFC 8098, section 3
		return "a read receipt"
	default:
		return "a report by a machine" // RFC 6522
	}
	if m.NullReturn {
		// RFC 5321, section 4.5.5: an empty Return-Path prevents answers.
		return "a report by a machine: its Return-Path is empty"
	}
	if _, ok := m.machine["X-Failed-Recipients"]; ok {
		return "a delivery report: it has X-Failed-Recipients"
	}
	return ""
}

// serverNotice recognises the notices of mail servers by their sender.
func serverNotice(m Mail) string {
	local, _, _ := strings.Cut(m.From, "@")
	if m.From == "" {
		local = strings.TrimSpace(m.FromField)
	}
	if local = strings.ToLower(local); local == "mailer-daemon" || local == "postmaster" ||
		m.From == "" && strings.Contains(local, "mailer-daemon") {
		return "a mail server's notice"
	}
	return ""
}

// automatic recognises mails that declare themselves automatic, and mailing
// lists.
func automatic(m Mail) string {
	if v, ok := m.machine["Auto-Submitted"]; ok {
		// Any value except "no" means an automatic mail (RFC 3834, section 5).
		// Parameters and comments after the value do not count.
		v, _, _ = strings.Cut(v, ";")
		v, _, _ = strings.Cut(v, "(")
		if v = strings.ToLower(strings.TrimSpace(v)); v != "no" {
			return fmt.Sprintf("an automatic mail: Auto-Submitted is %s", shown(v))
		}
	}
	if strings.HasPrefix(strings.ToUpper(m.machine["X-Apple-Action"]), "VACATION") {
		// iCloud's automatic answers have no Auto-Submitted and look like a
		// person's mail.
		return "an automatic answer: X-Apple-Action is VACATION"
	}
	// RFC 3834, section 2 and common practice.
	switch v := strings.ToLower(m.machine["Precedence"]); v {
	case "bulk", "junk", "list", "auto_reply":
		return fmt.Sprintf("an automatic mail: Precedence is %s", v)
	}
	if _, ok := m.machine["List-Id"]; ok {
		return "a mailing list's mail"
	}
	return ""
}

// vacation recognises automatic answers that are not declared as RFC 3834
// demands.
func vacation(m Mail) string {
	// Several vacation programs write these (common practice).
	for _, key := range []string{"X-Autoreply", "X-Autorespond", "X-Auto-Reply-From", "X-Mail-Autoreply"} {
		if _, ok := m.machine[key]; ok {
			return fmt.Sprintf("an automatic answer: it has %s", key)
		}
	}
	// Exchange puts these words before the subject of automatic answers. A rule
	// that a person made there may set no header field at all.
	subject := FoldLine(m.Subject)
	for _, s := range []string{"automatic reply:", "automatische antwort:", "réponse automatique", "respuesta automática:", "out of office:"} {
		if strings.HasPrefix(subject, s) {
			return "an automatic answer, by its subject"
		}
	}
	return ""
}

// stranger returns the reason why m is not believed to be a keeper's; "" if it
// is.
func stranger(m Mail, p Policy, token bool) string {
	if m.From == "" {
		return "it has no From address that can be read"
	}
	// The case of a domain never matters (RFC 5321, section 2.4). The case of a
	// local part matters only in theory.
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

// results returns the results of the trusted server. It takes the topmost field
// with that server's name, because each server writes above the fields it
// received. ok is false if there is no such field.
func results(m Mail, authservID string) (rs []authres.Result, ok bool, err error) {
	if authservID == "" {
		return nil, false, nil
	}
	for _, v := range m.AuthResults {
		clean, err := bare(v)
		if err != nil {
			// The field cannot be read, so nobody knows which server wrote it.
			// It may be the trusted server's field, damaged by text of the
			// sender that the server copied. In that case, the sender may have
			// written the fields below.
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

// unauthenticated returns the reason why m is not proven to come from its From
// domain; "" if it is proven.
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
	dmarc, dkim, why := verdicts(rs, domain)
	switch {
	case why != "":
		return why
	case dmarc == authres.ResultPass:
		return ""
	case dmarc == authres.ResultFail:
		return "not authenticated: DMARC failed"
	case dkim: // the domain has no DMARC, or it could not be looked up
		return ""
	}
	return fmt.Sprintf("not authenticated: neither DMARC nor a DKIM signature of %s passed", shown(domain))
}

// verdicts returns the result of DMARC, and whether a DKIM signature of the
// domain passed. why is a reason to trust none of the results, or "".
func verdicts(rs []authres.Result, domain string) (dmarc authres.ResultValue, dkim bool, why string) {
	for _, r := range rs {
		switch r := r.(type) {
		case *authres.DMARCResult:
			// Every result must be about the mail's author, and must pass: a
			// single false result could come from text of the sender that the
			// server copied.
			if !strings.EqualFold(domainOf(r.From), domain) {
				return "", false, fmt.Sprintf("not authenticated: DMARC was checked for %s, not %s", shown(domainOf(r.From)), shown(domain))
			}
			if dmarc == "" || dmarc == authres.ResultPass {
				dmarc = r.Value
			}
		case *authres.DKIMResult:
			signer := r.Domain
			if signer == "" {
				signer = domainOf(r.Identifier)
			}
			dkim = dkim || r.Value == authres.ResultPass && strings.EqualFold(signer, domain)
		}
	}
	return dmarc, dkim, ""
}

// failed reports whether the trusted server says that m is forged. Such a mail
// is refused even if it has a token.
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

// bare rewrites an Authentication-Results field for a parser that does not know
// comments, quoted strings, or space around "=" and "/". It removes comments,
// replaces special characters in quoted strings, and removes that space. It
// drops the version of a method. An unbalanced comment or quote is an error.
func bare(v string) (string, error) {
	plain, err := withoutComments(v)
	if err != nil {
		return "", err
	}
	parts := strings.Split(plain, ";")
	for i, part := range parts[1:] {
		part = strings.Join(strings.Fields(strings.ReplaceAll(part, "=", " = ")), " ")
		part = strings.ReplaceAll(part, " = ", "=")
		if method, rest, found := strings.Cut(part, "="); found {
			method, _, _ = strings.Cut(method, "/")
			part = strings.TrimSpace(method) + "=" + rest
		}
		parts[1+i] = part
	}
	return strings.Join(parts, ";"), nil
}

// withoutComments removes the comments and the quotation marks of a field, and
// the special characters between the marks.
func withoutComments(v string) (string, error) {
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
	return b.String(), nil
}

// harmless replaces characters that separate words and results.
func harmless(c byte) byte {
	switch c {
	case ' ', '\t', ';', '=', '(', ')', '"':
		return '_'
	}
	return c
}

// shown shortens foreign text and quotes it for use in a sentence.
func shown(s string) string {
	if r := []rune(s); len(r) > 80 {
		s = string(r[:80]) + "..."
	}
	return fmt.Sprintf("%q", s)
}
