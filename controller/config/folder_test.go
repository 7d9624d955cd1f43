package config

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

func TestStateFolderThatCanBeNoneIsRefused(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("other paths there")
	}
	plain := filepath.Join(t.TempDir(), "plain")
	if err := os.WriteFile(plain, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{"/proc": "no disk", "/proc/1/x": "no disk", "/sys/": "no disk", "/dev": "no disk", plain: "no folder",
		"/dev/shm/leat": "", "/process": "", filepath.Dir(plain): "", filepath.Join(filepath.Dir(plain), "new"): ""} {
		if got := noFolder(path); got == "" != (want == "") || !strings.Contains(got, want) {
			t.Errorf("%s: %q; want words on %q", path, got, want)
		}
	}
}
