package deploy_test

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"crypto/x509"
	"debug/buildinfo"
	"debug/elf"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"strings"
	"syscall"
	"testing"

	"leat/controller/app/apptest"
)

// What a program may weigh, stripped, in bytes. The client of the ledger servers, which few need, comes on top.
const (
	largestProgram = 25 << 20
	largestCluster = 27 << 20
)

// The outside judges are the emulators of QEMU 7.2, Debian: the programs really run.
func TestProgramsAreStaticAndRunOnTheirMachines(t *testing.T) {
	folder := releaseOf(t)
	for name, emulator := range map[string]string{"leat-amd64": "", "leat-arm64": "qemu-aarch64-static", "leat-armhf": "qemu-arm-static",
		"leat-cluster-amd64": "", "leat-cluster-arm64": "qemu-aarch64-static", "leat-cluster-armhf": "qemu-arm-static"} {
		path := filepath.Join(folder, name)
		file, err := elf.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		if file.Section(".interp") != nil || file.Section(".symtab") != nil {
			t.Errorf("%s is not static, or not stripped", name)
		}
		_ = file.Close()
		most := int64(largestProgram)
		if strings.Contains(name, "cluster") {
			most = largestCluster
		}
		info, err := os.Stat(path)
		if err != nil || info.Size() > most {
			t.Errorf("%s: %d bytes, %v; at most %d", name, info.Size(), err, most)
		}
		t.Logf("%s: %d bytes", name, info.Size())
		for said, words := range map[string][]string{
			"leat " + released:          {"version"},
			"No fault found":            {"check", "-config", "minimal.toml"},
			"Ca":                        {"solution", "NO3=7.5", "K=3", "Ca=2.25"},
			"usage: leat ledger -state": {"ledger", "-h"},
		} {
			command := exec.Command(path, words...)
			if emulator != "" {
				command = exec.Command(program(t, emulator, "qemu-user-static"), append([]string{path}, words...)...)
			}
			if out, err := command.CombinedOutput(); err != nil || !strings.Contains(string(out), said) {
				t.Errorf("%s %v: %v, %s", name, words, err, out)
			}
		}
	}
}

// unpacked is what the package of this machine puts onto a disk.
func unpacked(t *testing.T) string {
	t.Helper()
	folder, root := releaseOf(t), t.TempDir()
	if out, err := exec.Command(program(t, "dpkg-deb", "dpkg"), "-x", filepath.Join(folder, "leat_"+released+"_amd64.deb"), root).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	return root
}

func TestPackageHoldsWhatItsUserLooksFor(t *testing.T) {
	root := unpacked(t)
	for _, name := range []string{"usr/bin/leat", "etc/leat/leat.toml", "etc/leat/broker-password", "usr/share/man/man1/leat.1.gz", "usr/share/bash-completion/completions/leat",
		"usr/share/zsh/vendor-completions/_leat", "usr/share/fish/vendor_completions.d/leat.fish", "usr/share/doc/leat/copyright", "usr/share/doc/leat/leat.cdx.json",
		"usr/share/doc/leat/changelog.gz", "usr/share/doc/leat/first-day.md", "usr/share/doc/leat/RUNBOOK.md", "usr/share/doc/leat/examples/leat.toml"} {
		if _, err := os.Stat(filepath.Join(root, name)); err != nil {
			t.Error(err)
		}
	}
	if info, err := os.Stat(filepath.Join(root, "etc/leat/broker-password")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the password's file: %v, %v", info, err)
	}
	if out, err := exec.Command("bash", "-n", filepath.Join(root, "usr/share/bash-completion/completions/leat")).CombinedOutput(); err != nil {
		t.Errorf("the completion: %v %s", err, out)
	}
	man := exec.Command("sh", "-c", "zcat "+filepath.Join(root, "usr/share/man/man1/leat.1.gz")+" | head -n 1")
	if out, err := man.Output(); err != nil || !strings.HasPrefix(string(out), ".TH") && !strings.HasPrefix(string(out), ".\\\"") {
		t.Errorf("the manual page begins %q, %v", out, err)
	}
}

