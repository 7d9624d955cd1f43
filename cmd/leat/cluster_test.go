//go:build !cluster

package main

import (
	"strings"
	"testing"

	"leat/controller/app/apptest"
)

// A file for several daemons, and the program that is for one.
func TestCheckAndRunSayWhichProgramTakesACluster(t *testing.T) {
	path := apptest.Config(t, "mqtt://127.0.0.1:1", "[broker]\n", "[cluster]\nname = \"barn\"\nservers = [\"nats://127.0.0.1:1\"]\n\n[broker]\n")
	for words, code := range map[string]int{"check": 0, "run": 1} {
		p := leat(t, words, "-config", path)
		if got := p.Wait(); got != code || !strings.Contains(p.Log(), "leat-cluster") || !strings.Contains(p.Log(), "go build -tags cluster") {
			t.Errorf("leat %s: exit code %d, says %s", words, got, p.Log())
		}
	}
	plain := leat(t, "check", "-config", apptest.Config(t, "mqtt://127.0.0.1:1"))
	if plain.Wait(); strings.Contains(plain.Log(), "cluster") {
		t.Errorf("a file for one daemon: %s", plain.Log())
	}
}
