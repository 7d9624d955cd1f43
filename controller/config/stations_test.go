package config

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// several is a file of two stations: each a tank with pumps of its own.
const several = `[broker]
url = "mqtt://127.0.0.1:1883"

[storage]
folder = "kept"

[[station]]   # the long row
name = "row"  # as on the door
[[station.tank]]
name = "east"
volume = "300 L"
[station.tank.top_up]
alkalinity = "2 meq/L"
ec = "0.3 mS/cm"
[[station.pump]]
name = "acid"
role = "acid"
reagent = "nitric acid"
strength = "10 %"
rate = "10 mL/min"

[[station]]
name = "pond"
[[station.tank]]
name = "raft"
volume = "900 L"
[[station.pump]]
name = "acid"
role = "acid"
reagent = "nitric acid"
strength = "10 %"
rate = "20 mL/min"
`

func writeTo(t *testing.T, folder, name, text string) string {
	t.Helper()
	path := filepath.Join(folder, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestAFileOfSeveralStationsIsReadAsOneForEach(t *testing.T) {
	path := writeTo(t, t.TempDir(), "farm.toml", several)
	files, err := Stations(path)
	if err != nil {
		t.Fatal(err)
	}
	var found []string
	for _, f := range files {
		tanks := []string{}
		for i := range f.Settings.Safety.Tanks {
			tanks = append(tanks, f.Settings.Safety.Tanks[i].Name)
		}
		found = append(found, f.Settings.Safety.Station+":"+strings.Join(tanks, "+")+" "+filepath.Base(f.State)+" "+f.Broker.ClientID)
	}
	if want := []string{"row:east row leat-row", "pond:raft pond leat-row"}; !slices.Equal(found, want) {
		t.Errorf("got %q, want %q", found, want)
	}
	one, err := Load(path + "#pond")
	if err != nil || one.Settings.Safety.Station != "pond" {
		t.Errorf("one of them: %v", err)
	}
	for name, want := range map[string]string{path: "holds 2 stations: name one", path + "#attic": `no [[station]] "attic", but: row, pond`} {
		if _, err := Load(name); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v; want %s", name, err, want)
		}
	}
}

func TestAFaultOfOneOfSeveralStationsIsToldAtItsLineOfTheFile(t *testing.T) {
	text := strings.Replace(several, `rate = "20 mL/min"`, `rate = "20 furlongs"`, 1)
	line := 1 + strings.Count(text[:strings.Index(text, "furlongs")], "\n")
	_, err := Stations(writeTo(t, t.TempDir(), "farm.toml", text))
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 1 || faults[0].Line != line || faults[0].Key != "pump[acid].rate" {
		t.Errorf("got %v; want one fault at line %d", err, line)
	}
}

func TestStationsOfOneProcessShareLinkAndPageAndNothingElse(t *testing.T) {
	single := func(name, more string) string {
		return "[storage]\nfolder = \"state-" + name + "\"\n[station]\nname = \"" + name + "\"\n[[tank]]\nname = \"tub\"\nvolume = \"300 L\"\n" +
			"[[pump]]\nname = \"acid\"\nrole = \"acid\"\nreagent = \"nitric acid\"\nstrength = \"10 %\"\nrate = \"10 mL/min\"\n" + more
	}
	for what, c := range map[string]struct{ a, b, want string }{
		"well":              {single("a", ""), single("b", ""), ""},
		"one name":          {single("a", ""), strings.Replace(single("a", ""), "state-a", "other", 1), `station "a" stands in`},
		"one folder":        {single("a", ""), strings.Replace(single("b", ""), "state-b", "state-a", 1), "state folder"},
		"two brokers":       {single("a", ""), single("b", "[broker]\nurl = \"mqtt://127.0.0.1:1884\"\n"), "[broker] differs"},
		"two pages":         {single("a", ""), single("b", "[page]\nlisten = \"127.0.0.1:9000\"\n"), "[page]"},
		"a fault in either": {single("a", ""), single("b", "[pump]\n"), "b.toml"},
	} {
		folder := t.TempDir()
		writeTo(t, folder, "a.toml", c.a)
		writeTo(t, folder, "b.toml", c.b)
		writeTo(t, folder, "notes.txt", "no configuration")
		files, err := Stations(folder)
		switch {
		case c.want == "" && (err != nil || len(files) != 2 || files[1].Broker.ClientID != "leat-a"):
			t.Errorf("%s: %v", what, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: %v; want words on %q", what, err, c.want)
		}
	}
	if _, err := Stations(t.TempDir()); err == nil || !strings.Contains(err.Error(), ".toml") {
		t.Errorf("an empty folder: %v", err)
	}
	for _, text := range []string{strings.Replace(several, `"pond"`, `"row"`, 1), strings.Replace(several, `name = "pond"`, "", 1)} {
		if _, err := Stations(writeTo(t, t.TempDir(), "farm.toml", text)); err == nil {
			t.Error("two stations of one name, or one without a name, were taken")
		}
	}
}
