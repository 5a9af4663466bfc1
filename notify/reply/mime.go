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
	_ "github.com/emersion/go-message/charset" // the character sets of incoming mail
)

// The limits of a mail. If a mail exceeds any limit, no part of its text is
// used, because half a command can be another command.
const (
	maxMessage    = 1 << 20   // bytes of a mail
	maxHeaderLine = 8 << 10   // bytes of a line of the header
	maxHeader     = 64 << 10  // bytes of the header
	maxAddress    = 1 << 10   // bytes of a field of addresses, or of a subject
	maxDepth      = 20        // levels of nested parts
	maxParts      = 100       // parts in all
	maxDecoded    = 256 << 10 // bytes of decoded text
	maxReferences = 200       // message ids in a field
)

// Mail has the parts of a mail that matter for an answer. [Read] makes it.
type Mail struct {
	// MessageID is the Message-ID without angle brackets. If the mail has none,
	// MessageID is "sha256:" and a hash of From, Date and body. Copies of a
	// mail have the same MessageID.
	MessageID string
	// From is the only address in the only From field, as written. It is "" if
	// the field is missing or programs would disagree on how to read it.
	From      string
	FromField string // the whole field, for recognising machines
	// Recipients are the addresses in To, Cc, Delivered-To, X-Original-To and
	// similar fields. Any of them may carry the token.
	Recipients []string
	Subject    string    // decoded
	Date       time.Time // value of the Date field; zero if it cannot be read
	InReplyTo  []string  // Message-IDs without brackets
	References []string  // Message-IDs without brackets, oldest first

	// The following fields are for Judge.
	MediaType   string            // of the whole mail, lower case: "multipart/report"
	ReportType  string            // parameter report-type, lower case
	NullReturn  bool              // Return-Path is present and empty: a bounce, or a machine's answer
	AuthResults []string          // the Authentication-Results fields, topmost first
	machine     map[string]string // the header fields that reveal machines, if present

	// Lines is the decoded text in reading order. Quotes keep their ">" marks.
	// Text that an HTML mail marks as a quote or a signature gets ">" marks
	// too.
	Lines []string
	// Trouble says why Lines is empty although the mail may have text: "its
	// quoted-printable encoding is damaged". It is "" if the text was read.
	Trouble string
}

// Read reads a mail: its header, and its text after decoding the transfer
// encoding, the character set and flowed lines (RFC 3676). It prefers plain
// text to HTML and never opens attachments. An error means that the bytes
// cannot be judged as a mail: too large, an unreadable header, or more than one
// author. A mail with an unreadable text gives no error but sets Trouble.
func Read(raw []byte) (Mail, error) {
	if len(raw) > maxMessage {
		return Mail{}, fmt.Errorf("read a mail: it is larger than %d KiB", maxMessage>>10)
	}
	// Old programs end lines with CR alone, which would make the whole mail a
	// single line of the header.
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
	// anAddress finds addresses anywhere in a field. It need not know the whole
	// grammar of addresses, because it only serves to find a token that nobody
	// can guess.
	anAddress = regexp.MustCompile(`[^\s<>,;:"()]+@[^\s<>,;:"()]+`)
)

// machineFields are the header fields of mails from machines. judge.go explains
// each.
var machineFields = []string{
	"Auto-Submitted", "X-Apple-Action", "X-Failed-Recipients", "Precedence", "List-Id",
	"X-Autoreply", "X-Autorespond", "X-Auto-Reply-From", "X-Mail-Autoreply",
}

