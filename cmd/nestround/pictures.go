package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"nestround/cmd/nestround/house"
	"nestround/tasks/disk"
)

// writePictures writes pictures into a folder and names the files. It creates
// the folder if there is none. Without pictures it prints the text none. Each
// file is written whole or not at all, and other files of the folder stay as
// they are.
func (c *call) writePictures(list []house.Picture, dir, none string) error {
	switch info, err := os.Stat(dir); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return fmt.Errorf("write the pictures into %q: %w", dir, err)
	case !info.IsDir():
		return &usageError{fmt.Sprintf("--pictures: %q is not a folder", dir), "name the folder that the pictures are to stand in"}
	}
	if len(list) == 0 {
		fmt.Fprintln(c.stdout, none+"; no picture is written.")
		return nil
	}
	for _, p := range list {
		if p.SVG == nil {
			printIndented(c.stdout, "", fmt.Sprintf("No picture of %s: %s.", p.Name, p.Why))
			continue
		}
		file := filepath.Join(dir, p.Name+".svg")
		if err := (disk.Files{}).WriteFile(file, p.SVG, 0o644); err != nil {
			return err
		}
		fmt.Fprintf(c.stdout, "%s\n", file)
	}
	return nil
}
