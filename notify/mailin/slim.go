package mailin

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/textproto"
	"slices"
	"strings"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"
)

// The limits of the structure of a large mail. A mail beyond them is TooLarge.
const (
	maxDepth = 20   // levels of nested parts
	maxParts = 1000 // parts in all; a mail with hundreds of photographs has fewer
	maxTexts = 100  // parts that are text
)

// errTooLarge says that the header or the text of a mail exceeds its limit.
var errTooLarge = errors.New("the text of the mail is too large")

// slim is a mail in preparation: its header, and the parts of it that may be
// the text.
type slim struct {
	root         *part
	parts, texts int
	left         int // bytes of text that may still be kept
}

// part is a part of a mail.
type part struct {
	header   []byte // with the empty line that ends it
	boundary string // between the children of a multipart
	children []*part
	body     []byte
	html     bool
}

// Slim reads a mail of any size. A mail of at most [MaxSize] bytes is returned
// as it is. Of a larger mail, Slim returns a mail with the same header, the
// same nesting, and only the parts that may be the text: text/plain and
// text/html that are no attachment. tooLarge says that this text itself
// exceeds MaxSize or the header exceeds [MaxHeader]; raw is then the header,
// cut at its limit. If there is plain text, HTML that does not fit is left out.
//
// A large mail that is cut off keeps the text that is complete. An error is an
// error of r.
func Slim(r io.Reader) (raw []byte, tooLarge bool, err error) {
	head, err := io.ReadAll(io.LimitReader(r, MaxSize+1))
	if err != nil || len(head) <= MaxSize {
		return head, false, err
	}
	broken := &errReader{Reader: r}
	raw, err = slimStream(head, broken)
	switch {
	case broken.err != nil:
		return nil, false, broken.err
	case err != nil:
		return headerOf(head), true, nil
	}
	return raw, false, nil
}

// errReader remembers the error of a reader.
type errReader struct {
	io.Reader
	err error
}

func (r *errReader) Read(p []byte) (int, error) {
	n, err := r.Reader.Read(p)
	if err != nil && err != io.EOF {
		r.err = err
	}
	return n, err
}

// headerOf returns the header of a mail, cut at MaxHeader.
func headerOf(mail []byte) []byte {
	mail = mail[:min(len(mail), MaxHeader)]
	end := len(mail) + 1
	for _, empty := range []string{"\r\n\r\n", "\n\n", "\r\r"} {
		if i := bytes.Index(mail, []byte(empty)); i >= 0 {
			end = min(end, i+len(empty))
		}
	}
	if end <= len(mail) {
		return bytes.Clone(mail[:end])
	}
	return append(bytes.Clone(mail), "\r\n\r\n"...)
}

// slimStream reads the rest of a mail that begins with head.
func slimStream(head []byte, rest io.Reader) ([]byte, error) {
	header := headerOf(head)
	if len(header) > MaxHeader {
		return nil, errTooLarge
	}
	fields, err := textproto.NewReader(bufio.NewReader(bytes.NewReader(header))).ReadMIMEHeader()
	if err != nil && len(fields) == 0 {
		return nil, err
	}
	s := slim{left: MaxSize}
	s.root, err = s.read(header, fields, io.MultiReader(bytes.NewReader(head[len(header):]), rest), 0)
	if err != nil {
		return nil, err
	}
	return s.mail()
}

// read reads a part. It returns nil for a part that is not text.
func (s *slim) read(header []byte, fields textproto.MIMEHeader, body io.Reader, depth int) (*part, error) {
	if s.parts++; s.parts > maxParts || depth > maxDepth {
		return nil, errTooLarge
	}
	kind, params, err := mime.ParseMediaType(fields.Get("Content-Type"))
	if err != nil {
		kind, params = "text/plain", nil // RFC 2045, section 5.2
	}
	p := &part{header: header, boundary: params["boundary"], html: kind == "text/html"}
	disposition, dispositionParams, _ := mime.ParseMediaType(fields.Get("Content-Disposition"))
	switch {
	case isAttachment(disposition, dispositionParams):
		return s.leaveOut(p, depth), nil
	case strings.HasPrefix(kind, "multipart/") && p.boundary != "":
	case isText(kind):
		return p, s.readText(p, body)
	default:
		return s.leaveOut(p, depth), nil
	}
	parts := multipart.NewReader(body, p.boundary)
	for {
		child, err := parts.NextRawPart()
		if err != nil {
			return p, nil // the end, or the place where the mail is cut off or damaged
		}
		c, err := s.read(headerFrom(child.Header), child.Header, child, depth+1)
		if err != nil {
			return nil, err
		}
		if c != nil {
			p.children = append(p.children, c)
		}
	}
}

