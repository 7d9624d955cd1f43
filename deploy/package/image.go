package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"time"
)

// image is what the layout holds for one machine.
type image struct {
	blobs    map[string][]byte // by digest
	manifest descriptor
}

// descriptor names a blob, as the OCI image format has it.
type descriptor struct {
	MediaType string    `json:"mediaType"`
	Digest    string    `json:"digest"`
	Size      int       `json:"size"`
	Platform  *platform `json:"platform,omitempty"`

	Annotations map[string]string `json:"annotations,omitempty"`
}

type platform struct {
	Architecture string `json:"architecture"`
	OS           string `json:"os"`
	Variant      string `json:"variant,omitempty"`
}

const nobody = 65532 // whom the image runs as: nobody's user of any farm

func (i *image) blob(kind string, body []byte) descriptor {
	digest := fmt.Sprintf("sha256:%x", sha256.Sum256(body))
	i.blobs[digest] = body
	return descriptor{MediaType: "application/vnd.oci.image." + kind, Digest: digest, Size: len(body)}
}

// rootOf is what stands in the image: the program, certificates of public authorities, the licences, a state folder of
// nobody's. The zones of time are in the program. There is no shell, no other program and no user with rights.
func rootOf(program string, licences []byte) (tree, error) {
	root := tree{}
	binary, err := os.ReadFile(program)
	if err != nil {
		return nil, err
	}
	authorities, err := os.ReadFile("/etc/ssl/certs/ca-certificates.crt")
	if err != nil {
		return nil, fmt.Errorf("%w; Debian: apt install ca-certificates", err)
	}
	root.file("/leat", 0o755, binary)
	root.file("/etc/ssl/certs/ca-certificates.crt", 0o644, authorities)
	root.file("/LICENCES.txt", 0o644, licences)
	root["/etc/leat"] = entry{mode: 0o755}
	root["/var/lib/leat"] = entry{mode: 0o700, owner: nobody}
	root["/tmp"] = entry{mode: 0o1777}
	return root, nil
}

// image makes the one layer, what to run, and the manifest.
func (r *release) image(t target, program string, licences []byte) (*image, error) {
	root, err := rootOf(program, licences)
	if err != nil {
		return nil, err
	}
	layer := root.tarball("", r.epoch)
	at := platform{Architecture: t.goarch, OS: "linux"}
	if t.goarm != "" {
		at.Variant = "v" + t.goarm
	}
	created := time.Unix(r.epoch, 0).UTC().Format(time.RFC3339)
	type object = map[string]any
	about := map[string]string{"org.opencontainers.image.version": r.version, "org.opencontainers.image.revision": r.commit, "org.opencontainers.image.licenses": "Apache-2.0"}
	i := &image{blobs: map[string][]byte{}}
	config := i.blob("config.v1+json", jsonOf(object{
		"created": created, "architecture": at.Architecture, "variant": at.Variant, "os": at.OS,
		"config": object{
			"User": fmt.Sprintf("%d:%d", nobody, nobody), "Entrypoint": []string{"/leat"}, "Cmd": []string{"run", "-config", "/etc/leat/leat.toml"},
			"Env": []string{"PATH=/", "STATE_DIRECTORY=/var/lib/leat"}, "Volumes": object{"/var/lib/leat": object{}},
			"ExposedPorts": object{"8470/tcp": object{}}, "StopSignal": "SIGTERM", "Labels": about,
		},
		"rootfs":  object{"type": "layers", "diff_ids": []string{fmt.Sprintf("sha256:%x", sha256.Sum256(layer))}},
		"history": []object{{"created": created, "created_by": "go run ./deploy/package"}},
	}))
	i.manifest = i.blob("manifest.v1+json", jsonOf(object{
		"schemaVersion": 2, "mediaType": "application/vnd.oci.image.manifest.v1+json", "config": config,
		"layers": []descriptor{i.blob("layer.v1.tar+gzip", compressed(layer))}, "annotations": about,
	}))
	i.manifest.Platform = &at
	return i, nil
}

// layout is the image of all machines in one file, which podman, docker and skopeo load.
func (r *release) layout(images []*image) ([]byte, error) {
	if len(images) == 0 {
		return nil, errors.New("no image")
	}
	held := tree{}
	var manifests []descriptor
	for _, i := range images {
		for digest, body := range i.blobs {
			held.file("/blobs/sha256/"+digest[len("sha256:"):], 0o644, body)
		}
		manifests = append(manifests, i.manifest)
	}
	type object = map[string]any
	all := &image{blobs: map[string][]byte{}}
	index := all.blob("index.v1+json", jsonOf(object{"schemaVersion": 2, "mediaType": "application/vnd.oci.image.index.v1+json", "manifests": manifests}))
	held.file("/blobs/sha256/"+index.Digest[len("sha256:"):], 0o644, all.blobs[index.Digest])
	index.Annotations = map[string]string{"org.opencontainers.image.ref.name": "leat:" + r.version}
	if len(images) == 1 {
		index = manifests[0] // an index of one is refused by older engines
		index.Annotations = map[string]string{"org.opencontainers.image.ref.name": "leat:" + r.version}
	}
	held.file("/index.json", 0o644, jsonOf(object{"schemaVersion": 2, "mediaType": "application/vnd.oci.image.index.v1+json", "manifests": []descriptor{index}}))
	held.file("/oci-layout", 0o644, []byte(`{"imageLayoutVersion":"1.0.0"}`))
	return bytes.Clone(held.tarball(".", r.epoch)), nil
}

func jsonOf(value any) []byte {
	body, err := json.Marshal(value)
	must(err)
	return body
}
