package mailout_test

import (
	"bytes"
	"context"
	"errors"
	"net/mail"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"nestround/notify/mailout"
)

func files(t *testing.T, dir string) []string {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range list {
		names = append(names, f.Name())
	}
	return names
}

func TestMaildirStoresMailOnce(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "not", "yet", "there")
	d, m := mailout.NewMaildir(dir), outgoing(t)
	for range 3 {
		if err := d.Send(t.Context(), m); err != nil {
			t.Fatal(err)
		}
	}
	names := files(t, filepath.Join(dir, "new"))
	if len(names) != 1 || len(files(t, filepath.Join(dir, "tmp"))) != 0 || len(files(t, filepath.Join(dir, "cur"))) != 0 {
		t.Fatalf("new holds %q; tmp and cur should be empty", names)
	}
	if strings.ContainsAny(names[0], "/:") || strings.HasPrefix(names[0], ".") { // required by the Maildir layout
		t.Errorf("%q is no name for a mail", names[0])
	}
	raw, err := os.ReadFile(filepath.Join(dir, "new", names[0]))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(raw, bytes.ReplaceAll(m.Raw, []byte("\r\n"), []byte("\n"))) {
		t.Error("the mail changed by more than its line ends")
	}
	if _, err := mail.ReadMessage(bytes.NewReader(raw)); err != nil {
		t.Error(err)
	}
	if info, err := os.Stat(filepath.Join(dir, "new", names[0])); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}

	// After the keeper reads it, the mail is in cur with flags. It still counts
	// as delivered.
	if err := os.Rename(filepath.Join(dir, "new", names[0]), filepath.Join(dir, "cur", names[0]+":2,S")); err != nil {
		t.Fatal(err)
	}
	if err := d.Send(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	if names := files(t, filepath.Join(dir, "new")); len(names) != 0 {
		t.Errorf("sent again as %q", names)
	}

	// The same mail for another person is another mail.
	m.To = "sitter@example.org"
	if err := d.Send(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	if names := files(t, filepath.Join(dir, "new")); len(names) != 1 {
		t.Errorf("new holds %q", names)
	}
}

func TestMaildirFails(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	err := mailout.NewMaildir(file).Send(t.Context(), outgoing(t))
	if err == nil || !strings.Contains(err.Error(), file) {
		t.Errorf("got %v, want an error that names the folder", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := mailout.NewMaildir(t.TempDir()).Send(ctx, outgoing(t)); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}
