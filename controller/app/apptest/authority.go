package apptest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// Authority signs certificates for one test.
type Authority struct {
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
}

// NewAuthority makes an authority that nobody else trusts.
func NewAuthority(t testing.TB) *Authority {
	t.Helper()
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test authority"}, IsCA: true,
		BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign, NotBefore: time.Now().Add(-24 * time.Hour), NotAfter: time.Now().Add(24 * time.Hour)}
	a := &Authority{key: newKey(t)}
	a.certificate = sign(t, template, template, &a.key.PublicKey, a.key)
	return a
}

func newKey(t testing.TB) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func sign(t testing.TB, template, parent *x509.Certificate, public *ecdsa.PublicKey, key *ecdsa.PrivateKey) *x509.Certificate {
	t.Helper()
	der, err := x509.CreateCertificate(rand.Reader, template, parent, public, key)
	if err != nil {
		t.Fatal(err)
	}
	certificate, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return certificate
}

// File is the authority's own certificate, for a ca_file.
func (a *Authority) File(t testing.TB) string {
	return writePEM(t, "authority.pem", "CERTIFICATE", a.certificate.Raw)
}

// Issue writes a certificate for a host and its key.
func (a *Authority) Issue(t testing.TB, host string) (certificate, key string) {
	t.Helper()
	own := newKey(t)
	template := &x509.Certificate{SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: host}, IPAddresses: []net.IP{net.ParseIP(host)},
		NotBefore: time.Now().Add(-12 * time.Hour), NotAfter: time.Now().Add(time.Hour), ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	issued := sign(t, template, a.certificate, &own.PublicKey, a.key)
	secret, err := x509.MarshalPKCS8PrivateKey(own)
	if err != nil {
		t.Fatal(err)
	}
	return writePEM(t, "certificate.pem", "CERTIFICATE", issued.Raw), writePEM(t, "key.pem", "PRIVATE KEY", secret)
}

func writePEM(t testing.TB, name, kind string, der []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
