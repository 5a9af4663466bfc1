package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"nestround/cmd/nestround/house"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// writePictures writes one SVG for each clutch that still expects young into a
// folder, which is made where it is missing, and says what it wrote. Each file
// is written whole or not at all; what else stands in the folder is left alone.
func (c *call) writePictures(h *house.House, on civil.Date, dir string) error {
	switch info, err := os.Stat(dir); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return fmt.Errorf("write the pictures into %q: %w", dir, err)
	case !info.IsDir():
		return &usageError{fmt.Sprintf("--pictures: %q is not a folder", dir), "name the folder that the pictures, one a clutch, are to stand in"}
	}
	list := h.ClutchPictures(on)
	if len(list) == 0 {
		fmt.Fprintln(c.stdout, "No clutch expects young; no picture is written.")
		return nil
	}
	for _, p := range list {
		if p.SVG == nil {
			printIndented(c.stdout, "", fmt.Sprintf("No picture of %s: %s.", p.Clutch, p.Why))
			continue
		}
		file := filepath.Join(dir, "clutch-"+string(p.Clutch)+".svg")
		if err := (disk.Files{}).WriteFile(file, p.SVG, 0o644); err != nil {
			return err
		}
		fmt.Fprintf(c.stdout, "%s\n", file)
	}
	return nil
}
