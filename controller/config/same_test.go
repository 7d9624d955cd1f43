package config

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// A table of salts has no order in TOML, nor in memory: what is made of it must not have one
// either, or a restart would change which concentrates are kept apart.
func TestTheSameFileGivesTheSameSettingsEachTime(t *testing.T) {
	texts := map[string]string{}
	for _, pattern := range []string{filepath.Join(files, "good", "*.toml"), filepath.Join("..", "..", "deploy", "*.toml")} {
		paths, err := filepath.Glob(pattern)
		if err != nil || len(paths) < 2 {
			t.Fatalf("%s: %d files, %v", pattern, len(paths), err)
		}
		for _, path := range paths {
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			texts[path] = string(text)
		}
	}
	for seed := range uint64(12) {
		texts[fmt.Sprintf("drawn farm %d", seed)] = drawnFarm(rand.New(rand.NewPCG(seed, 1)))
	}
	times := 20
	if os.Getenv("LEAT_REAL") == "1" {
		times = 100
	}
	taken := 0
	for name, text := range texts {
		first, firstErr := Parse("farm.toml", []byte(text), stranger())
		if firstErr == nil {
			taken++
		}
		for range times - 1 {
			again, err := Parse("farm.toml", []byte(text), stranger())
			if fmt.Sprint(err) != fmt.Sprint(firstErr) {
				t.Fatalf("%s is refused now by\n%v\nand now by\n%v", name, firstErr, err)
			}
			if err == nil && !reflect.DeepEqual(again.Settings, first.Settings) {
				t.Fatalf("%s gives now\n%+v\nand now\n%+v", name, first.Settings, again.Settings)
			}
		}
	}
	if taken < 8 {
		t.Errorf("only %d of %d files were taken: nothing is compared of the others but their faults", taken, len(texts))
	}
}

// drawnFarm is a farm whose stocks hold one to four salts each, some of which must not meet.
func drawnFarm(r *rand.Rand) string {
	var b strings.Builder
	fmt.Fprintf(&b, "[station]\nname = \"row\"\n\n[[tank]]\nname = \"tank\"\nvolume = \"%d L\"\n\n", 300+r.IntN(900))
	b.WriteString("[[pump]]\nname = \"acid\"\nrole = \"acid\"\nreagent = \"nitric acid\"\nstrength = \"10 %\"\nrate = \"10 mL/min\"\n\n")
	salts := []string{"potassium nitrate", "potassium sulfate", "magnesium sulfate heptahydrate", "monopotassium phosphate",
		"magnesium nitrate hexahydrate", "ammonium nitrate", "potassium silicate", "potassium chloride"}
	for i := range 3 + r.IntN(5) {
		fmt.Fprintf(&b, "[[pump]]\nname = \"stock-%d\"\nrole = \"stock\"\nrate = \"60 mL/min\"\nsalts = {", i)
		r.Shuffle(len(salts), func(i, k int) { salts[i], salts[k] = salts[k], salts[i] })
		for k, salt := range salts[:1+r.IntN(4)] {
			if k > 0 {
				b.WriteString(",")
			}
			fmt.Fprintf(&b, " %q = \"%d g/L\"", salt, 5+r.IntN(20))
		}
		b.WriteString(" }\n\n")
	}
	return b.String()
}
