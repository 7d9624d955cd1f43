package mqtt

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// ErrClosed says that the link was not open and that nothing of the message left
// this process: an order refused with it is withdrawn. Any other error of Publish
// leaves its fate in doubt.
var ErrClosed = errors.New("link to the broker is closed")

// ErrTimeout says that the message could not be written in time. It may still be
// on its way.
var ErrTimeout = errors.New("broker takes nothing: write timed out")

// OpenError says why the link could not be opened, or why it was lost.
type OpenError struct {
	Broker string
	What   string
	Hint   string
	Err    error
}

func (e *OpenError) Error() string {
	text := fmt.Sprintf("broker %s: %s", e.Broker, e.What)
	if e.Hint != "" {
		text += "; " + e.Hint
	}
	return text
}

// Unwrap is the error further down.
func (e *OpenError) Unwrap() error { return e.Err }

// explain puts what went wrong while opening into the grower's words.
func (l *Link) explain(err error) *OpenError {
	e := &OpenError{Broker: l.name(), What: err.Error(), Err: err}
	var authority x509.UnknownAuthorityError
	var name x509.HostnameError
	var invalid x509.CertificateInvalidError
	var verification *tls.CertificateVerificationError
	var record tls.RecordHeaderError
	var alert tls.AlertError
	var network *net.OpError
	onNetwork := errors.As(err, &network)
	switch {
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword), errors.Is(err, packets.ErrorRefusedNotAuthorised):
		e.What = fmt.Sprintf("refuses user %q: wrong name or password, or not allowed", l.options.User)
		e.Hint = "check user and password here and at the broker"
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		e.What, e.Hint = "refuses the client id", "use another, of letters and digits"
	case errors.Is(err, packets.ErrorRefusedServerUnavailable):
		e.What, e.Hint = "says it is not available", "look at the broker's log"
	case errors.Is(err, packets.ErrorRefusedBadProtocolVersion):
		e.What, e.Hint = "does not speak MQTT 3.1.1", "use another broker"
	case errors.As(err, &authority):
		e.What = "certificate is signed by an authority that is not trusted here"
		e.Hint = "give the file of the broker's certificate authority"
	case errors.As(err, &name):
		e.What, e.Hint = "certificate is for another host: "+name.Error(), "use the host's name as in the certificate, or renew that"
	case errors.As(err, &invalid):
		e.What, e.Hint = "certificate is not valid: "+invalid.Error(), "renew it, and check this machine's clock"
	case errors.As(err, &verification):
		e.What, e.Hint = "certificate does not pass: "+verification.Err.Error(), "check the broker's certificate"
	case errors.As(err, &record):
		e.What, e.Hint = "does not speak TLS at this port", "use tcp:// or the port for TLS"
	case errors.As(err, &alert):
		e.What, e.Hint = "ends the TLS handshake: "+alert.Error(), "check the client certificate"
	case onNetwork && network.Op == "dial":
		e.What, e.Hint = "cannot be reached: "+network.Err.Error(), "is it running, and are host and port right?"
	case errors.Is(err, context.DeadlineExceeded), isTimeout(err):
		e.What, e.Hint = "does not answer in time", "is this an MQTT broker, and is it busy?"
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), onNetwork:
		e.What, e.Hint = "closed the connection before it answered", "is this port for TLS, or for something else than MQTT?"
		if l.secure {
			e.Hint = "does this port speak TLS?"
		}
	}
	return e
}

func isTimeout(err error) bool {
	var timeout net.Error
	return errors.As(err, &timeout) && timeout.Timeout()
}
