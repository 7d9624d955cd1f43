// Command package makes what a release consists of, from the commit that is checked out:
//
//	go run ./deploy/package 1.2.0 OUT
//
// Static programs for amd64, arm64 and armv7, a .deb of each, a container image (OCI), the licences of all
// modules in one file, the list of what is in the program (CycloneDX), the release notes out of the changelog,
// and the checksums. It needs Go, git and the certificates of Debian's ca-certificates.
//
// The same commit gives the same bytes in any folder, zone and language: every time is the commit's, every
// list is sorted. A Go program writes the archives itself, since a .deb and an image are tar files with little
// around them; a packaging tool would be more to trust and to fetch than the two pages that it replaces.
//
// The module is called leat, which go install of another machine does not find: that takes the address where the
// repository is published, and is its owner's to choose. Then: go mod edit -module ADDRESS, and every import of
// leat/… becomes ADDRESS/… (git grep -l '"leat/' -- '*.go'); architecture_test.go and house_test.go hold the prefix too.
package main

import (
	"bytes"
	"crypto/sha256"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// target is one machine that a release runs on.
type target struct{ goarch, goarm, deb string }

var targets = []target{{"amd64", "", "amd64"}, {"arm64", "", "arm64"}, {"arm", "7", "armhf"}}

// release is what is made.
type release struct {
	version string
	commit  string
	epoch   int64  // of the commit, seconds since 1970
	out     string // absolute
}

var wellFormed = regexp.MustCompile(`^\d+\.\d+\.\d+(-[a-z]+\.\d+)?$`)

func main() {
	only := flag.String("only", "", "make it for this `MACHINE` alone: amd64, arm64 or armhf")
	flag.Usage = func() {
		fmt.Fprintln(os.Stderr, "usage: go run ./deploy/package [-only MACHINE] VERSION FOLDER")
		flag.PrintDefaults()
	}
	flag.Parse()
	if flag.NArg() != 2 || !wellFormed.MatchString(flag.Arg(0)) {
		flag.Usage()
		os.Exit(2)
	}
	if err := build(flag.Arg(0), flag.Arg(1), *only); err != nil {
		fmt.Fprintln(os.Stderr, "package:", err)
		os.Exit(1)
	}
}

func build(version, folder, only string) error {
	out, err := filepath.Abs(folder)
	if err != nil {
		return err
	}
	r := &release{version: version, out: out}
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	if err := r.ofCommit(); err != nil {
		return err
	}
	made := slices.DeleteFunc(slices.Clone(targets), func(t target) bool { return only != "" && t.deb != only })
	if len(made) == 0 {
		return fmt.Errorf("no machine %s", only)
	}
	var programs, clustered []string
	for _, t := range made {
		program, err := r.compile(t, "leat")
		if err != nil {
			return err
		}
		withCluster, err := r.compile(t, "leat-cluster", "-tags", "cluster") // for [cluster]
		if err != nil {
			return err
		}
		programs, clustered = append(programs, program), append(clustered, withCluster)
	}
	return r.pack(made, programs, clustered)
}

// pack writes all but the programs; package and image hold the one without a cluster's client.
func (r *release) pack(made []target, programs, clustered []string) error {
	held, err := modules(slices.Concat(programs, clustered))
	if err != nil {
		return err
	}
	texts, err := licences(held)
	if err != nil {
		return err
	}
	bill := r.bill(held)
	var images []*image
	for i, t := range made {
		if err := r.debian(t, programs[i], texts, bill); err != nil {
			return err
		}
		image, err := r.image(t, programs[i], texts)
		if err != nil {
			return err
		}
		images = append(images, image)
	}
	layout, err := r.layout(images)
	if err != nil {
		return err
	}
	notes, err := notesOf(r.version)
	if err != nil {
		return err
	}
	for name, body := range map[string][]byte{"LICENCES.txt": texts, "leat.cdx.json": bill, "leat-" + r.version + ".oci.tar": layout, "NOTES.md": notes} {
		if err := r.write(name, body); err != nil {
			return err
		}
	}
	return r.checksums()
}

// ofCommit asks git which commit this is, and when it was made.
func (r *release) ofCommit() error {
	told, err := run(nil, "git", "log", "-1", "--format=%H %ct")
	if err != nil {
		return err
	}
	commit, at, _ := strings.Cut(strings.TrimSpace(string(told)), " ")
	r.commit = commit
	if stated := os.Getenv("SOURCE_DATE_EPOCH"); stated != "" {
		at = stated
	}
	r.epoch, err = strconv.ParseInt(at, 10, 64)
	return err
}

// compile makes the static program for a machine and returns where it is.
func (r *release) compile(t target, name string, flags ...string) (string, error) {
	path := filepath.Join(r.out, name+"-"+t.deb)
	_, err := run([]string{"CGO_ENABLED=0", "GOOS=linux", "GOARCH=" + t.goarch, "GOARM=" + t.goarm, "GOFLAGS=-mod=readonly"},
		"go", slices.Concat([]string{"build", "-trimpath", "-buildvcs=false", "-ldflags", "-s -w -buildid= -X main.version=" + r.version + " -X main.revision=" + r.commit, "-o", path},
			flags, []string{"./cmd/leat"})...)
	return path, err
}

func (r *release) write(name string, body []byte) error {
	return os.WriteFile(filepath.Join(r.out, name), body, 0o644)
}

// checksums lists every file of the release.
func (r *release) checksums() error {
	files, err := os.ReadDir(r.out)
	if err != nil {
		return err
	}
	var list bytes.Buffer
	for _, file := range files {
		if file.Name() == "SHA256SUMS" {
			continue
		}
		body, err := os.ReadFile(filepath.Join(r.out, file.Name()))
		if err != nil {
			return err
		}
		fmt.Fprintf(&list, "%x  %s\n", sha256.Sum256(body), file.Name())
	}
	return r.write("SHA256SUMS", list.Bytes())
}

// run runs a program in the repository and returns what it prints.
func run(environment []string, name string, words ...string) ([]byte, error) {
	command := exec.Command(name, words...)
	command.Env = append(os.Environ(), environment...)
	var said bytes.Buffer
	command.Stderr = &said
	out, err := command.Output()
	if err != nil {
		return nil, fmt.Errorf("%s: %w\n%s", command, err, said.String())
	}
	return out, nil
}
