package notify

import (
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
)

// An answer carries four marks of its digest, and any one of them is enough to
// find the digest: the token in the Reply-To address, the Message-ID, a tag in
// the subject, and a line in the text. Each mark can get lost: providers
// replace the Message-ID, some servers do not deliver plus addresses, people
// change subjects and delete quotes. The functions below write these marks and
// read them back.

// An id alternates letters and digits, so an id is never a word or a number. An
// id has no characters that people confuse: B I L O S U V Z, 0 and 1. There are
// 18*8*18*8 = 20,736 ids, enough for 56 years of mornings.
const (
	idLetters = "ACDEFGHJKMNPQRTWXY"
	idDigits  = "23456789"
	idPattern = "[A-Z][0-9][A-Z][0-9]"
)

// A token has 26 letters of base 32, that is 130 bits. A token is lower case,
// because some servers turn the local part of an address into lower case.
const (
	tokenLetters = "abcdefghijklmnopqrstuvwxyz234567"
	tokenLength  = 26
	tokenPattern = "[a-z2-7]{26}"
)

// NewIssueID makes an id such as K7Q2 for which taken returns false. It fails
// if reading random fails, or if a thousand attempts find no free id.
func NewIssueID(random io.Reader, taken func(id string) bool) (string, error) {
	for range 1000 {
		var id strings.Builder
		for _, from := range []string{idLetters, idDigits, idLetters, idDigits} {
			c, err := pick(random, from)
			if err != nil {
				return "", fmt.Errorf("make an id for the digest: %w", err)
			}
			id.WriteByte(c)
		}
		if !taken(id.String()) {
			return id.String(), nil
		}
	}
	return "", errors.New("make an id for the digest: found none that is free; forget some old digests")
}

// NewToken makes the token of an issue from 26 random letters and digits.
func NewToken(random io.Reader) (string, error) {
	var token strings.Builder
	for range tokenLength {
		c, err := pick(random, tokenLetters)
		if err != nil {
			return "", fmt.Errorf("make a token for the digest: %w", err)
		}
		token.WriteByte(c)
	}
	return token.String(), nil
}

// pick returns one byte of from, each with the same probability.
func pick(random io.Reader, from string) (byte, error) {
	even := 256 - 256%len(from)
	for {
		var b [1]byte
		if _, err := io.ReadFull(random, b[:]); err != nil {
			return 0, err
		}
		if int(b[0]) < even {
			return from[int(b[0])%len(from)], nil
		}
	}
}

// SubjectTag returns the tag that ends a digest's subject: "[#K7Q2]".
func SubjectTag(id string) string { return "[#" + id + "]" }

var subjectTag = regexp.MustCompile(`\[#(` + idPattern + `)\]`)

// SubjectID finds the first tag in a subject and returns the id in it.
func SubjectID(subject string) (id string, ok bool) {
	m := subjectTag.FindStringSubmatch(strings.ToUpper(subject))
	if m == nil {
		return "", false
	}
	return m[1], true
}

// PlusAddress puts a token into an address, which may have a display name
// before it: "local@domain" becomes "local+d.TOKEN@domain". An address without
// an @ is returned unchanged.
func PlusAddress(addr, token string) string {
	i := strings.LastIndexByte(addr, '@')
	if i < 0 {
		return addr
	}
	if i > 0 && addr[i-1] == '"' { // a quoted local part
		i--
	}
	return addr[:i] + "+d." + token + addr[i:]
}

var plusToken = regexp.MustCompile(`\+d\.(` + tokenPattern + `)"?@`)

// AddressToken finds the token in an address made by PlusAddress.
func AddressToken(addr string) (token string, ok bool) {
	m := plusToken.FindStringSubmatch(strings.ToLower(addr))
	if m == nil {
		return "", false
	}
	return m[1], true
}

// MarkerLine returns the line of text that identifies a quoted digest: "Ref
// K7Q2 abcdefghijklmnopqrstuvwxyz".
func MarkerLine(id, token string) string { return "Ref " + id + " " + token }

var marker = regexp.MustCompile(`(?i)(?:^|[^\pL\pN])ref[\s\x{a0}]+(` + idPattern + `)[\s\x{a0}]+(` + tokenPattern + `)(?:$|[^\pL\pN])`)

// Marker finds a marker line in a line of text, even if a mail program has
// changed the spaces, the case or the text around it.
func Marker(line string) (id, token string, ok bool) {
	m := marker.FindStringSubmatch(line)
	if m == nil {
		return "", "", false
	}
	return strings.ToUpper(m[1]), strings.ToLower(m[2]), true
}
