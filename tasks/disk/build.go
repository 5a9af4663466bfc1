package disk

import (
	"fmt"
	"os"
	"runtime/debug"
)

// Build tells this build of the program from others, which may work out other
// things from the same files: by its version, and by the size and time of its
// own file. What is stored of results is for the build that stored it. The error
// is for a program that cannot find its own file.
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
