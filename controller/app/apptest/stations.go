package apptest

import (
	"path/filepath"
	"strings"
	"testing"
)

// Stations writes one file with several small farms, each a [[station]] of its own name, and
// returns its path. Changes are made to what they share and to each.
func Stations(t testing.TB, broker string, names []string, changes ...string) string {
	t.Helper()
	folder := t.TempDir()
	shared := strings.NewReplacer("STATE", filepath.Join(folder, "state"), "BROKER", broker).Replace(between("[storage]", "[[node]]"))
	var text strings.Builder
	text.WriteString(shared)
	for _, name := range names {
		text.WriteString(strings.NewReplacer("[station]", "[[station]]", `name = "bench"`, `name = "`+name+`"`).Replace(between("[station]", "[storage]")))
		text.WriteString(strings.NewReplacer("[[node]]", "[[station.node]]", "[[pump]]", "[[station.pump]]", "[[tank]]", "[[station.tank]]", "[tank.", "[station.tank.").Replace(between("[[node]]", "")))
	}
	path := filepath.Join(folder, "leat.toml")
	Rewrite(t, path, text.String(), changes...)
	return path
}

// between is the part of the small farm's file from one table to another, or to its end.
func between(from, to string) string {
	_, rest, _ := strings.Cut(small, from)
	if to != "" {
		rest, _, _ = strings.Cut(rest, to)
	}
	return from + rest
}
