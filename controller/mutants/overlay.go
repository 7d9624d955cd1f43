package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"time"
)

// overlay writes a file's other content beside the tree and returns the path of the
// document that tells the go command of it.
func (t *tree) overlay(file string, content []byte) (string, error) {
	other := filepath.Join(t.temp, "other.go")
	if err := os.WriteFile(other, content, 0o600); err != nil {
		return "", err
	}
	body, err := json.Marshal(map[string]map[string]string{"Replace": {filepath.Join(t.root, filepath.FromSlash(file)): other}})
	if err != nil {
		return "", err
	}
	path := filepath.Join(t.temp, "overlay.json")
	return path, os.WriteFile(path, body, 0o600)
}

// build builds a package's tests, or a command, from an overlay.
func (t *tree) build(ctx context.Context, overlay, pkg string, tests bool) (binary string, err error) {
	binary = filepath.Join(t.temp, "built")
	args := []string{"build", "-overlay", overlay, "-o", binary, "./" + pkg}
	if tests {
		args = []string{"test", "-c", "-vet=off", "-overlay", overlay, "-o", binary, "./" + pkg}
	}
	cmd := exec.CommandContext(ctx, "go", args...)
	cmd.Dir = t.root
	if said, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("go %s: %w\n%s", args[0], err, said)
	}
	return binary, nil
}

// ended is how a run ended.
type ended struct {
	failed bool // or did not end in time
	hung   bool
	said   []byte
}

// runs runs a binary in a package's folder with one more variable in its environment.
// That the run failed is no error.
func (t *tree) runs(ctx context.Context, limit time.Duration, variable, pkg, binary string, args ...string) (ended, error) {
	within, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	dir := filepath.Join(t.root, filepath.FromSlash(pkg))
	cmd := exec.CommandContext(within, binary, append(args, keepsNothing(dir)...)...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), variable)
	cmd.WaitDelay = time.Second
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	err := cmd.Run()
	var exit *exec.ExitError
	switch {
	case ctx.Err() != nil:
		return ended{}, ctx.Err()
	case within.Err() != nil:
		return ended{failed: true, hung: true, said: said.Bytes()}, nil
	case err != nil && !errors.As(err, &exit):
		return ended{}, err
	}
	return ended{failed: err != nil, said: said.Bytes()}, nil
}

// keepsNothing are arguments by which tests of properties, where a folder has some, leave
// no files of their failures: those are of a broken daemon.
func keepsNothing(dir string) []string {
	tests, _ := filepath.Glob(filepath.Join(dir, "*_test.go")) // the pattern is a good one
	for _, name := range tests {
		if body, err := os.ReadFile(name); err == nil && bytes.Contains(body, []byte(`"pgregory.net/rapid"`)) {
			return []string{"-rapid.nofailfile"}
		}
	}
	return nil
}
