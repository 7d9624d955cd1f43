package web

import (
	"crypto/tls"
	"os"
	"sync"
	"time"
)

// certificate is the page's, read anew when its file has changed: one that is renewed by
// night needs no restart.
type certificate struct {
	mu              sync.Mutex
	file, key       string
	changed, looked time.Time
	pair            *tls.Certificate
}

// certificateEvery is how often it is looked whether the file has changed.
const certificateEvery = 10 * time.Second

func newCertificate(file, key string) (*certificate, error) {
	c := &certificate{file: file, key: key}
	return c, c.read()
}

func (c *certificate) read() error {
	pair, err := tls.LoadX509KeyPair(c.file, c.key)
	if err != nil {
		return err
	}
	c.pair, c.changed = &pair, changedAt(c.file, c.key)
	return nil
}

// changedAt is when the newer of two files was written.
func changedAt(files ...string) (at time.Time) {
	for _, file := range files {
		if info, err := os.Stat(file); err == nil && info.ModTime().After(at) {
			at = info.ModTime()
		}
	}
	return at
}

// get is the certificate for a handshake. While a file cannot be read, as between the
// writing of the two, the one before serves on.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if now := time.Now(); now.Sub(c.looked) >= certificateEvery {
		c.looked = now
		if !changedAt(c.file, c.key).Equal(c.changed) {
			_ = c.read()
		}
	}
	return c.pair, nil
}
