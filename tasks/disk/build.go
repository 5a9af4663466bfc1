package disk

import (
	"fmt"
	"os"
	"runtime/debug"
)

// Build returns a text that distinguishes this build of the program from other
// builds, which may compute other results from the same files. The text has the
// version of the program, and the size and the time of its file. The error is
// for a program that cannot find its own file.
func Build() (string, error) {
	name, err := os.Executable()
	if err != nil {
		return "", err
	}
	st, err := os.Stat(name)
	if err != nil {
		return "", err
	}
	s := fmt.Sprint(st.Size(), " ", st.ModTime().UnixNano())
	if info, ok := debug.ReadBuildInfo(); ok {
		s += " " + info.GoVersion + " " + info.Main.Version
		for _, set := range info.Settings {
			if set.Key == "vcs.revision" || set.Key == "vcs.modified" {
				s += " " + set.Value
			}
		}
	}
	return s, nil
}
