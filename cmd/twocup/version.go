package main

import (
	"fmt"
	"runtime/debug"
)

type versionCommand struct{}

func (versionCommand) Run(s streams) error {
	_, err := fmt.Fprintln(s.out, "twocup", version())
	return err
}

// version of this build: the module's, and the revision it was built from where that is known.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	text := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			text += " " + s.Value
		}
	}
	return text
}
