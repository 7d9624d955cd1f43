package web

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// certify writes a certificate of a name, dated so that it is newer than the one before.
func certify(t *testing.T, file, key, name string, at time.Time) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), DNSNames: []string{name}}
	body, err := x509.CreateCertificate(rand.Reader, form, form, &private.PublicKey, private)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	for path, block := range map[string]*pem.Block{file: {Type: "CERTIFICATE", Bytes: body}, key: {Type: "PRIVATE KEY", Bytes: secret}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(path, at, at); err != nil {
			t.Fatal(err)
		}
	}
}

func TestARenewedCertificateIsServedWithoutARestartAndABrokenOneIsNot(t *testing.T) {
	folder := t.TempDir()
	file, key := filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	now := time.Now()
	certify(t, file, key, "first.example", now)
	h := newHouse(t, func(o *Options) { o.Certificate, o.Key = file, key })
	served := func() string {
		t.Helper()
		conn, err := tls.Dial("tcp", h.doors[0].listener.Addr().String(), &tls.Config{InsecureSkipVerify: true, MinVersion: tls.VersionTLS12}) // the name is what is asked for
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		return conn.ConnectionState().PeerCertificates[0].Subject.CommonName
	}
	later := func() {
		h.certificate.mu.Lock()
		defer h.certificate.mu.Unlock()
		h.certificate.looked = time.Time{}
	}
	if got := served(); got != "first.example" {
		t.Fatalf("served %s", got)
	}
	certify(t, file, key, "second.example", now.Add(time.Minute))
	later()
	if got := served(); got != "second.example" {
		t.Errorf("renewed, and served is %s", got)
	}
	if err := os.WriteFile(file, []byte("half a file"), 0o600); err != nil {
		t.Fatal(err)
	}
	later()
	if got := served(); got != "second.example" {
		t.Errorf("with a broken file served is %s", got)
	}
}
