package reply

import (
	"strings"

	"nestround/notify"
)

// Issues finds the digests that were sent. ok is false for a digest that nobody
// remembers.
type Issues interface {
	ByID(id string) (issue notify.Issue, ok bool)
	ByToken(token string) (issue notify.Issue, ok bool)
	ByMessageID(id string) (issue notify.Issue, ok bool)
}

// Carrier is a mark by which a mail names the digest it answers.
type Carrier string

// The carriers, strongest first.
const (
	ByAddress   Carrier = "address"    // the token in the recipient's address
	ByMessageID Carrier = "message-id" // In-Reply-To or References
	BySubject   Carrier = "subject"    // the tag in the subject
	ByMarker    Carrier = "marker"     // the digest's marker line in the quote
)

// Match is the digest that a mail answers.
type Match struct {
	Issue    notify.Issue
	Carriers []Carrier // the carriers that name this digest, strongest first
	// Token says that the mail has this digest's token, in the address or in
	// the marker line. The token proves that the writer has had the digest.
	Token bool
	// Conflict has the carriers that name another digest.
	Conflict []Carrier
}

// Identify finds the digest that m answers. ok is false if no carrier names a
// digest. A single carrier is enough. If two carriers name different digests,
// for example after a new subject in an old thread, the stronger carrier
// counts. If a carrier names several digests, the first known digest counts.
// References are read from the last entry, which is the mail that was answered.
func Identify(m Mail, issues Issues) (match Match, ok bool) {
	found := func(c Carrier, issue notify.Issue) {
		switch {
		case !ok:
			match.Issue, ok = issue, true
			match.Carriers = append(match.Carriers, c)
		case match.Issue.ID == issue.ID:
			match.Carriers = append(match.Carriers, c)
		default:
			match.Conflict = append(match.Conflict, c)
		}
	}
	tokens := make(map[string]bool) // ids of the digests whose token the mail has
	if issue, ok := byAddress(m, issues); ok {
		found(ByAddress, issue)
		tokens[issue.ID] = true
	}
	if issue, ok := byMessageID(m, issues); ok {
		found(ByMessageID, issue)
	}
	if id, ok := notify.SubjectID(m.Subject); ok {
		if issue, ok := issues.ByID(id); ok {
			found(BySubject, issue)
		}
	}
	if issue, ok := byMarker(m, issues); ok {
		found(ByMarker, issue)
		tokens[issue.ID] = true
	}
	match.Token = ok && tokens[match.Issue.ID]
	return match, ok
}

func byAddress(m Mail, issues Issues) (notify.Issue, bool) {
	for _, addr := range m.Recipients {
		if token, ok := notify.AddressToken(addr); ok {
			if issue, ok := issues.ByToken(token); ok {
				return issue, true
			}
		}
	}
	return notify.Issue{}, false
}

func byMessageID(m Mail, issues Issues) (notify.Issue, bool) {
	for _, id := range m.InReplyTo {
		if issue, ok := issues.ByMessageID(id); ok {
			return issue, true
		}
	}
	for i := len(m.References) - 1; i >= 0; i-- {
		if issue, ok := issues.ByMessageID(m.References[i]); ok {
			return issue, true
		}
	}
	return notify.Issue{}, false
}

// byMarker finds the digest by a marker line. It also looks at quotes, because
// an answer quotes the marker. The first marker is from the latest digest;
// later markers are quotes within that digest. A mail program may have cut a
// long line in two.
func byMarker(m Mail, issues Issues) (notify.Issue, bool) {
	for i, line := range m.Lines {
		id, token, ok := notify.Marker(line)
		if !ok && i+1 < len(m.Lines) && len(line)+len(m.Lines[i+1]) < 200 {
			id, token, ok = notify.Marker(line + " " + strings.TrimLeft(m.Lines[i+1], "> \t"))
		}
		if !ok {
			continue
		}
		if issue, ok := issues.ByToken(token); ok && issue.ID == id {
			return issue, true
		}
	}
	return notify.Issue{}, false
}
