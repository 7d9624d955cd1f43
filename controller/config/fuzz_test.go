package config

import (
	"os"
	"path/filepath"
	"testing"

	"leat/deploy"
	"leat/dosing"
)

// FuzzParse: whatever stands in a file, it is taken whole and safe or refused with
// faults that say so; nothing between, and no panic.
func FuzzParse(f *testing.F) {
	f.Add(deploy.Sample)
	for _, pattern := range []string{"good/*.toml", "bad/*.toml"} {
		paths, err := filepath.Glob(filepath.Join(files, pattern))
		if err != nil {
			f.Fatal(err)
		}
		for _, path := range paths {
			text, err := os.ReadFile(path)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(text)
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		file, err := Parse("fuzz.toml", text, stranger())
		if (file == nil) == (err == nil) {
			t.Fatalf("file %v, error %v", file, err)
		}
		if err != nil {
			faults := faultsOf(err)
			if len(faults) == 0 {
				t.Fatalf("an error without faults: %v", err)
			}
			for _, fault := range faults {
				if fault.Problem == "" {
					t.Errorf("a fault without a problem: %+v", fault)
				}
			}
			return
		}
		s := &file.Settings.Safety
		report := Check(file)
		for i, p := range s.Pumps {
			c := s.Caps[i]
			if p.Role == dosing.RoleNone || p.PerSecond <= 0 || p.MinDose <= 0 || c.PerDose < p.MinDose || c.PerHour < c.PerDose || c.PerDay < c.PerHour || c.OnTime <= 0 {
				t.Errorf("pump %+v taken with caps %+v", p, c)
			}
			for _, e := range report.Pumps[i].Effects {
				if !(e.HangPH <= hangPH && e.HangEC <= hangEC && e.SmallestPH <= smallestPH && e.SmallestEC <= smallestEC) {
					t.Errorf("a dangerous size taken: %+v", e)
				}
			}
		}
	})
}
