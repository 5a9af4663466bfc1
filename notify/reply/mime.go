package reply

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/mail"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/emersion/go-message"
	_ "github.com/emersion/go-message/charset" // the charsets that mail comes in
)

// Limits of a mail. Whatever exceeds one is not read in part: half a command
// can be another command.
const (
	maxMessage    = 1 << 20   // bytes of a mail
	maxHeaderLine = 8 << 10   // bytes of a line of the header
	maxHeader     = 64 << 10  // bytes of the header
	maxAddress    = 1 << 10   // bytes of a field of addresses; also of a subject
	maxDepth      = 20        // parts within parts
	maxParts      = 100       // parts in all
	maxDecoded    = 256 << 10 // bytes of text, decoded
	maxReferences = 200       // message ids of one field
)

// Mail is a mail as far as an answer's reader needs it. [Read] makes it.
type Mail struct {
	// MessageID is without angle brackets; "sha256:" and a digest of From,
	// Date and body where the mail has none. It tells a repetition.
	MessageID string
	// From is the one address in the one From field, as it was written; ""
	// where the field is missing or no program would agree on how to read it.
	From      string
	FromField string // the field itself, for looking at machines
	// Recipients are the addresses in To, Cc, Delivered-To, X-Original-To and
	// the like: any of them may carry the token.
	Recipients []string
	Subject    string    // decoded
	Date       time.Time // the field's; zero where it cannot be read
	InReplyTo  []string  // message ids without brackets
	References []string  // message ids without brackets, oldest first

	// What Judge looks at.
	MediaType   string            // of the whole mail, lower case: "multipart/report"
	ReportType  string            // parameter report-type, lower case
	NullReturn  bool              // Return-Path is there and empty: a bounce, or a machine's answer
	AuthResults []string          // the Authentication-Results fields, topmost first
	machine     map[string]string // the header fields that betray machines, where present

	// Lines is the text, decoded, in the order it is read on a screen. Quotes
	// keep their ">" marks; what an HTML mail sets apart as a quote or a
	// signature gets them.
	Lines []string
	// Trouble says why Lines is empty although the mail may hold text: "its
	// quoted-printable encoding is damaged". "" where it was read.
	Trouble string
}

// Read reads a mail: its header, and its text with transfer encoding, charset
// and flowed lines (RFC 3676) undone. Plain text is preferred to HTML, and
// attachments are never opened. An error means that the bytes are not a mail
// to be judged at all: too large, a header that cannot be read, more than one
// author. A mail whose text cannot be read is no error but has Trouble.
func Read(raw []byte) (Mail, error) {
	if len(raw) > maxMessage {
		return Mail{}, fmt.Errorf("read a mail: it is larger than %d KiB", maxMessage>>10)
	}
	// Mails saved by old programs end their lines with CR alone, which would
	// make the whole mail one line of the header.
	raw = bytes.ReplaceAll(raw, []byte("\r\n"), []byte("\n"))
	raw = bytes.ReplaceAll(raw, []byte("\r"), []byte("\n"))
	header, body, found := bytes.Cut(raw, []byte("\n\n"))
	if !found {
		header, body = bytes.TrimRight(raw, "\n"), nil
	}
	if len(header) > maxHeader {
		return Mail{}, fmt.Errorf("read a mail: its header is larger than %d KiB", maxHeader>>10)
	}
	for line := range bytes.Lines(header) {
		if len(line) > maxHeaderLine {
			return Mail{}, fmt.Errorf("read a mail: a line of its header is longer than %d KiB", maxHeaderLine>>10)
		}
	}
	e, err := message.Read(io.MultiReader(bytes.NewReader(header), strings.NewReader("\n\n"), bytes.NewReader(body)))
	if e == nil {
		return Mail{}, fmt.Errorf("read a mail's header: %w", err)
	}
	m, headErr := readHeader(e.Header)
	if headErr != nil {
		return Mail{}, fmt.Errorf("read a mail's header: %w", headErr)
	}
	if m.MessageID == "" {
		h := sha256.New()
		fmt.Fprintf(h, "%s\n%s\n", m.FromField, e.Header.Get("Date"))
		h.Write(body)
		m.MessageID = "sha256:" + hex.EncodeToString(h.Sum(nil))
	}
	r := textReader{}
	t, textErr := r.text(e, err, 0)
	switch {
	case textErr != nil:
		m.Trouble = textErr.Error()
	case t.lines == nil && r.skipped != nil:
		m.Trouble = r.skipped.Error()
	case t.lines == nil:
		m.Trouble = "it holds no text"
	default:
		m.Lines = t.lines
	}
	return m, nil
}

