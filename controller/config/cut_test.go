package config

import (
	"strings"
	"testing"

	"leat/deploy"
)

// A file that was half written when it was read is refused. One that ends in the middle of
// the last input's lines still is a file: of a farm with that input fitted, for which a
// reload wants a restart.
func TestAFileCutAtAnyByteIsRefusedOrTakenWhole(t *testing.T) {
	plain, sample := good(t, "plain.toml"), string(deploy.Sample)
	for _, file := range []struct {
		name, text string
		cuts       func(i int) bool
	}{
		{"plain.toml", plain, func(int) bool { return true }},
		{"the sample, at its lines", sample, func(i int) bool { return sample[i] == '\n' || i > 0 && sample[i-1] == '\n' }},
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
