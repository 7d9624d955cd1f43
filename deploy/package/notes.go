package main

import (
	"bytes"
	"fmt"
	"os"
	"strings"
)

// notesOf are the release notes: the section of this version in the changelog, or the unreleased one while a
// release is prepared; and how what was fetched is checked.
func notesOf(version string) ([]byte, error) {
	changes, err := os.ReadFile("CHANGELOG.md")
	if err != nil {
		return nil, err
	}
	sections := strings.Split(string(changes), "\n## ")[1:]
	for _, wanted := range []string{version, "Unreleased"} {
		for _, section := range sections {
			title, body, _ := strings.Cut(section, "\n")
			if title, _, _ = strings.Cut(title, " "); title != wanted {
				continue
			}
			var out bytes.Buffer
			fmt.Fprintf(&out, "# leat %s\n\n%s\n\nAfter an upgrade every tank observes until a person arms it. Check what you fetched with `sha256sum -c SHA256SUMS`; the\nsame commit gives the same bytes with `go run ./deploy/package %s OUT`.\n", version, strings.TrimSpace(body), version)
			return out.Bytes(), nil
		}
	}
	return nil, fmt.Errorf("CHANGELOG.md has neither ## %s nor ## Unreleased", version)
}