// The outside judge of the layout is skopeo of Debian, which checks every digest as it copies. No container engine runs
// here (podman 4.3 loads the image and then refuses the machine's cgroups): the daemon is run in the image's own root
// instead, as the image's user, against a real broker.
func TestImageHoldsAllThatItsProgramNeedsAndNothingElse(t *testing.T) {
	folder, root := releaseOf(t), t.TempDir()
	archive := "oci-archive:" + filepath.Join(folder, "leat-"+released+".oci.tar")
	for _, machine := range [][]string{{"amd64", ""}, {"arm64", ""}, {"arm", "v7"}} {
		words := []string{"--override-arch", machine[0], "--override-os", "linux"}
		if machine[1] != "" {
			words = append(words, "--override-variant", machine[1])
		}
		copied := filepath.Join(t.TempDir(), "copy")
		if out, err := exec.Command(program(t, "skopeo", "skopeo"), append(words, "copy", archive, "dir:"+copied)...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %v %s", machine, err, out)
		}
		var manifest struct {
			Config struct{ Digest string }
			Layers []struct{ Digest string }
		}
		if err := json.Unmarshal([]byte(read(t, filepath.Join(copied, "manifest.json"))), &manifest); err != nil || len(manifest.Layers) != 1 {
			t.Fatalf("manifest: %v", err)
		}
		var config struct {
			Architecture string
			Config       struct{ User string }
		}
		if err := json.Unmarshal([]byte(read(t, filepath.Join(copied, strings.TrimPrefix(manifest.Config.Digest, "sha256:")))), &config); err != nil || config.Architecture != machine[0] || config.Config.User != "65532:65532" {
			t.Errorf("%v: config %+v, %v", machine, config, err)
		}
		if machine[0] == "amd64" {
			untar(t, filepath.Join(copied, strings.TrimPrefix(manifest.Layers[0].Digest, "sha256:")), root)
		}
	}
	if !x509.NewCertPool().AppendCertsFromPEM([]byte(read(t, filepath.Join(root, "etc/ssl/certs/ca-certificates.crt")))) {
		t.Error("no certificates of authorities")
	}
	var files []string
	_ = filepath.WalkDir(root, func(path string, e os.DirEntry, _ error) error {
		if !e.IsDir() {
			files = append(files, strings.TrimPrefix(path, root))
		}
		return nil
	})
	if len(files) != 3 {
		t.Errorf("the image holds %v", files)
	}
	if os.Geteuid() != 0 {
		t.Skip("only root can enter the image's root")
	}
	broker, page := apptest.NewBroker(t), apptest.Port(t)
	settings := "[station]\ntime_zone = \"Europe/Lisbon\"\n\n[broker]\nurl = \"" + broker.URL() + "\"\n\n[page]\nlisten = \"127.0.0.1:" + page + "\"\n\n"
	if err := os.WriteFile(filepath.Join(root, "etc/leat/leat.toml"), []byte(settings+read(t, "minimal.toml")), 0o644); err != nil {
		t.Fatal(err)
	}
	inside := func(words ...string) *exec.Cmd {
		command := exec.Command("/leat", append(words, "-config", "/etc/leat/leat.toml")...)
		command.Env, command.Dir = []string{"STATE_DIRECTORY=/var/lib/leat", "PATH=/"}, "/"
		command.SysProcAttr = &syscall.SysProcAttr{Chroot: root, Credential: &syscall.Credential{Uid: 65532, Gid: 65532}}
		return command
	}
	if out, err := inside("check").CombinedOutput(); err != nil || !strings.Contains(string(out), "ledger and history in /var/lib/leat") {
		t.Errorf("in the image: %v\n%s", err, out)
	}
	daemon, said := inside("run"), &bytes.Buffer{}
	daemon.Stderr = said
	if err := daemon.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- daemon.Wait() }()
	t.Cleanup(func() { _ = daemon.Process.Kill() })
	apptest.Eventually(t, "the daemon in the image decides, and its link to the broker is open", func() bool {
		answer, err := http.Get("http://127.0.0.1:" + page + "/metrics")
		if err != nil {
			return false
		}
		defer func() { _ = answer.Body.Close() }()
		text, err := io.ReadAll(answer.Body)
		return err == nil && strings.Contains(string(text), "\nleat_broker_connected{station=\"station\"} 1\n")
	})
	if err := daemon.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := <-ended; err != nil || !strings.Contains(said.String(), "stopped, pumps off") {
		t.Errorf("the image's daemon ended with %v:\n%s", err, said)
	}
}

