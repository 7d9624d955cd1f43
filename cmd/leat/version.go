package main

import (
	"flag"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"
)

// Release builds set both with -ldflags "-X main.version=… -X main.revision=…".
var version, revision = "development", ""

func versionCommand(*flag.FlagSet) task {
	return task{do: func(stdout, _ io.Writer) error {
		_, err := fmt.Fprintf(stdout, "leat %s\ncommit %s\n%s %s/%s\n", version, commit(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
		return err
	}}
}

// commit is the revision the binary was built from, where the build recorded it.
func commit() string {
	if revision != "" {
		return revision
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	found, changed := "unknown", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			found = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = " with local changes"
		}
	}
	return found + changed
}