// leaveOut returns what stays of a part that is not text: nothing, or the
// header of the whole mail.
func (s *slim) leaveOut(p *part, depth int) *part {
	if depth > 0 {
		return nil
	}
	p.boundary = ""
	return p
}

func isText(kind string) bool { return kind == "text/plain" || kind == "text/html" }

func isAttachment(disposition string, params map[string]string) bool {
	return strings.EqualFold(disposition, "attachment") || params["filename"] != ""
}

// readText reads the body of a text.
func (s *slim) readText(p *part, body io.Reader) error {
	if s.texts++; s.texts > maxTexts {
		return errTooLarge
	}
	b, err := io.ReadAll(io.LimitReader(body, MaxSize+1))
	if err != nil {
		return err // half a text may be another text
	}
	p.body = b
	return nil
}

// headerFrom writes the fields that say how a part is to be read.
func headerFrom(fields textproto.MIMEHeader) []byte {
	var b bytes.Buffer
	for _, key := range []string{"Content-Type", "Content-Transfer-Encoding", "Content-Disposition"} {
		if v := fields.Get(key); v != "" {
			fmt.Fprintf(&b, "%s: %s\r\n", key, v)
		}
	}
	b.WriteString("\r\n")
	return b.Bytes()
}

// mail writes the smaller mail. It leaves out HTML that does not fit if there
// is plain text.
func (s *slim) mail() ([]byte, error) {
	plain := false
	s.root.each(func(p *part) {
		if p.boundary == "" && !p.html && len(bytes.TrimSpace(p.body)) > 0 {
			s.left -= len(p.body)
			plain = true
		}
	})
	if s.left < 0 {
		return nil, errTooLarge
	}
	tooLarge := false
	s.root.each(func(p *part) {
		if !p.html {
			return
		}
		if len(p.body) > s.left {
			tooLarge = tooLarge || !plain
			p.body = nil
		}
		s.left -= len(p.body)
	})
	if tooLarge {
		return nil, errTooLarge
	}
	var b bytes.Buffer
	s.root.write(&b)
	return b.Bytes(), nil
}

func (p *part) each(do func(*part)) {
	do(p)
	for _, c := range p.children {
		c.each(do)
	}
}

func (p *part) write(b *bytes.Buffer) {
	b.Write(p.header)
	b.Write(p.body)
	if p.boundary == "" {
		return
	}
	for _, c := range p.children {
		fmt.Fprintf(b, "\r\n--%s\r\n", p.boundary)
		c.write(b)
	}
	fmt.Fprintf(b, "\r\n--%s--\r\n", p.boundary)
}

// mail fetches a mail without marking it as seen; see [Slim] for a large mail.
// raw is nil if the mail is gone. If parts is false, the server is not asked
// for the parts of a large mail, because it could not tell them.
func (c *conn) mail(ctx context.Context, uid uint32, size int64, parts bool) (raw []byte, tooLarge bool, err error) {
	if size <= MaxSize {
		if raw, err = c.section(ctx, uid, nil, imap.PartSpecifierNone, MaxSize+1); err != nil || len(raw) <= MaxSize {
			return raw, false, err
		}
		// The server gave a wrong size.
	}
	structure, header, err := c.structure(ctx, uid, parts)
	switch {
	case err != nil:
		return nil, false, err
	case header == nil:
		return nil, false, nil
	case len(header) > MaxHeader:
		return headerOf(header), true, nil
	}
	if structure == nil {
		// The server does not tell the parts, so only the first of them can be
		// looked at.
		if raw, err = c.section(ctx, uid, nil, imap.PartSpecifierNone, MaxSize); err != nil || raw == nil {
			return nil, false, err
		}
		if raw, err = slimStream(raw, bytes.NewReader(nil)); err != nil {
			return header, true, nil
		}
		return raw, false, nil
	}
	s := slim{left: MaxSize}
	if s.root, err = s.fetch(ctx, c, uid, structure, nil, header); err == nil {
		raw, err = s.mail()
	}
	if errors.Is(err, errTooLarge) {
		return header, true, nil
	}
	return raw, false, err
}

