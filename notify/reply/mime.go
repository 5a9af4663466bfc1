package reply

import (
	"bufio"
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
	"github.com/emersion/go-message/textproto"
)

// The limits of a mail. Only its header and its text count: a mail may have any
// amount of pictures and attachments. If a mail exceeds a limit, no part of its
// text is used, because half a command can be another command.
const (
	maxHeaderLine = 8 << 10  // bytes of a line of the header
	maxHeader     = 64 << 10 // bytes of the header, also of the header of a part
	maxAddress    = 1 << 10  // bytes of a field of addresses, or of a subject
	maxDepth      = 20       // levels of nested parts
	maxParts      = 1000     // parts in all; a mail with hundreds of pictures has fewer
	maxReferences = 200      // message ids in a field
	maxWriters    = 50       // addresses in Writers
)

// MaxText is the limit of the decoded text of a mail in bytes, quotes included.
const MaxText = 256 << 10

// Mail has the parts of a mail that matter for an answer. [Read] makes it.
type Mail struct {
	// MessageID is the Message-ID without angle brackets. If the mail has none,
	// MessageID is "sha256:" and a hash of From, Date and text. Copies of a
	// mail have the same MessageID, also without their attachments.
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
	// Writers are the addresses in all fields but those of recipients and of
	// servers: From, Sender, Reply-To and so on. They prove nothing. They serve
	// to find out whether a mail that cannot be read may be a keeper's.
	Writers []string

	// The following fields are for Judge.
	MediaType   string            // of the whole mail, lower case: "multipart/report"
	ReportType  string            // parameter report-type, lower case
	NullReturn  bool              // Return-Path is present and empty: a bounce, or a machine's answer
	AuthResults []string          // the Authentication-Results fields, topmost first
	machine     map[string]string // the header fields that reveal machines, if present
	dateField   string            // value of the Date field

	// Lines is the decoded text in reading order. Quotes keep their ">" marks.
	// Text that an HTML mail marks as a quote or a signature gets ">" marks
	// too.
	Lines []string
	// Trouble says why Lines is empty although the mail may have text: "its
	// quoted-printable encoding is damaged". It is "" if the text was read.
	Trouble string
}

// Unreadable is the error of a mail that cannot be judged, because its header
// cannot be read or programs would disagree on how to read it.
type Unreadable struct {
	Err error // the reason, in words that go on after a colon
	// Seen has the fields of the header that could be read. It serves only to
	// report the mail to the keeper. Its From is "", so no command can be taken.
	Seen Mail
}

func (e *Unreadable) Error() string { return "read a mail: " + e.Err.Error() }

// Unwrap returns the reason.
func (e *Unreadable) Unwrap() error { return e.Err }

// Read reads a mail; see [ReadFrom].
func Read(raw []byte) (Mail, error) { return ReadFrom(bytes.NewReader(raw)) }

// ReadFrom reads a mail of any size: its header, and its text after decoding
// the transfer encoding, the character set and flowed lines (RFC 3676). It
// prefers plain text to HTML and never opens attachments. An [*Unreadable] error
// means that the mail cannot be judged: its header is too large or damaged, or
// it has more than one author. A mail with an unreadable text gives no error
// but sets Trouble. Any other error is an error of r.
func ReadFrom(r io.Reader) (Mail, error) {
	source := &source{r: r}
	body := bufio.NewReader(source)
	header, headErr := readHead(body)
	if source.err != nil {
		return Mail{}, fmt.Errorf("read a mail: %w", source.err)
	}
	m, e, err := parseHead(header, headErr, body)
	var unreadable *Unreadable
	if errors.As(err, &unreadable) {
		return Mail{}, err
	}
	t := textReader{source: source}
	content, textErr := t.text(e, err, 0)
	switch {
	case source.err != nil:
		return Mail{}, fmt.Errorf("read a mail: %w", source.err)
	case textErr != nil:
		m.Trouble = textErr.Error()
	case content.err != nil:
		m.Trouble = content.err.Error()
	case content.lines == nil:
		m.Trouble = "it holds no text"
	default:
		m.Lines = content.lines
	}
	m.identify()
	return m, nil
}

