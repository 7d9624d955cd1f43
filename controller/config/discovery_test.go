package config

import (
	"strings"
	"testing"
)

func TestHubsAreToldOnlyWhereTheFileNamesTheirPrefix(t *testing.T) {
	base := good(t, "plain.toml")
	read := func(line string) (*File, error) {
		return Parse("farm.toml", []byte(changed(t, base, `prefix = "farm"`, line)), stranger())
	}
	if f, err := read(`prefix = "farm"`); err != nil || f.Broker.Discovery != "" {
		t.Errorf("off by default: %v %v", f, err)
	}
	if f, err := read("prefix = \"farm\"\ndiscovery = \"hubs/\""); err != nil || f.Broker.Discovery != "hubs" {
		t.Errorf("hubs/: %v", err)
	}
	for value, says := range map[string]string{"farm": "prefix of leat's own topics", "hubs/#": "pattern", "$SYS": "belongs to the broker"} {
		if _, err := read("prefix = \"farm\"\ndiscovery = \"" + value + "\""); err == nil || !strings.Contains(err.Error(), "broker.discovery") || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", value, err)
		}
	}
}