func untar(t *testing.T, from, to string) {
	t.Helper()
	packed, err := gzip.NewReader(bytes.NewReader([]byte(read(t, from))))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(to, 0o755); err != nil { // the image's user must pass
		t.Fatal(err)
	}
	for reader := tar.NewReader(packed); ; {
		header, err := reader.Next()
		if errors.Is(err, io.EOF) {
			return
		}
		path := filepath.Join(to, header.Name)
		if err == nil && header.Typeflag == tar.TypeDir {
			err = os.MkdirAll(path, 0o755)
		} else if err == nil {
			var body []byte
			if body, err = io.ReadAll(reader); err == nil {
				err = os.WriteFile(path, body, os.FileMode(header.Mode))
			}
		}
		if err == nil {
			err = os.Chown(path, header.Uid, header.Gid)
		}
		if err == nil {
			err = os.Chmod(path, os.FileMode(header.Mode).Perm())
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

func TestLicencesAndBillNameEveryModuleOfTheProgram(t *testing.T) {
	folder := releaseOf(t)
	info, err := buildinfo.ReadFile(filepath.Join(folder, "leat-armhf"))
	if err != nil || len(info.Deps) < 20 {
		t.Fatalf("%d modules, %v", len(info.Deps), err)
	}
	var bill struct {
		Components []struct {
			Name, Version, Purl string
			Licenses            []struct{ License struct{ ID string } }
		}
	}
	if err := json.Unmarshal([]byte(read(t, filepath.Join(folder, "leat.cdx.json"))), &bill); err != nil {
		t.Fatal(err)
	}
	licensed := map[string]string{}
	for _, c := range bill.Components {
		licensed[c.Name+" "+c.Version] = c.Licenses[0].License.ID
	}
	texts := read(t, filepath.Join(folder, "LICENCES.txt"))
	for _, m := range append(info.Deps, &debug.Module{Path: "std", Version: strings.TrimPrefix(info.GoVersion, "go")}) {
		key := m.Path + " " + m.Version
		if licensed[key] == "" {
			t.Errorf("the bill does not name %s", key)
		}
		_, section, found := strings.Cut(texts, "\n===== "+key+"\n")
		section, _, _ = strings.Cut(section, "\n===== ")
		if !found || len(section) < 500 {
			t.Errorf("no licence of %s", key)
		}
	}
}

// The same commit in two folders, in other zones and languages and for other users' masks: the same bytes. Both use one cache of
// compiled packages, which Go keys by content without folders; LEAT_COLD=1 gives the second a cache of its own.
func TestReleaseIsTheSameFromTwoFolders(t *testing.T) {
	releaseOf(t) // what takes long is compiled once
	var sums []string
	for i, folder := range []string{"one", "a longer/path to two"} {
		at := filepath.Join(t.TempDir(), folder)
		if out, err := exec.Command("git", "clone", "-q", "..", at).CombinedOutput(); err != nil {
			t.Fatalf("%v %s", err, out)
		}
		out := t.TempDir()
		command := exec.Command("sh", "-c", []string{"umask 022", "umask 077"}[i]+`; exec go run ./deploy/package -only amd64 `+released+` "$1"`, "sh", out)
		command.Dir = at
		command.Env = append(os.Environ(), []string{"TZ=Asia/Kathmandu", "TZ=America/Lima"}[i], []string{"LC_ALL=C", "LC_ALL=C.UTF-8"}[i])
		if i == 1 && os.Getenv("LEAT_COLD") == "1" {
			command.Env = append(command.Env, "GOCACHE="+t.TempDir())
		}
		if said, err := command.CombinedOutput(); err != nil {
			t.Fatalf("%v %s", err, said)
		}
		sums = append(sums, read(t, filepath.Join(out, "SHA256SUMS")))
	}
	if sums[0] != sums[1] || strings.Count(sums[0], "\n") != 7 {
		t.Errorf("two folders, two releases:\n%s\n%s", sums[0], sums[1])
	}
	t.Logf("twice\n%s", sums[0])
}