var (
	messageID = regexp.MustCompile(`<([^<>\s]+)>`)
	// anAddress finds addresses wherever they stand. It need not know the
	// whole grammar: what is looked for in them is a token nobody can guess.
	anAddress = regexp.MustCompile(`[^\s<>,;:"()]+@[^\s<>,;:"()]+`)
)

// machineFields are the header fields that mail of machines carries; judge.go
// says what each means.
var machineFields = []string{
	"Auto-Submitted", "X-Apple-Action", "X-Failed-Recipients", "Precedence", "List-Id",
	"X-Autoreply", "X-Autorespond", "X-Auto-Reply-From", "X-Mail-Autoreply",
}

func readHeader(h message.Header) (Mail, error) {
	var m Mail
	from := h.Values("From")
	if len(from) > 1 {
		return Mail{}, fmt.Errorf("it has %d From fields where one is allowed", len(from))
	}
	if len(from) == 1 {
		m.FromField = from[0]
		if len(from[0]) > maxAddress {
			return Mail{}, fmt.Errorf("its From field is longer than %d bytes", maxAddress)
		}
		list, err := mail.ParseAddressList(from[0])
		if err == nil && len(list) > 1 {
			return Mail{}, fmt.Errorf("its From field names %d people where one is allowed", len(list))
		}
		if err == nil && len(list) == 1 {
			m.From = list[0].Address
		}
	}
	for _, key := range []string{"To", "Cc", "Delivered-To", "X-Original-To", "X-Delivered-To", "Envelope-To"} {
		for _, v := range h.Values(key) {
			if len(v) <= maxHeaderLine {
				m.Recipients = append(m.Recipients, anAddress.FindAllString(v, -1)...)
			}
		}
	}
	if s := h.Get("Subject"); len(s) <= maxAddress {
		// With an unknown charset the text is the field as it stands, which
		// still holds a tag that stands in it.
		m.Subject, _ = h.Text("Subject")
	}
	if d := h.Get("Date"); len(d) <= 128 {
		m.Date, _ = mail.ParseDate(d)
	}
	if ids := messageIDs(h, "Message-Id"); len(ids) > 0 && len(ids[0]) <= maxAddress {
		m.MessageID = ids[0]
	}
	m.InReplyTo = messageIDs(h, "In-Reply-To")
	m.References = messageIDs(h, "References")
	if v := h.Values("Return-Path"); len(v) > 0 {
		m.NullReturn = strings.Trim(v[0], "<> \t") == ""
	}
	t, params, err := h.ContentType()
	if err == nil {
		m.MediaType, m.ReportType = t, strings.ToLower(params["report-type"])
	}
	// All of them, however long: leaving the topmost out would promote the next.
	m.AuthResults = h.Values("Authentication-Results")
	m.machine = make(map[string]string)
	for _, key := range machineFields {
		if v := h.Values(key); len(v) > 0 {
			m.machine[key] = strings.TrimSpace(v[0])
		}
	}
	return m, nil
}

func messageIDs(h message.Header, key string) []string {
	var ids []string
	for _, m := range messageID.FindAllStringSubmatch(h.Get(key), maxReferences) {
		ids = append(ids, m[1])
	}
	return ids
}

// text is what a part says: nil lines for nothing. Plain is preferred to what
// was HTML.
type text struct {
	lines []string
	plain bool
}

func (t text) blank() bool {
	return !slices.ContainsFunc(t.lines, func(l string) bool { return strings.TrimSpace(l) != "" })
}

// textReader walks through the parts of one mail.
type textReader struct {
	parts, decoded int
	skipped        error // why a part that might have been the text was left out
}