// ReadHeader reads the header of a mail that is too large to be fetched. If the
// header is cut off, the error is [*Unreadable]. Otherwise the field Trouble of the
// mail says that its text is too long.
func ReadHeader(raw []byte) (Mail, error) {
	body := bufio.NewReader(&source{r: bytes.NewReader(raw)})
	header, err := readHead(body)
	if err == nil && len(raw) > maxHeader {
		err = errHeaderTooLarge
	}
	m, _, err := parseHead(header, err, body)
	var unreadable *Unreadable
	if errors.As(err, &unreadable) {
		return Mail{}, err
	}
	m.Trouble = errTextTooLong.Error()
	m.identify()
	return m, nil
}

var (
	errHeaderTooLarge = fmt.Errorf("its header is larger than %d KB", maxHeader>>10)
	errTextTooLong    = fmt.Errorf("its text is longer than %d KB", MaxText>>10)
	errPartHeader     = fmt.Errorf("the header of a part is larger than %d KB", maxHeader>>10)
)

// identify makes a MessageID for a mail without one. Pictures and attachments
// do not count, because a mailbox may leave them out.
func (m *Mail) identify() {
	if m.MessageID != "" {
		return
	}
	h := sha256.New()
	fmt.Fprintf(h, "%s\n%s\n%s\n%s", m.FromField, m.dateField, m.Trouble, strings.Join(m.Lines, "\n"))
	m.MessageID = "sha256:" + hex.EncodeToString(h.Sum(nil))
}

// source reads the bytes of a mail with every line end as a single LF. Old
// programs end lines with CR alone, which would make the whole mail a single
// line of the header.
type source struct {
	r   io.Reader
	cr  bool  // the last byte was a CR
	err error // error of r
	// headerLeft is the number of bytes that may still be read, while the
	// header of a part is read; 0 for no limit.
	headerLeft int
}

func (s *source) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	if s.headerLeft == 1 {
		return 0, errPartHeader
	}
	if s.headerLeft > 0 {
		p = p[:min(len(p), s.headerLeft-1)]
	}
	for {
		n, err := s.r.Read(p)
		out := p[:0]
		for _, c := range p[:n] {
			if c == '\n' && s.cr {
				s.cr = false
				continue
			}
			if s.cr = c == '\r'; s.cr {
				c = '\n'
			}
			out = append(out, c)
		}
		if s.headerLeft > 0 {
			s.headerLeft -= len(out)
		}
		if err != nil && err != io.EOF {
			s.err = err
		}
		if len(out) > 0 || n == 0 || err != nil {
			return len(out), err
		}
	}
}

// readHead reads the header of a mail, without the empty line that ends it. If
// the header is too large, the first lines of it come with an error.
func readHead(r *bufio.Reader) ([]byte, error) {
	var header []byte
	for {
		line, err := r.ReadSlice('\n')
		if len(line) == 1 && line[0] == '\n' && err == nil {
			return header, nil
		}
		whole := len(header)
		header = append(header, line...)
		if len(header) > maxHeader {
			return header[:bytes.LastIndexByte(header[:whole], '\n')+1], errHeaderTooLarge
		}
		if err != nil && err != bufio.ErrBufferFull {
			return header, nil
		}
	}
}

