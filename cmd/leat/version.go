package main

import (
	"flag"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"
)

// version is set by release builds with -ldflags "-X main.version=…".
var version = "development"

func versionCommand(*flag.FlagSet) task {
	return task{do: func(stdout, _ io.Writer) error {
		_, err := fmt.Fprintf(stdout, "leat %s\ncommit %s\n%s %s/%s\n", version, commit(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
		return err
	}}
}

// commit is the revision the binary was built from, where the build recorded it.
func commit() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	revision, changed := "unknown", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			revision = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = " with local changes"
		}
	}
	return revision + changed
}
