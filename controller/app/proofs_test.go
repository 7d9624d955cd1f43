package app

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"leat/safety"
)

func TestWhoArmsIsToldWhichNodeWasNotProved(t *testing.T) {
	folder := t.TempDir()
	nodes := []safety.Node{{Name: "good"}, {Name: "none"}, {Name: "torn"}}
	for name, text := range map[string]string{"proof-good.json": `{"node":"good","at":"2031-03-04T09:00:00Z","holds":true}`, "proof-torn.json": `{"node":"to`} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	told := readProofs(folder, nodes).remind("armed.", nodes, time.Date(2031, 3, 5, 9, 0, 0, 0, time.UTC))
	if !strings.HasPrefix(told, "armed. But node") || strings.Contains(told, "good") || !strings.Contains(told, "node none was never proved") || !strings.Contains(told, "node torn was never proved") {
		t.Errorf("told %q", told)
	}
	if told := readProofs(folder, nodes[:1]).remind("armed.", nodes[:1], time.Date(2031, 3, 5, 9, 0, 0, 0, time.UTC)); told != "armed." {
		t.Errorf("of a node that was proved yesterday: %q", told)
	}
}