// parseHead reads the fields of a header. The error is [*Unreadable], or an
// error that comes with a readable entity; see message.Read.
func parseHead(header []byte, headErr error, body io.Reader) (Mail, *message.Entity, error) {
	kept := header
	for line := range bytes.Lines(header) {
		if len(line) > maxHeaderLine {
			headErr = cmp.Or(headErr, fmt.Errorf("a line of its header is longer than %d KB", maxHeaderLine>>10))
			kept = withoutLong(header)
			break
		}
	}
	e, err := message.Read(io.MultiReader(bytes.NewReader(kept), strings.NewReader("\n"), body))
	if e == nil {
		// A damaged line hides the fields after it.
		seen, _ := message.Read(io.MultiReader(bytes.NewReader(onlyFields(kept)), strings.NewReader("\n")))
		m := Mail{}
		if seen != nil {
			m, _ = readHeader(seen.Header)
			m.From = ""
		}
		m.identify()
		return Mail{}, nil, &Unreadable{fmt.Errorf("its header is damaged: %w", err), m}
	}
	m, fieldErr := readHeader(e.Header)
	if headErr = cmp.Or(headErr, fieldErr); headErr != nil {
		m.From = ""
		m.identify()
		return Mail{}, nil, &Unreadable{headErr, m}
	}
	return m, e, err
}

// withoutLong leaves out the lines of a header that are too long.
func withoutLong(header []byte) []byte {
	var kept []byte
	for line := range bytes.Lines(header) {
		if len(line) <= maxHeaderLine {
			kept = append(kept, line...)
		}
	}
	return kept
}

// aField matches the first line of a field of a header (RFC 5322, section 2.2).
var aField = regexp.MustCompile(`^[!-9;-~]+[ \t]*:`)

