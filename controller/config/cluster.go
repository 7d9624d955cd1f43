package config

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"
)

// cluster reads where a shared ledger is kept. It comes before the broker, whose client's name
// rests on it.
func (b *rim) cluster() {
	in := &b.layout.Cluster
	if !in.Stated {
		return
	}
	out := &b.file.Cluster
	*out = Cluster{Servers: in.Servers, Name: in.Name, Replicas: 1, User: in.User,
		CA: b.path(in.CAFile), Certificate: b.path(in.CertificateFile), Key: b.path(in.KeyFile)}
	if in.Name != "" {
		b.name("cluster.name", in.Name)
	}
	b.servers(in.Servers)
	switch len(in.Servers) {
	case 0: // told already
	case 1:
		b.warn("cluster.servers", "one server keeps the ledger: while it is away nothing is dosed")
	case 3, 5:
		out.Replicas = 3
	default:
		b.fault("cluster.servers", strconv.Itoa(len(in.Servers)), "is no number of servers that has a majority when one is lost", "name one, three or five")
	}
	out.Password = b.secret("cluster", "password", in.PasswordFile, in.PasswordEnv, in.Credential)
	if out.Password != "" && in.User == "" {
		b.fault("cluster.user", "", "is missing", "a password without a user is never asked for")
	}
	b.keyPair("cluster", in.CertificateFile, in.KeyFile)
	if in.KeyFile != "" {
		b.private("cluster.key_file", out.Key)
	}
	if !b.layout.Station.RearmAfterRestart {
		b.warn("cluster", "a daemon that takes over only observes until a person arms the tanks; rearm_after_restart = true lets it go on")
	}
}

func (b *rim) servers(servers []string) {
	const hint = "write nats://host:4222 or tls://host:4222"
	seen := map[string]bool{}
	for _, text := range servers {
		u, err := url.Parse(text)
		switch {
		case err != nil:
			b.fault("cluster.servers", "", "holds what is not a URL", hint)
			continue
		case u.User != nil:
			// The value is not shown: it holds the secret that must not stand here.
			b.fault("cluster.servers", "", "holds a name or password", "state user, and password_file or password_env, instead")
			continue
		case u.Scheme != "nats" && u.Scheme != "tls" || u.Hostname() == "" || u.Port() == "" || strings.Trim(u.Path, "/") != "":
			b.fault("cluster.servers", quoted(text), "is no address of a ledger server", hint)
			continue
		case seen[u.Host]:
			b.fault("cluster.servers", quoted(text), "stands twice", "name each server once")
		}
		seen[u.Host] = true
		if u.Scheme == "nats" && !loopback(u.Hostname()) && b.layout.Cluster.CAFile == "" {
			b.warn("cluster.servers", fmt.Sprintf("the ledger travels unencrypted to %s; use tls:// with ca_file", u.Host))
		}
	}
}
