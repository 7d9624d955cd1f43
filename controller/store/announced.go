package store

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

const announcedFile = "announced.json"

// Announced are the topics at which an earlier run announced things to hubs. Their messages stay at the broker until somebody
// clears them, and only who wrote them down knows where they are.
func Announced(dir string) (topics []string, err error) {
	text, err := os.ReadFile(filepath.Join(dir, announcedFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err == nil {
		err = json.Unmarshal(text, &topics)
	}
	return topics, err
}

// NoteAnnounced writes them down, sorted; none leave no file.
func NoteAnnounced(dir string, topics []string) error {
	path := filepath.Join(dir, announcedFile)
	if len(topics) == 0 {
		if err := os.Remove(path); !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		return nil
	}
	slices.Sort(topics)
	text, err := json.Marshal(topics)
	if err != nil {
		return err
	}
	unfinished := path + ".new"
	if err := os.WriteFile(unfinished, text, 0o600); err != nil {
		return err
	}
	return os.Rename(unfinished, path)
}
