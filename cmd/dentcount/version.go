package main

import (
	"runtime/debug"

	"github.com/spf13/cobra"
)

func newVersionCmd(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the version",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			a.answerf("dentcount %s\n", buildVersion())
			return nil
		},
	}
}

// buildVersion names the build from what the Go tool wrote into it: the
// module's version, the commit and whether it had local changes.
func buildVersion() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "(unknown build)"
	}
	version := info.Main.Version
	if version == "" {
		version = "(devel)"
	}
	var commit, changed string
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			commit = " " + s.Value[:min(12, len(s.Value))]
		case "vcs.modified":
			if s.Value == "true" {
				changed = " with local changes"
			}
		}
	}
	return version + commit + changed + ", " + info.GoVersion
}
