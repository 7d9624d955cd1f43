package store

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// headFile is the witness beside the database: number and hash of the newest
// acknowledged row. A hash chain cannot tell that its own end is missing, and
// SQLite silently drops everything behind a damaged place in its log. It is
// written after the row is durable and not synced, so it is never ahead of a
// healthy database; torn or missing, it says nothing.
type headFile struct {
	file     *os.File // nil when read-only
	known    bool
	sequence uint64
	hash     [32]byte
}

// Head reads the witness of a state folder: how many rows were acknowledged, and the
// newest one's hash. Published elsewhere, it shows a tail that was written anew. A
// witness that is torn or missing says nothing.
func Head(dir string) (rows uint64, hash [32]byte, known bool) {
	h, err := readHead(filepath.Join(dir, headName))
	if err != nil || !h.known {
		return 0, hash, false
	}
	return h.sequence, h.hash, true
}

const headSize = 8 + 32 + 8 // sequence, hash, first bytes of the SHA-256 of both

func openHead(path string) (*headFile, error) {
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("witness of the ledger: %w", err)
	}
	h := &headFile{file: file}
	if err := h.parse(file); err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return h, nil
}

func readHead(path string) (*headFile, error) {
	h := &headFile{}
	file, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return h, nil
	}
	if err != nil {
		return nil, fmt.Errorf("witness of the ledger: %w", err)
	}
	return h, errors.Join(h.parse(file), file.Close())
}

func (h *headFile) parse(from io.Reader) error {
	var block [headSize]byte
	switch _, err := io.ReadFull(from, block[:]); {
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return nil
	case err != nil:
		return fmt.Errorf("witness of the ledger: %w", err)
	}
	if sum := sha256.Sum256(block[:40]); string(sum[:8]) != string(block[40:]) {
		return nil
	}
	h.known = true
	h.sequence = binary.BigEndian.Uint64(block[:8])
	copy(h.hash[:], block[8:40])
	return nil
}

func (h *headFile) write(sequence uint64, hash [32]byte) error {
	var block [headSize]byte
	binary.BigEndian.PutUint64(block[:8], sequence)
	copy(block[8:40], hash[:])
	sum := sha256.Sum256(block[:40])
	copy(block[40:], sum[:8])
	if _, err := h.file.WriteAt(block[:], 0); err != nil {
		return fmt.Errorf("witness of the ledger: %w", err)
	}
	return nil
}

func (h *headFile) close() error {
	if h.file == nil {
		return nil
	}
	return h.file.Close()
}
