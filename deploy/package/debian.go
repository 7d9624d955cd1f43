package main

import (
	"bytes"
	"crypto/md5" //nolint:gosec // Debian's list of sums, which finds a torn file and proves nothing
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// debian writes the package of a machine.
func (r *release) debian(t target, program string, licences, bill []byte) error {
	held, err := r.installed(program, licences, bill)
	if err != nil {
		return err
	}
	version := strings.Replace(r.version, "-", "~", 1) // 1.2.0~rc.1 comes before 1.2.0
	control, err := controlOf(version, t.deb, held)
	if err != nil {
		return err
	}
	return r.write(fmt.Sprintf("leat_%s_%s.deb", version, t.deb), ar(r.epoch, []string{"debian-binary", "control.tar.gz", "data.tar.gz"},
		[][]byte{[]byte("2.0\n"), compressed(control.tarball(".", r.epoch)), compressed(held.tarball(".", r.epoch))}))
}

const (
	documents = "/usr/share/doc/leat/"
	units     = "/lib/systemd/system/"
)

// installed is what the package puts where.
func (r *release) installed(program string, licences, bill []byte) (tree, error) {
	held := tree{}
	binary, err := os.ReadFile(program)
	if err != nil {
		return nil, err
	}
	held.file("/usr/bin/leat", 0o755, binary)
	if err := configured(held); err != nil {
		return nil, err
	}
	if err := services(held); err != nil {
		return nil, err
	}
	if err := documented(held); err != nil {
		return nil, err
	}
	held.file(documents+"copyright", 0o644, licences)
	held.file(documents+"leat.cdx.json", 0o644, bill)
	for name, what := range map[string]string{
		"/usr/share/bash-completion/completions/leat":    "bash",
		"/usr/share/zsh/vendor-completions/_leat":        "zsh",
		"/usr/share/fish/vendor_completions.d/leat.fish": "fish",
		"/usr/share/man/man1/leat.1.gz":                  "man",
	} {
		text, err := run(nil, "go", "run", "-mod=readonly", "./cmd/leat", "completion", what) // by this machine's program: it never falls behind
		if err != nil {
			return nil, err
		}
		if what == "man" {
			text = compressed(text)
		}
		held.file(name, 0o644, text)
	}
	return held, nil
}

// configured adds what a person edits: the shortest file that runs, with a service's folder and password.
func configured(held tree) error {
	head, err := os.ReadFile("deploy/package/head.toml")
	if err != nil {
		return err
	}
	rest, err := os.ReadFile("deploy/minimal.toml")
	if err != nil {
		return err
	}
	held.file("/etc/leat/leat.toml", 0o644, append(head, rest...))
	held.file("/etc/leat/broker-password", 0o600, nil)
	return nil
}

// services adds the units: the farm's own with a package's paths, and the same for several stations.
func services(held tree) error {
	packaged := [][2]string{{"/usr/local/bin/leat", "/usr/bin/leat"}, {"file:/usr/local/share/doc/leat/README.md", "file:" + documents + "first-day.md"},
		{"DynamicUser=yes", "User=leat\nGroup=leat"}}
	several := [][2]string{{"Description=leat,", "Description=leat %i,"}, {"broker-password:/etc/leat/broker-password", "broker-password:/etc/leat/%i-password"},
		{"leat.toml", "%i.toml"}, {"StateDirectory=leat", "StateDirectory=leat/%i"}}
	for _, unit := range []struct {
		from, name, head string
		change           [][2]string
	}{
		{"leat.service", "leat.service", "# The daemon of a farm with one station.\n", packaged},
		{"leat.service", "leat@.service", "# The daemon of station %i: /etc/leat/%i.toml, /etc/leat/%i-password, state in /var/lib/leat/%i.\n", append(packaged, several...)},
		{"leat-backup.service", "leat-backup.service", "", nil},
		{"leat-backup.timer", "leat-backup.timer", "", nil},
		{"leat-backup.service", "leat-backup@.service", "# The same for station %i.\n", [][2]string{{"/var/lib/leat ", "/var/lib/leat/%i "}, {"StateDirectory=leat-backup", "StateDirectory=leat-backup/%i"}}},
		{"leat-backup.timer", "leat-backup@.timer", "# The same for station %i: systemctl enable --now leat-backup@ROW.timer\n", [][2]string{{"ledger\n", "ledger, station %i\n"}}},
	} {
		text, err := os.ReadFile("deploy/systemd/" + unit.from)
		if err != nil {
			return err
		}
		changed := string(text)
		if unit.head != "" { // how it is put in place by hand is no matter of a package
			_, body, _ := strings.Cut(changed, "[Unit]\n")
			changed = unit.head + "[Unit]\n" + body
		}
		for _, c := range unit.change {
			if !strings.Contains(changed, c[0]) {
				return fmt.Errorf("%s has no %q to be changed for %s", unit.from, c[0], unit.name)
			}
			changed = strings.ReplaceAll(changed, c[0], c[1])
		}
		held.file(units+unit.name, 0o644, []byte(changed))
	}
	return nil
}

// documented adds the guides and the samples.
func documented(held tree) error {
	guides, err := filepath.Glob("deploy/*.md")
	if err != nil {
		return err
	}
	for _, name := range append(guides, "README.md") {
		if err := add(held, name, documents+filepath.Base(name)); err != nil {
			return err
		}
	}
	changes, err := os.ReadFile("CHANGELOG.md")
	if err != nil {
		return err
	}
	held.file(documents+"changelog.gz", 0o644, compressed(changes))
	if err := add(held, "deploy/leat.toml", documents+"examples/leat.toml"); err != nil {
		return err
	}
	for _, folder := range []string{"prometheus", "alertmanager", "mosquitto", "grafana", "abroad", "node"} {
		err := filepath.WalkDir("deploy/"+folder, func(name string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() {
				return err
			}
			return add(held, name, documents+"examples/"+strings.TrimPrefix(name, "deploy/"))
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func add(held tree, from, to string) error {
	body, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	held.file(to, 0o644, body)
	return nil
}

// controlOf is what dpkg reads and runs.
func controlOf(version, machine string, held tree) (tree, error) {
	control := tree{}
	size, sums, kept := 0, &bytes.Buffer{}, &bytes.Buffer{}
	for _, name := range slices.Sorted(maps.Keys(held)) {
		size += len(held[name].body)
		fmt.Fprintf(sums, "%x  %s\n", md5.Sum(held[name].body), strings.TrimPrefix(name, "/")) //nolint:gosec // as above
		if strings.HasPrefix(name, "/etc/") {
			fmt.Fprintln(kept, name)
		}
	}
	about, err := os.ReadFile("deploy/package/control")
	if err != nil {
		return nil, err
	}
	control.file("/control", 0o644, []byte(strings.NewReplacer("VERSION", version, "MACHINE", machine, "KIBIBYTES", fmt.Sprint((size+1023)/1024)).Replace(string(about))))
	control.file("/md5sums", 0o644, sums.Bytes())
	control.file("/conffiles", 0o644, kept.Bytes())
	for _, script := range []string{"postinst", "prerm", "postrm"} {
		body, err := os.ReadFile("deploy/package/" + script)
		if err != nil {
			return nil, err
		}
		control.file("/"+script, 0o755, body)
	}
	return control, nil
}
