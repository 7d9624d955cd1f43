package notify

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"mime"
	"mime/quotedprintable"
	"net"
	"net/smtp"
	"net/url"
	"strings"
	"time"
)

// Mail sends letters through a mail server, by TLS alone.
type Mail struct {
	Server         string // host:port; 465 speaks TLS from the first byte
	User, Password string
	From           string
	To             []string
	Roots          *x509.CertPool // nil = the system's
	AtOnce         bool           // TLS from the first byte on a port other than 465
}

const atOncePort = "465"

type post struct{ Mail }

func (p *post) name() string { return "mail" }

func (*post) close() {} // each letter has a connection of its own

func (p *post) deliver(ctx context.Context, l *Letter) error {
	host, port, err := net.SplitHostPort(p.Server)
	if err != nil {
		return err
	}
	var dialer net.Dialer
	conn, err := dialer.DialContext(ctx, "tcp", p.Server)
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close() }()
	if ends, ok := ctx.Deadline(); ok {
		_ = conn.SetDeadline(ends) // of a connection that is open
	}
	secure := &tls.Config{ServerName: host, RootCAs: p.Roots, MinVersion: tls.VersionTLS12}
	atOnce := p.AtOnce || port == atOncePort
	if atOnce {
		conn = tls.Client(conn, secure)
	}
	client, err := smtp.NewClient(conn, host)
	if err != nil {
		return err
	}
	defer func() { _ = client.Close() }()
	if !atOnce {
		if offered, _ := client.Extension("STARTTLS"); !offered {
			return fmt.Errorf("%s offers no STARTTLS: nothing is sent unencrypted; try port 465", host)
		}
		if err := client.StartTLS(secure); err != nil {
			return err
		}
	}
	return p.hand(client, host, l)
}

// hand gives the letter over on a connection that is encrypted.
func (p *post) hand(client *smtp.Client, host string, l *Letter) error {
	if p.User != "" {
		if err := client.Auth(smtp.PlainAuth("", p.User, p.Password, host)); err != nil {
			return err
		}
	}
	if err := client.Mail(p.From); err != nil {
		return err
	}
	var refused error
	taken := 0
	for _, to := range p.To {
		if err := client.Rcpt(to); err != nil {
			refused = fmt.Errorf("%s: %w", to, err)
			continue
		}
		taken++
	}
	if taken == 0 {
		return refused // one wrong address keeps nobody else asleep
	}
	body, err := client.Data()
	if err != nil {
		return err
	}
	if _, err := body.Write(p.message(l)); err != nil {
		return err
	}
	if err := body.Close(); err != nil {
		return err
	}
	_ = client.Quit() // it has the letter, whatever it says now
	return nil
}

// message is the letter by RFC 5322.
func (p *post) message(l *Letter) []byte {
	var b bytes.Buffer
	_, host, _ := strings.Cut(p.From, "@")
	header := func(key, value string) { fmt.Fprintf(&b, "%s: %s\r\n", key, oneLine(value)) }
	header("Date", l.At.Format(time.RFC1123Z))
	header("From", p.From)
	header("To", strings.Join(p.To, ", "))
	header("Message-ID", "<"+l.ID+"@"+host+">")
	header("Subject", mime.QEncoding.Encode("utf-8", oneLine("leat "+l.Station+": "+l.Summary())))
	header("Auto-Submitted", "auto-generated")
	if l.Event == Raised || l.Event == Again {
		header("Importance", map[bool]string{true: "high", false: "normal"}[l.Priority.Code() == "p1"])
	}
	header("MIME-Version", "1.0")
	header("Content-Type", "text/plain; charset=utf-8")
	header("Content-Transfer-Encoding", "quoted-printable")
	b.WriteString("\r\n")
	w := quotedprintable.NewWriter(&b)
	_, err := w.Write([]byte(strings.ReplaceAll(l.Words(), "\n", "\r\n")))
	if err = errors.Join(err, w.Close()); err != nil {
		return nil // a buffer takes everything
	}
	return b.Bytes()
}

// oneLine keeps a value from becoming a header of its own.
func oneLine(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, text)
}

// bare is an error of the web without its address, which may hold a secret.
func bare(err error) error {
	var of *url.Error
	if errors.As(err, &of) {
		return of.Err
	}
	return err
}
