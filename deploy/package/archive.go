package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"fmt"
	"maps"
	"path"
	"slices"
	"time"
)

// entry is a file or, without a body, a folder of an archive.
type entry struct {
	mode  int64
	owner int // user and group
	body  []byte
}

// tree is what an archive holds, by absolute path; folders above a file need not be named.
type tree map[string]entry

func (t tree) file(name string, mode int64, body []byte) {
	if body == nil {
		body = []byte{}
	}
	t[name] = entry{mode: mode, body: body}
}

// tarball is the tree as tar, sorted, with one time for all; prefix is put before each path.
func (t tree) tarball(prefix string, epoch int64) []byte {
	all := tree{}
	for name, e := range t {
		all[name] = e
		for above := path.Dir(name); above != "/" && above != "."; above = path.Dir(above) {
			if _, named := t[above]; !named {
				all[above] = entry{mode: 0o755}
			}
		}
	}
	var out bytes.Buffer
	writer := tar.NewWriter(&out)
	for _, name := range slices.Sorted(maps.Keys(all)) {
		e := all[name]
		header := &tar.Header{Name: prefix + name, Mode: e.mode, Uid: e.owner, Gid: e.owner, Size: int64(len(e.body)), ModTime: time.Unix(epoch, 0), Format: tar.FormatGNU, Typeflag: tar.TypeReg}
		if e.body == nil {
			header.Name, header.Typeflag = prefix+name+"/", tar.TypeDir
		}
		must(writer.WriteHeader(header))
		_, err := writer.Write(e.body)
		must(err)
	}
	must(writer.Close())
	return out.Bytes()
}

// compressed is a body in gzip, with neither name nor time in it.
func compressed(body []byte) []byte {
	var out bytes.Buffer
	writer, err := gzip.NewWriterLevel(&out, gzip.BestCompression)
	must(err)
	_, err = writer.Write(body)
	must(err)
	must(writer.Close())
	return out.Bytes()
}

// ar is the archive that a .deb is.
func ar(epoch int64, names []string, bodies [][]byte) []byte {
	var out bytes.Buffer
	out.WriteString("!<arch>\n")
	for i, body := range bodies {
		fmt.Fprintf(&out, "%-16s%-12d%-6d%-6d%-8o%-10d`\n", names[i], epoch, 0, 0, 0o100644, len(body))
		out.Write(body)
		if len(body)%2 == 1 {
			out.WriteByte('\n')
		}
	}
	return out.Bytes()
}

// must is for writing to memory, which cannot fail but by a mistake in this program.
func must(err error) {
	if err != nil {
		panic(err)
	}
}