// text returns the text of e, found depth levels deep. openErr is what opening
// e said: an entity may come with an error and still be readable. An error
// means that the mail's text as a whole must not be used.
func (r *textReader) text(e *message.Entity, openErr error, depth int) (text, error) {
	if r.parts++; r.parts > maxParts {
		return text{}, fmt.Errorf("it has more than %d parts", maxParts)
	}
	if depth > maxDepth {
		return text{}, fmt.Errorf("its parts are nested more than %d deep", maxDepth)
	}
	// An unparseable type is text/plain (RFC 2045, section 5.2).
	mediaType, params, err := e.Header.ContentType()
	if err != nil {
		mediaType, params = "text/plain", nil
	}
	disposition, dispositionParams, _ := e.Header.ContentDisposition()
	if strings.EqualFold(disposition, "attachment") || dispositionParams["filename"] != "" {
		return text{}, nil
	}
	if mr := e.MultipartReader(); mr != nil {
		return r.multipart(mr, strings.TrimPrefix(mediaType, "multipart/"), depth)
	}
	if mediaType != "text/plain" && mediaType != "text/html" {
		return text{}, nil
	}
	if message.IsUnknownEncoding(openErr) {
		r.skipped = fmt.Errorf("its transfer encoding %q is not known", e.Header.Get("Content-Transfer-Encoding"))
		return text{}, nil
	}
	// An unknown charset is read as if it were UTF-8: commands are ASCII in
	// nearly all of them.
	b, err := io.ReadAll(io.LimitReader(e.Body, int64(maxDecoded-r.decoded+1)))
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return text{}, errors.New("it is cut off")
	}
	if err != nil {
		return text{}, fmt.Errorf("its %s encoding is damaged", cmp.Or(e.Header.Get("Content-Transfer-Encoding"), "text"))
	}
	if r.decoded += len(b); r.decoded > maxDecoded {
		return text{}, fmt.Errorf("its text is longer than %d KiB", maxDecoded>>10)
	}
	s := strings.ToValidUTF8(string(b), "\uFFFD")
	s = strings.ReplaceAll(strings.ReplaceAll(s, "\r\n", "\n"), "\r", "\n")
	s = strings.TrimPrefix(s, "\uFEFF")
	if mediaType == "text/html" {
		lines, err := htmlLines(s)
		if err != nil {
			return text{}, fmt.Errorf("its HTML cannot be read: %w", err)
		}
		return text{lines: lines}, nil
	}
	lines := strings.Split(strings.TrimSuffix(s, "\n"), "\n")
	if strings.EqualFold(params["format"], "flowed") {
		lines = unflow(lines, strings.EqualFold(params["delsp"], "yes"))
	}
	return text{lines: lines, plain: true}, nil
}

// multipart joins the text of parts: of alternatives the best one, of others
// all that is shown, one after another.
func (r *textReader) multipart(mr message.MultipartReader, subtype string, depth int) (text, error) {
	var all, best text
	all.plain = true
	for {
		part, err := mr.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		// A part may come with an error that does not keep it from being
		// read, or without a part, whatever the documentation says.
		if part == nil {
			if errors.Is(err, io.ErrUnexpectedEOF) {
				return text{}, errors.New("it is cut off")
			}
			return text{}, errors.New("its parts are damaged")
		}
		t, err := r.text(part, err, depth+1)
		if err != nil {
			return text{}, err
		}
		if t.lines == nil {
			continue
		}
		if better := best.lines == nil || best.blank() || t.plain && !best.plain; better && !(t.blank() && !best.blank()) {
			best = t
		}
		all.lines = append(all.lines, t.lines...)
		all.plain = all.plain && t.plain
	}
	if subtype == "alternative" {
		return best, nil
	}
	if all.lines == nil {
		return text{}, nil
	}
	return all, nil
}

// unflow joins lines that RFC 3676 calls flowed: those that end in a space and
// are followed by one of the same quote depth. The quote marks of a joined
// line stand before it once.
func unflow(lines []string, delSp bool) []string {
	var out []string
	var para strings.Builder
	open, depth := false, 0
	end := func() {
		if open {
			out = append(out, quoted(depth, para.String()))
			para.Reset()
			open = false
		}
	}
	for _, line := range lines {
		rest := strings.TrimLeft(line, ">")
		d := len(line) - len(rest)
		rest = strings.TrimPrefix(rest, " ") // stuffed, section 4.4
		if open && d != depth {
			end() // section 4.5: wrong, but happens
		}
		if rest == "-- " { // the signature's separator is never flowed, section 4.3
			end()
			out = append(out, quoted(d, rest))
			continue
		}
		depth, open = d, true
		flowed := strings.HasSuffix(rest, " ")
		if flowed && delSp {
			rest = rest[:len(rest)-1]
		}
		para.WriteString(rest)
		if !flowed {
			end()
		}
	}
	end()
	return out
}

// quoted puts depth quote marks before a line.
func quoted(depth int, line string) string {
	if depth == 0 {
		return line
	}
	return strings.Repeat(">", depth) + " " + line
}
