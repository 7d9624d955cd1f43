package notify

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"time"
)

// The headers by which a receiver tells our message from another's and an old one from a new
// one: it computes the MAC itself, refuses a time of more than five minutes ago, and takes an
// id that it has seen for one message.
const (
	timeHeader      = "Leat-Time"
	signatureHeader = "Leat-Signature"
)

// Webhook posts letters, signed.
type Webhook struct {
	URL    string
	Secret string
	Roots  *x509.CertPool // nil = the system's
}

// Sign is the signature of a body at a time in Unix seconds: HMAC-SHA-256 over time, a dot
// and the body, in hexadecimal digits.
func Sign(secret string, unix int64, body []byte) string {
	h := hmac.New(sha256.New, []byte(secret))
	h.Write(append(strconv.AppendInt(nil, unix, 10), '.'))
	h.Write(body)
	return "sha256=" + hex.EncodeToString(h.Sum(nil))
}

type webhook struct {
	Webhook
	client *http.Client
}

func newWebhook(w Webhook) *webhook {
	return &webhook{w, &http.Client{
		Transport: &http.Transport{Proxy: http.ProxyFromEnvironment, TLSClientConfig: &tls.Config{RootCAs: w.Roots, MinVersion: tls.VersionTLS12},
			IdleConnTimeout: time.Minute, MaxResponseHeaderBytes: 64 << 10},
		// What is signed for one address is not carried to another.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
}

func (w *webhook) name() string { return "webhook" }

func (w *webhook) close() { w.client.CloseIdleConnections() }

func (w *webhook) deliver(ctx context.Context, l *Letter) error {
	body, err := l.JSON()
	if err != nil {
		return err
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, w.URL, bytes.NewReader(body))
	if err != nil {
		return err
	}
	now := time.Now().Unix()
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("User-Agent", "leat")
	request.Header.Set(timeHeader, strconv.FormatInt(now, 10))
	request.Header.Set(signatureHeader, Sign(w.Secret, now, body))
	answer, err := w.client.Do(request)
	if err != nil {
		return bare(err)
	}
	defer func() { _ = answer.Body.Close() }()
	_, _ = io.CopyN(io.Discard, answer.Body, 64<<10) // so that the connection is used again
	if answer.StatusCode/100 != 2 {
		return fmt.Errorf("%s answers %s", request.URL.Host, answer.Status)
	}
	return nil
}
