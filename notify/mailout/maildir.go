package mailout

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net/mail"
	"os"
	"path/filepath"
	"strings"

	"nestround/notify"
	"nestround/tasks/disk"
)

// Maildir puts mails into a folder for another program to send or show. The
// layout is cr.yp.to/proto/maildir.html; lines end in LF, as usual for mail
// folders on disk. It is a notify.Sender.
type Maildir struct {
	dir   string
	files disk.Files
}

var _ notify.Sender = (*Maildir)(nil)

// NewMaildir returns a Maildir that sends into dir. Send creates dir and its
// subfolders tmp, new and cur if they do not exist.
func NewMaildir(dir string) *Maildir { return &Maildir{dir: dir} }

// Send implements notify.Sender. It returns nil when the mail is on the disk
// under its final name. The name is made from the mail, so a second attempt
// adds no second copy, even if somebody has read the mail and moved it to cur.
func (d *Maildir) Send(ctx context.Context, m notify.Outgoing) error {
	if err := checkOutgoing(m); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("send mail into %s: %w", d.dir, context.Cause(ctx))
	}
	if err := d.store(m); err != nil {
		return fmt.Errorf("send mail into %s: %w", d.dir, err)
	}
	return nil
}

func (d *Maildir) store(m notify.Outgoing) error {
	for _, sub := range []string{"tmp", "new", "cur"} {
		if err := d.files.MkdirAll(filepath.Join(d.dir, sub), 0o700); err != nil {
			return err
		}
	}
	name := fileName(m)
	there, err := d.delivered(name)
	if there || err != nil {
		return err
	}
	tmp := filepath.Join(d.dir, "tmp", name)
	if err := d.files.WriteFile(tmp, bytes.ReplaceAll(m.Raw, []byte("\r\n"), []byte("\n")), 0o600); err != nil {
		return err
	}
	return d.files.Rename(tmp, filepath.Join(d.dir, "new", name))
}

// delivered looks for the file of an earlier attempt: in new, or in cur with
// the flags of a mail reader.
func (d *Maildir) delivered(name string) (bool, error) {
	if _, err := os.Lstat(filepath.Join(d.dir, "new", name)); err == nil {
		return true, nil
	} else if !errors.Is(err, fs.ErrNotExist) {
		return false, err
	}
	read, err := os.ReadDir(filepath.Join(d.dir, "cur"))
	if err != nil {
		return false, err
	}
	for _, f := range read {
		if base, _, _ := strings.Cut(f.Name(), ":"); base == name {
			return true, nil
		}
	}
	return false, nil
}

// fileName returns the name of the mail's file. The name begins with the
// seconds of the mail's Date, because mail readers sort by these seconds. A
// hash of the mail follows, in the place where other programs write a process
// id and a counter.
func fileName(m notify.Outgoing) string {
	var seconds int64
	if msg, err := mail.ReadMessage(bytes.NewReader(m.Raw)); err == nil {
		if t, err := msg.Header.Date(); err == nil {
			seconds = max(t.Unix(), 0)
		}
	}
	h := sha256.New()
	for _, s := range []string{m.ID, m.To} {
		fmt.Fprintf(h, "%d %s", len(s), s)
	}
	h.Write(m.Raw)
	return fmt.Sprintf("%d.%s.nestround", seconds, hex.EncodeToString(h.Sum(nil)[:16]))
}