func readHeader(h message.Header) (Mail, error) {
	var m Mail
	if err := m.readFrom(h.Values("From")); err != nil {
		return Mail{}, err
	}
	for _, key := range []string{"To", "Cc", "Delivered-To", "X-Original-To", "X-Delivered-To", "Envelope-To"} {
		for _, v := range h.Values(key) {
			if len(v) <= maxHeaderLine {
				m.Recipients = append(m.Recipients, anAddress.FindAllString(v, -1)...)
			}
		}
	}
	if s := h.Get("Subject"); len(s) <= maxAddress {
		// If the character set is unknown, the text is the undecoded field. A
		// tag in it can still be found.
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
	// Keep all fields, even long ones. If the topmost field were left out, the
	// next one would count as the topmost.
	m.AuthResults = h.Values("Authentication-Results")
	m.machine = make(map[string]string)
	for _, key := range machineFields {
		if v := h.Values(key); len(v) > 0 {
			m.machine[key] = strings.TrimSpace(v[0])
		}
	}
	return m, nil
}

// readFrom reads the author of a mail. A mail without a From field, or with a
// damaged one, has no author. Several authors are an error.
func (m *Mail) readFrom(fields []string) error {
	switch {
	case len(fields) == 0:
		return nil
	case len(fields) > 1:
		return fmt.Errorf("it has %d From fields where one is allowed", len(fields))
	}
	m.FromField = fields[0]
	if len(m.FromField) > maxAddress {
		return fmt.Errorf("its From field is longer than %d bytes", maxAddress)
	}
	list, err := mail.ParseAddressList(m.FromField)
	switch {
	case err != nil || len(list) == 0:
	case len(list) > 1:
		return fmt.Errorf("its From field names %d people where one is allowed", len(list))
	default:
		m.From = list[0].Address
	}
	return nil
}

func messageIDs(h message.Header, key string) []string {
	var ids []string
	for _, m := range messageID.FindAllStringSubmatch(h.Get(key), maxReferences) {
		ids = append(ids, m[1])
	}
	return ids
}

// text is the text of a part; nil lines mean no text. Plain text is preferred
// to text from HTML.
type text struct {
	lines []string
	plain bool
}

func (t text) blank() bool {
	return !slices.ContainsFunc(t.lines, func(l string) bool { return strings.TrimSpace(l) != "" })
}

// better reports whether t should be preferred to best, another alternative of
// the same mail.
func (t text) better(best text) bool {
	return (best.lines == nil || best.blank() || t.plain && !best.plain) && (!t.blank() || best.blank())
}

// textReader walks through the parts of one mail.
type textReader struct {
	parts, decoded int
	skipped        error // reason for skipping a part that may have been the text
}

// text returns the text of e, which is nested depth levels deep. openErr is the
// error from opening e: an entity may be readable despite an error. If text
// returns an error, no text of the mail may be used.
func (r *textReader) text(e *message.Entity, openErr error, depth int) (text, error) {
	if r.parts++; r.parts > maxParts {
		return text{}, fmt.Errorf("it has more than %d parts", maxParts)
	}
	if depth > maxDepth {
		return text{}, fmt.Errorf("its parts are nested more than %d deep", maxDepth)
	}
	// A type that cannot be parsed counts as text/plain (RFC 2045, section
	// 5.2).
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
	content, err := r.decode(e)
	if err != nil {
		return text{}, err
	}
	if mediaType == "text/html" {
		lines, err := htmlLines(content)
		if err != nil {
			return text{}, fmt.Errorf("its HTML cannot be read: %w", err)
		}
		return text{lines: lines}, nil
	}
	lines := strings.Split(strings.TrimSuffix(content, "\n"), "\n")
	if strings.EqualFold(params["format"], "flowed") {
		lines = unflow(lines, strings.EqualFold(params["delsp"], "yes"))
	}
	return text{lines: lines, plain: true}, nil
}

// decode returns the content of a part, with every line end as a single LF. An
// unknown character set is read as UTF-8: in nearly all character sets, the
// letters of commands are the same as in ASCII.
func (r *textReader) decode(e *message.Entity) (string, error) {
	b, err := io.ReadAll(io.LimitReader(e.Body, int64(maxDecoded-r.decoded+1)))
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return "", errors.New("it is cut off")
	}
	if err != nil {
		return "", fmt.Errorf("its %s encoding is damaged", cmp.Or(e.Header.Get("Content-Transfer-Encoding"), "text"))
	}
	if r.decoded += len(b); r.decoded > maxDecoded {
		return "", fmt.Errorf("its text is longer than %d KiB", maxDecoded>>10)
	}
	s := strings.ToValidUTF8(string(b), "\uFFFD")
	s = strings.ReplaceAll(strings.ReplaceAll(s, "\r\n", "\n"), "\r", "\n")
	return strings.TrimPrefix(s, "\uFEFF"), nil
}

// multipart joins the text of parts: the best of alternatives, or all visible
// parts one after another.
func (r *textReader) multipart(mr message.MultipartReader, subtype string, depth int) (text, error) {
	var all, best text
	all.plain = true
	for {
		part, err := mr.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		// A part may come with an error and still be readable, or come as nil,
		// despite the documentation.
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
		if t.better(best) {
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

// unflow joins lines that are flowed by RFC 3676: it joins a line that ends in
// a space to the next line of the same quote depth. A joined line has its quote
// marks once.
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
		rest = strings.TrimPrefix(rest, " ") // the space that RFC 3676, section 4.4, puts before some lines
		if open && d != depth {
			end() // a flowed line before a line of another depth is wrong (section 4.5), but occurs
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

// quoted puts the given number of quote marks before a line.
func quoted(depth int, line string) string {
	if depth == 0 {
		return line
	}
	return strings.Repeat(">", depth) + " " + line
}
