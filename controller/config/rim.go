package config

import (
	"cmp"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"leat/controller/payload"
	"leat/dosing"
)

// rim builds what surrounds the plant: nodes, topics, broker, page, folders.
type rim struct {
	*frame
	inputs *inputs
}

func (b *rim) broker() {
	in := &b.layout.Broker
	out := &b.file.Broker
	out.URL, out.ClientID, out.User = in.URL, in.ClientID, in.User
	if out.URL == "" {
		out.URL = "mqtt://127.0.0.1:1883"
	}
	if out.ClientID == "" {
		out.ClientID = ownClientID(b.file)
	} else if b.file.Cluster.Shared() {
		b.warn("broker.client_id", "the daemons that share this ledger must not share it: the broker would throw out one for the other")
	}
	b.brokerURL(out.URL)
	if out.Discovery = strings.TrimSuffix(in.Discovery, "/"); in.Discovery != "" {
		if err := payload.CheckTopic(out.Discovery); err != nil {
			b.fault("broker.discovery", quoted(in.Discovery), err.Error(), "")
		} else if out.Discovery == cmp.Or(in.Prefix, payload.DefaultPrefix) {
			b.fault("broker.discovery", quoted(in.Discovery), "is the prefix of leat's own topics", "write the level at which the hub looks, such as homeassistant")
		}
	}
	out.Password = b.secret("broker", "password", in.PasswordFile, in.PasswordEnv, in.Credential)
	if out.Password != "" && in.User == "" {
		b.fault("broker.user", "", "is missing", "a password without a user is never asked for")
	}
	out.CA, out.Certificate, out.Key = b.path(in.CAFile), b.path(in.CertificateFile), b.path(in.KeyFile)
	b.keyPair("broker", in.CertificateFile, in.KeyFile)
	if in.KeyFile != "" {
		b.private("broker.key_file", out.Key)
	}
}

// ownClientID is a daemon's where the file names none: a broker throws out the first of two
// clients of one name.
func ownClientID(f *File) string {
	id := "leat-" + f.Settings.Safety.Station
	if f.Cluster.Shared() {
		id += "-" + f.Cluster.Name
	}
	return id
}

func (b *rim) brokerURL(text string) {
	u, err := url.Parse(text)
	switch {
	case err != nil:
		b.fault("broker.url", "", "is not a URL", "write mqtt://host:1883 or mqtts://host:8883")
		return
	case u.User != nil:
		// The value is not shown: it holds the secret that must not stand here.
		b.fault("broker.url", "", "holds a name or password", "state user, and password_file or password_env, instead")
		return
	case u.Scheme != "mqtt" && u.Scheme != "mqtts" && u.Scheme != "tcp" && u.Scheme != "ssl":
		b.fault("broker.url", quoted(text), "has an unknown scheme", "write mqtt://host:1883 or mqtts://host:8883")
		return
	case u.Hostname() == "" || u.Port() == "" || strings.Trim(u.Path, "/") != "":
		b.fault("broker.url", quoted(text), "does not name host and port", "write mqtt://host:1883 or mqtts://host:8883")
		return
	}
	if (u.Scheme == "mqtt" || u.Scheme == "tcp") && !loopback(u.Hostname()) {
		b.warn("broker.url", "orders to pumps travel unencrypted; use mqtts:// with ca_file")
	}
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

func (b *rim) page() {
	in := &b.layout.Page
	out := &b.file.Web
	*out = Web{Off: in.Off, Listen: in.Listen, Certificate: b.path(in.CertificateFile), Key: b.path(in.KeyFile), BehindProxy: in.BehindProxy}
	if out.Listen == "" {
		out.Listen = "127.0.0.1:8470"
	}
	var known bool
	if out.US = in.Units == "us"; in.Units != "" && in.Units != "metric" && !out.US {
		b.fault("page.units", quoted(in.Units), "are no units of the page", `write "metric" or "us"`)
	}
	if out.ECScale, known = dosing.ParseECScale(in.ECScale); !known {
		b.fault("page.ec_scale", quoted(in.ECScale), "is no scale of EC", `write "CF", "ppm 500" or "ppm 700"; without it EC stands in mS/cm alone`)
	}
	b.keyPair("page", in.CertificateFile, in.KeyFile)
	if in.KeyFile != "" {
		b.private("page.key_file", out.Key)
	}
	if host, ok := b.listen("page.listen", out.Listen); ok && !in.Off && !loopback(host) && in.CertificateFile == "" && !in.BehindProxy {
		b.fault("page.listen", quoted(out.Listen), "would show the page and take passwords unencrypted on the network",
			"state certificate_file and key_file, or listen on 127.0.0.1 and set behind_proxy = true behind a proxy that speaks HTTPS")
	}
	b.file.Metrics.Listen = b.layout.Metrics.Listen
	if m := b.file.Metrics.Listen; m != "" {
		b.listen("metrics.listen", m)
		if m == out.Listen && !in.Off {
			b.file.Metrics.Listen = ""
		}
	} else if in.Off {
		b.warn("page.off", "without a page and without metrics.listen there is no /metrics, /healthz or /readyz")
	}
	if in.BehindProxy && !in.Off && b.file.Metrics.Listen == "" {
		b.warn("page.behind_proxy", "the page shows no /metrics where a proxy would pass them on; metrics.listen gives them an address of their own")
	}
}

// listen checks host:port and returns the host.
func (b *rim) listen(path, text string) (string, bool) {
	host, port, err := net.SplitHostPort(text)
	n, bad := strconv.Atoi(port)
	if err != nil || bad != nil || n < 0 || n > 65535 {
		b.fault(path, quoted(text), "is not an address with a port", `write "127.0.0.1:8470"`)
		return "", false
	}
	return host, true
}

func (b *rim) keyPair(table, certificate, key string) {
	if (certificate == "") != (key == "") {
		b.fault(join(table, "certificate_file"), "", "stands without its other half", "state certificate_file and key_file together")
	}
}

func (b *rim) folders() {
	b.file.State = b.path(b.layout.Storage.Folder)
	if b.file.State == "" {
		b.file.State = b.env.StateFolder
	}
	if b.file.State == "" {
		b.file.State = b.path("leat-state")
	}
	if b.env.Several != "" {
		b.file.State = filepath.Join(b.file.State, b.env.Several)
	}
	if why := noFolder(b.file.State); why != "" {
		b.fault("storage.folder", quoted(b.file.State), why, "name a folder on a local disk")
	}
	b.file.Log = b.layout.Log.Level
	switch b.file.Log {
	case "":
		b.file.Log = "info"
	case "debug", "info", "warn", "error":
	default:
		b.fault("log.level", quoted(b.file.Log), "is no level", "write debug, info, warn or error")
	}
}

// noFolder says why a state folder can be none: leat check reads no disk but this
// much.
func noFolder(path string) string {
	for _, kernels := range []string{"/proc", "/sys", "/dev"} {
		if clean := filepath.ToSlash(filepath.Clean(path)); clean == kernels || strings.HasPrefix(clean, kernels+"/") && !strings.HasPrefix(clean, "/dev/shm/") {
			return "is the kernel's and no disk"
		}
	}
	if info, err := os.Stat(path); err == nil && !info.IsDir() {
		return "is a file and no folder"
	}
	return ""
}
