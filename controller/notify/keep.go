package notify

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// keptName is the file in the state folder, and largestKept what is read of one.
const (
	keptName    = "notified.json"
	largestKept = 1 << 20
	keyBytes    = 32
)

// keptFile is what a restart needs: the key of the links, and what was told.
type keptFile struct {
	Key   []byte
	Rings []ring
}

// readKept reads it; a file that is missing or none of ours gives a new key and no rings.
func readKept(folder string) keptFile {
	var k keptFile
	text, err := os.ReadFile(filepath.Join(folder, keptName))
	if err != nil || len(text) > largestKept || json.Unmarshal(text, &k) != nil || len(k.Key) != keyBytes {
		k = keptFile{Key: make([]byte, keyBytes)}
		_, _ = rand.Read(k.Key) // never fails: crypto/rand ends the program instead
	}
	return k
}

// write keeps it, whole or not at all.
func (k *keptFile) write(folder string) error {
	text, err := json.Marshal(k)
	if err != nil {
		return err
	}
	path := filepath.Join(folder, keptName)
	unfinished := path + ".unfinished"
	if err = os.WriteFile(unfinished, text, 0o600); err == nil {
		err = os.Rename(unfinished, path)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("what was told cannot be kept: %w", err)
	}
	return err
}