// fetch fetches a part with its children. It returns nil for a part that is
// not text. path numbers the part, as RFC 9051, section 6.4.5, has it; it is
// empty for the whole mail, and header is then known.
func (s *slim) fetch(ctx context.Context, c *conn, uid uint32, b imap.BodyStructure, path []int, header []byte) (*part, error) {
	if s.parts++; s.parts > maxParts || len(path) > maxDepth {
		return nil, errTooLarge
	}
	p := &part{header: header}
	if d := b.Disposition(); d != nil && isAttachment(d.Value, d.Params) {
		return s.leaveOut(p, len(path)), nil
	}
	single, isSingle := b.(*imap.BodyStructureSinglePart)
	if isSingle && !isText(single.MediaType()) {
		return s.leaveOut(p, len(path)), nil
	}
	var err error
	if header == nil {
		if p.header, err = c.section(ctx, uid, path, imap.PartSpecifierMIME, MaxHeader); err != nil {
			return nil, err
		}
	}
	if !isSingle {
		fields, _ := textproto.NewReader(bufio.NewReader(bytes.NewReader(p.header))).ReadMIMEHeader()
		_, params, _ := mime.ParseMediaType(fields.Get("Content-Type"))
		if p.boundary = params["boundary"]; p.boundary == "" {
			return nil, errTooLarge // the parts cannot be told apart
		}
		for i, child := range b.(*imap.BodyStructureMultiPart).Children {
			k, err := s.fetch(ctx, c, uid, child, append(slices.Clone(path), i+1), nil)
			if err != nil {
				return nil, err
			}
			if k != nil {
				p.children = append(p.children, k)
			}
		}
		return p, nil
	}
	p.html = single.MediaType() == "text/html"
	if single.Size > MaxSize {
		// The text does not fit. HTML may be left out; see slim.mail.
		p.body = make([]byte, MaxSize+1)
		return p, nil
	}
	if s.texts++; s.texts > maxTexts {
		return nil, errTooLarge
	}
	whole := path
	if len(path) == 0 {
		whole = []int{1} // the only part of a mail that is no multipart
	}
	p.body, err = c.section(ctx, uid, whole, imap.PartSpecifierNone, MaxSize+1)
	return p, err
}

// structure fetches the header of a mail, at most one byte more than MaxHeader,
// and, if asked, the structure of its parts. Both are nil if the mail is gone.
func (c *conn) structure(ctx context.Context, uid uint32, parts bool) (imap.BodyStructure, []byte, error) {
	header := &imap.FetchItemBodySection{Specifier: imap.PartSpecifierHeader, Peek: true, Partial: &imap.SectionPartial{Size: MaxHeader + 1}}
	o := &imap.FetchOptions{UID: true, BodySection: []*imap.FetchItemBodySection{header}}
	if parts {
		o.BodyStructure = &imap.FetchItemBodyStructure{Extended: true}
	}
	m, err := c.fetch(ctx, uid, "fetch the parts of a mail", o)
	if err != nil || m == nil {
		return nil, nil, err
	}
	for _, s := range m.BodySection {
		return m.BodyStructure, append([]byte{}, s.Bytes...), nil
	}
	return nil, nil, nil
}

// section fetches a section of a mail, at most limit bytes. It returns nil if
// the mail is gone.
func (c *conn) section(ctx context.Context, uid uint32, path []int, what imap.PartSpecifier, limit int64) ([]byte, error) {
	section := &imap.FetchItemBodySection{Part: path, Specifier: what, Peek: true, Partial: &imap.SectionPartial{Size: limit}}
	m, err := c.fetch(ctx, uid, "fetch a mail", &imap.FetchOptions{UID: true, BodySection: []*imap.FetchItemBodySection{section}})
	if err != nil || m == nil {
		return nil, err
	}
	for _, s := range m.BodySection {
		return append([]byte{}, s.Bytes...), nil
	}
	return nil, nil
}

// fetch asks for items of one mail. It returns nil if the mail is gone.
func (c *conn) fetch(ctx context.Context, uid uint32, doing string, o *imap.FetchOptions) (*imapclient.FetchMessageBuffer, error) {
	got, err := command(ctx, c, 5*c.timeout, doing, func() ([]*imapclient.FetchMessageBuffer, error) {
		return c.client.Fetch(imap.UIDSetNum(imap.UID(uid)), o).Collect()
	})
	if err != nil {
		return nil, err
	}
	for _, m := range got {
		if uint32(m.UID) == uid {
			return m, nil
		}
	}
	return nil, nil
}
