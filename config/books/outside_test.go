//go:build unix

package books

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A link that leaves the books is read, but no word of its file is shown: the
// file may be a list of passwords.
func TestLinkOutOfTheBooksIsNotQuoted(t *testing.T) {
	top := t.TempDir()
	dir := filepath.Join(top, "books")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"books/keeper.toml": "zone = \"UTC\"\n",
		"passwd":            "root:squeamish:0:0::/root:/bin/sh\nsquealing = \"squeamish\"\n[[animal]]\nid = \"squeamish ossifrage\"\nspecies = \"squeamish\"\nsquirm = 1\n[squid]\n",
		"shared.toml":       "[[room]]\nid = \"R1\"\nname = \"Hall\"\n",
	} {
		if err := os.WriteFile(filepath.Join(top, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	link := func(to, name string) {
		if err := os.Symlink(to, filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	link("../shared.toml", "rooms.toml")
	if _, records, list := Load(dir); records == nil || len(records.Rooms) != 1 || len(list) != 0 {
		t.Fatalf("a shared file: %v", list)
	}
	link("../passwd", "x.toml")
	_, records, list := Load(dir)
	if records != nil || len(list) != 1 {
		t.Fatalf("%d problems: %v", len(list), list)
	}
	var said strings.Builder
	if err := list.Print(&said); err != nil {
		t.Fatal(err)
	}
	if err := json.NewEncoder(&said).Encode(list); err != nil {
		t.Fatal(err)
	}
	if low := strings.ToLower(said.String()); strings.Contains(low, "squ") || strings.Contains(low, "root") {
		t.Errorf("the file is quoted:\n%s", low)
	}
	for _, p := range list {
		if p.File != "x.toml" || p.Line == 0 || p.Hint == "" || !strings.Contains(p.Message, "outside of the books") {
			t.Errorf("%+v", p)
		}
	}
}