// onlyFields leaves out the lines of a header that are no fields.
func onlyFields(header []byte) []byte {
	var kept []byte
	good := false
	for line := range bytes.Lines(header) {
		if line[0] != ' ' && line[0] != '\t' {
			good = aField.Match(line)
		}
		if good {
			kept = append(kept, line...)
		}
	}
	return kept
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

// recipientFields are the header fields that may name a recipient, and so have
// the token.
var recipientFields = []string{"To", "Cc", "Delivered-To", "X-Original-To", "X-Delivered-To", "Envelope-To"}

// otherFields are further fields whose addresses are not of writers: fields of
// servers, and fields of Message-IDs.
var otherFields = []string{"Bcc", "Received", "Received-Spf", "Authentication-Results", "Arc-Authentication-Results",
	"X-Forwarded-To", "X-Forwarded-For", "Message-Id", "In-Reply-To", "References"}

// readHeader reads the fields of a header. If it returns an error, the mail has
// the fields that can be read.
func readHeader(h message.Header) (Mail, error) {
	var m Mail
	fromErr := m.readFrom(h.Values("From"))
	for f := h.Fields(); f.Next() && len(m.Writers) < maxWriters; {
		is := func(key string) bool { return strings.EqualFold(key, f.Key()) }
		if slices.ContainsFunc(recipientFields, is) || slices.ContainsFunc(otherFields, is) || len(f.Value()) > maxHeaderLine {
			continue
		}
		for _, a := range anAddress.FindAllString(f.Value(), maxWriters) {
			if !slices.Contains(m.Writers, a) && len(a) <= maxAddress {
				m.Writers = append(m.Writers, a)
			}
		}
	}
	for _, key := range recipientFields {
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
		m.dateField = d
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
	return m, fromErr
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
	// err is the reason why a part that may be the text cannot be read. It does
	// not matter if an alternative of the part can be read.
	err error
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
	source               *source
	parts, plain, markup int // parts, and bytes of decoded text and HTML
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
	if subtype, ok := strings.CutPrefix(mediaType, "multipart/"); ok {
		return r.multipart(textproto.NewMultipartReader(e.Body, params["boundary"]), subtype, depth)
	}
	if mediaType != "text/plain" && mediaType != "text/html" {
		return text{}, nil
	}
	if message.IsUnknownEncoding(openErr) {
		return text{err: fmt.Errorf("its transfer encoding %q is not known", e.Header.Get("Content-Transfer-Encoding"))}, nil
	}
	decoded := &r.plain
	if mediaType == "text/html" {
		decoded = &r.markup
	}
	content, err := decode(e, decoded)
	if mediaType == "text/html" {
		if err != nil {
			return text{err: err}, nil
		}
		lines, err := htmlLines(content)
		if err != nil {
			return text{err: fmt.Errorf("its HTML cannot be read: %w", err)}, nil
		}
		return text{lines: lines}, nil
	}
	if err != nil {
		return text{}, err
	}
	lines := strings.Split(strings.TrimSuffix(content, "\n"), "\n")
	if strings.EqualFold(params["format"], "flowed") {
		lines = unflow(lines, strings.EqualFold(params["delsp"], "yes"))
	}
	return text{lines: lines, plain: true}, nil
}

// decode returns the content of a part, with every line end as a single LF. It
// adds the length of the content to decoded, the sum of the parts of its kind.
// An unknown character set is read as UTF-8: in nearly all character sets, the
// letters of commands are the same as in ASCII.
func decode(e *message.Entity, decoded *int) (string, error) {
	b, err := io.ReadAll(io.LimitReader(e.Body, int64(max(0, MaxText-*decoded)+1)))
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return "", errors.New("it is cut off")
	}
	if err != nil {
		return "", fmt.Errorf("its %s encoding is damaged", cmp.Or(e.Header.Get("Content-Transfer-Encoding"), "text"))
	}
	if *decoded += len(b); *decoded > MaxText {
		return "", errTextTooLong
	}
	s := strings.ToValidUTF8(string(b), "\uFFFD")
	s = strings.ReplaceAll(strings.ReplaceAll(s, "\r\n", "\n"), "\r", "\n")
	return strings.TrimPrefix(s, "\uFEFF"), nil
}

// multipart joins the text of parts: the best of alternatives, or all visible
// parts one after another.
func (r *textReader) multipart(mr *textproto.MultipartReader, subtype string, depth int) (text, error) {
	var all, best text
	all.plain = true
	for {
		part, err := r.nextPart(mr)
		if errors.Is(err, io.EOF) {
			break
		}
		switch {
		case errors.Is(err, io.ErrUnexpectedEOF):
			return text{}, errors.New("it is cut off")
		case errors.Is(err, errPartHeader):
			return text{}, errPartHeader
		case err != nil:
			return text{}, errors.New("its parts are damaged")
		}
		e, openErr := message.New(message.Header{Header: part.Header}, part)
		t, err := r.text(e, openErr, depth+1)
		if err != nil {
			return text{}, err
		}
		if t.lines != nil && t.better(best) {
			best = t
		}
		if subtype == "alternative" && best.plain && !best.blank() {
			// Nothing is better than plain text, so that no fault of the other
			// alternatives matters.
			return best, nil
		}
		all.err = cmp.Or(all.err, t.err)
		all.lines = append(all.lines, t.lines...)
		all.plain = all.plain && (t.plain || t.lines == nil)
		// Read the rest of the part, so that the next call reads only a header.
		if _, err := io.Copy(io.Discard, part); errors.Is(err, io.ErrUnexpectedEOF) {
			return text{}, errors.New("it is cut off")
		}
	}
	switch {
	case subtype == "alternative" && best.lines != nil && !best.blank():
		return best, nil
	case all.err != nil:
		// The part that cannot be read may be the one with the commands.
		return text{err: all.err}, nil
	case subtype == "alternative":
		return best, nil
	case all.lines == nil:
		return text{}, nil
	}
	return all, nil
}

// nextPart reads the header of the next part.
func (r *textReader) nextPart(mr *textproto.MultipartReader) (*textproto.Part, error) {
	r.source.headerLeft = maxHeader + 1
	part, err := mr.NextPart()
	if err != nil && r.source.headerLeft == 1 {
		err = errPartHeader
	}
	r.source.headerLeft = 0
	return part, err
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
