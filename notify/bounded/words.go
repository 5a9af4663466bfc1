package bounded

import (
	"encoding/base64"
	"net/url"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// MaxWords is the limit of the words of a server in an error or a log, in
// characters.
const MaxWords = 300

// Words makes words of a server fit to be shown to people: one line of at most
// [MaxWords] characters, without the secrets. Control characters, characters
// that change the direction of writing, and bytes that are not UTF-8 become a
// question mark; line breaks become a space.
func Words(text string, secrets Secrets) string {
	var out strings.Builder
	n, space := 0, false
	for _, r := range secrets.hide(text) {
		if unicode.IsSpace(r) {
			space = n > 0
			continue
		}
		if r == utf8.RuneError || !unicode.IsPrint(r) { // Cc and Cf are not printable
			r = '?'
		}
		if space && n < MaxWords-2 {
			out.WriteByte(' ')
			n++
		}
		space = false
		if n >= MaxWords-1 {
			out.WriteRune('…')
			break
		}
		out.WriteRune(r)
		n++
	}
	return out.String()
}

// Secrets are patterns of the forms of a password that must not be shown.
type Secrets []*regexp.Regexp

// NewSecrets returns the forms in which a server may repeat a password: as it
// is, as a quoted string, in an address, and in base64 within any longer text.
func NewSecrets(password string) Secrets {
	if password == "" {
		return nil
	}
	var encoded, plain []string
	// Within a longer text, the password can begin at each of the three bytes
	// that make four characters of base64. Characters that also depend on a
	// neighbour are not compared.
	for before := range 3 {
		bits := 8 * (before + len(password))
		text := append(make([]byte, before), password...)
		for _, e := range []*base64.Encoding{base64.RawStdEncoding, base64.RawURLEncoding} {
			if inner := e.EncodeToString(text)[(8*before+5)/6 : bits/6]; len(inner) >= minInner {
				encoded = append(encoded, regexp.QuoteMeta(inner))
			}
		}
	}
	for _, e := range []*base64.Encoding{base64.StdEncoding, base64.URLEncoding} {
		encoded = append(encoded, regexp.QuoteMeta(e.EncodeToString([]byte(password))))
	}
	for _, form := range []string{
		strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(password), // RFC 9051, section 4.3
		url.QueryEscape(password), url.PathEscape(password), password,
	} {
		plain = append(plain, regexp.QuoteMeta(form))
	}
	return Secrets{
		regexp.MustCompile(`[A-Za-z0-9+/_=-]*(?:` + strings.Join(encoded, "|") + `)[A-Za-z0-9+/_=-]*`),
		regexp.MustCompile(strings.Join(plain, "|")),
	}
}

// minInner is the shortest part of base64 that is hidden. Shorter parts occur
// by chance.
const minInner = 5

func (s Secrets) hide(text string) string {
	for _, form := range s {
		text = form.ReplaceAllLiteralString(text, "[password]")
	}
	return text
}
