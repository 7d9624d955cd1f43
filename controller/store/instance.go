package store

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

const instanceName = "instance"

// Instance is the id by which one state folder is told from another's: made once, kept
// beside the ledger. The daemon that runs on the folder is known by it on the broker.
func Instance(dir string) (string, error) {
	path := filepath.Join(dir, instanceName)
	text, err := os.ReadFile(path)
	if id := strings.TrimSpace(string(text)); err == nil && len(id) == 16 {
		return id, nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("%s cannot be read: %w", path, err)
	}
	var random [8]byte
	if _, err := rand.Read(random[:]); err != nil {
		return "", fmt.Errorf("no randomness for an instance id: %w", err)
	}
	id := hex.EncodeToString(random[:])
	// A name that is lost with the power would make this daemon a stranger to its own station.
	unfinished := path + ".unfinished"
	err = os.WriteFile(unfinished, []byte(id+"\n"), 0o600)
	if err == nil {
		err = syncFile(unfinished)
	}
	if err == nil {
		err = os.Rename(unfinished, path)
	}
	if err == nil {
		err = syncFolder(dir)
	}
	if err != nil {
		return "", fmt.Errorf("%s cannot be written: %w; give the daemon a state folder that it may write", path, err)
	}
	return id, nil
}
