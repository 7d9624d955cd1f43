package config

import (
	"os"
	"strings"
	"testing"

	"leat/deploy"
)

// A file that was half written when it was read is refused. One that ends in the middle of
// the last input's lines still is a file: of a farm with that input fitted, for which a
// reload wants a restart.
func TestAFileCutAtAnyByteIsRefusedOrTakenWhole(t *testing.T) {
	plain, sample := good(t, "plain.toml"), string(deploy.Sample)
	every := 5 // bytes, beside the ends of lines
	if os.Getenv("LEAT_REAL") == "1" {
		every = 1
	}
	lineEnd := func(text string, i int) bool { return text[i] == '\n' || i > 0 && text[i-1] == '\n' }
	for _, file := range []struct {
		name, text string
		cuts       func(i int) bool
	}{
		{"plain.toml", plain, func(i int) bool { return i%every == 0 || lineEnd(plain, i) }},
		{"the sample, at its lines", sample, func(i int) bool { return lineEnd(sample, i) }},
	} {
		whole, refused := parsed(t, file.text), 0
		for cut := range len(file.text) {
			if !file.cuts(cut) {
				continue
			}
			shorter, err := Parse("farm.toml", []byte(file.text[:cut]), stranger())
			if err != nil {
				refused++
				continue
			}
			changes, refusals := Compare(whole, shorter)
			if len(changes) > 0 && !strings.Contains(strings.Join(refusals, "\n"), "restart") {
				t.Errorf("%s cut at byte %d of %d would be reloaded with %q", file.name, cut, len(file.text), changes)
			}
		}
		if refused < 100 {
			t.Errorf("%s: %d cuts were refused", file.name, refused)
		}
	}
}
