package main

import (
	"archive/zip"
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// Building an archive from the embedded archive gives the same archive: it
// contains everything needed to build it.
func TestArchiveRebuildsItself(t *testing.T) {
	content, err := os.ReadFile(filepath.Join("..", "zoneinfo.zip"))
	if err != nil {
		t.Fatal(err)
	}
	archive, err := zip.NewReader(bytes.NewReader(content), int64(len(content)))
	if err != nil {
		t.Fatal(err)
	}
	first, version, err := build(archive)
	if err != nil {
		t.Fatal(err)
	}
	again, err := zip.NewReader(bytes.NewReader(first), int64(len(first)))
	if err != nil {
		t.Fatal(err)
	}
	second, _, err := build(again)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(first, second) {
		t.Error("the same data gives different archives")
	}
	if len(archive.File) != len(again.File) || version == "" {
		t.Errorf("%d files became %d", len(archive.File), len(again.File))
	}
}

func TestBuildRejectsOtherData(t *testing.T) {
	for name, files := range map[string]map[string]string{
		"empty":          {},
		"no version":     {"tzdata.zi": "Z A 0 - x\n"},
		"no zones":       {"tzdata.zi": "# version 2027a\n"},
		"file missing":   {"tzdata.zi": "# version 2027a\nZ A 0 - x\n"},
		"file not TZif":  {"tzdata.zi": "# version 2027a\nZ A 0 - x\n", "A": "hello"},
		"file cut short": {"tzdata.zi": "# version 2027a\nZ A 0 - x\n", "A": "TZif2"},
	} {
		dir := t.TempDir()
		for file, content := range files {
			if err := os.WriteFile(filepath.Join(dir, file), []byte(content), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		out := filepath.Join(t.TempDir(), "out.zip")
		if err := run(dir, out); err == nil {
			t.Errorf("%s: no error", name)
		}
		if _, err := os.Stat(out); err == nil {
			t.Errorf("%s: an archive was written", name)
		}
	}
}
