//go:build linux

package store_test

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"unsafe"

	"modernc.org/libc"
	sqlite "modernc.org/sqlite/lib"
)

// A layer under SQLite notes every write, truncation, sync and removal of the files in one
// folder, in order. From these notes the folder is made again as it would be found after a
// crash at any of them: by a process that was killed, whose writes the kernel still holds, or
// by a machine that lost its power, where of what was not synced anything may be missing.

// change is one thing that was done to a file.
type change struct {
	kind    changeKind
	file    string
	offset  int64 // of a write; of a truncation the new length
	content []byte
}

type changeKind uint8

const (
	wrote changeKind = iota
	truncated
	synced
	removed
)

// notes are the changes to one folder since it was as base says.
type notes struct {
	dir  string
	base map[string][]byte

	mu      sync.Mutex
	changes []change
	head    []byte
	each    func(number int) // before each change, nil = nobody
	lies    bool             // syncs are acknowledged and not done
}

// The layer passes on to the VFS that SQLite would have used. Its state is the process's own, as
// SQLite's list of VFS is.
var layer struct {
	once  sync.Once
	tls   *libc.TLS
	below *sqlite.Tsqlite3_vfs

	mu     sync.Mutex
	notes  *notes
	files  map[uintptr]string
	copied map[uintptr]uintptr // methods of the VFS below → ours
	theirs map[uintptr]*sqlite.Tsqlite3_io_methods
}

// take begins to note what is done in dir, which holds base, and ends what was noted before.
func take(t testing.TB, dir string, base map[string][]byte) *notes {
	t.Helper()
	layer.once.Do(insertLayer)
	n := &notes{dir: dir, base: base, head: base[witness]}
	layer.mu.Lock()
	defer layer.mu.Unlock()
	layer.notes = n
	return n
}

const (
	database = "leat.db"
	wal      = "leat.db-wal"
	shared   = "leat.db-shm"
	witness  = "leat.head"
)

// at turns an address of SQLite's into a pointer.
func at[T any](address uintptr) *T { return (*T)(*(*unsafe.Pointer)(unsafe.Pointer(&address))) }

// address is a Go function as SQLite's code calls it; function is the way back.
func address[F any](f F) uintptr { return *(*uintptr)(unsafe.Pointer(&struct{ f F }{f})) }

func function[F any](address uintptr) F {
	return *(*F)(unsafe.Pointer(&struct{ p uintptr }{address}))
}

type (
	openCall   = func(*libc.TLS, uintptr, uintptr, uintptr, int32, uintptr) int32
	deleteCall = func(*libc.TLS, uintptr, uintptr, int32) int32
	writeCall  = func(*libc.TLS, uintptr, uintptr, int32, int64) int32
	sizeCall   = func(*libc.TLS, uintptr, int64) int32
	syncCall   = func(*libc.TLS, uintptr, int32) int32
)

// These live as long as the process: SQLite keeps their addresses.
var (
	openFile     openCall   = layerOpen
	deleteFile   deleteCall = layerDelete
	writeFile    writeCall  = layerWrite
	truncateFile sizeCall   = layerTruncate
	syncFile     syncCall   = layerSync
)

func insertLayer() {
	layer.tls = libc.NewTLS()
	layer.files, layer.copied = map[uintptr]string{}, map[uintptr]uintptr{}
	layer.theirs = map[uintptr]*sqlite.Tsqlite3_io_methods{}
	layer.below = at[sqlite.Tsqlite3_vfs](sqlite.Xsqlite3_vfs_find(layer.tls, 0))
	ours := libc.Xmalloc(layer.tls, libc.Tsize_t(unsafe.Sizeof(*layer.below)))
	name, err := libc.CString("noting")
	if err != nil {
		panic(err)
	}
	vfs := at[sqlite.Tsqlite3_vfs](ours)
	*vfs = *layer.below
	vfs.FpNext, vfs.FzName = 0, name
	vfs.FxOpen, vfs.FxDelete = address(openFile), address(deleteFile)
	if rc := sqlite.Xsqlite3_vfs_register(layer.tls, ours, 1); rc != sqlite.SQLITE_OK {
		panic("the layer under SQLite was refused")
	}
}

func layerOpen(tls *libc.TLS, vfs, path, file uintptr, flags int32, out uintptr) int32 {
	rc := function[openCall](layer.below.FxOpen)(tls, vfs, path, file, flags, out)
	f := at[sqlite.Tsqlite3_file](file)
	if rc != sqlite.SQLITE_OK || path == 0 || f.FpMethods == 0 {
		return rc
	}
	layer.mu.Lock()
	defer layer.mu.Unlock()
	layer.files[file] = libc.GoString(path)
	ours, known := layer.copied[f.FpMethods]
	if !known {
		theirs := at[sqlite.Tsqlite3_io_methods](f.FpMethods)
		ours = libc.Xmalloc(tls, libc.Tsize_t(unsafe.Sizeof(*theirs)))
		methods := at[sqlite.Tsqlite3_io_methods](ours)
		*methods = *theirs
		methods.FxWrite, methods.FxTruncate, methods.FxSync = address(writeFile), address(truncateFile), address(syncFile)
		layer.copied[f.FpMethods], layer.theirs[ours] = ours, theirs
	}
	f.FpMethods = ours
	return rc
}

// under are the methods of the VFS below for an open file, and who takes notes of it, if anybody.
func under(file uintptr) (methods *sqlite.Tsqlite3_io_methods, n *notes, name string) {
	layer.mu.Lock()
	defer layer.mu.Unlock()
	methods = layer.theirs[at[sqlite.Tsqlite3_file](file).FpMethods]
	n, name = layer.notes.of(layer.files[file])
	return methods, n, name
}

func (n *notes) of(path string) (*notes, string) {
	if n == nil || filepath.Dir(path) != n.dir {
		return nil, ""
	}
	return n, filepath.Base(path)
}

func layerDelete(tls *libc.TLS, vfs, path uintptr, syncDir int32) int32 {
	layer.mu.Lock()
	n, name := layer.notes.of(libc.GoString(path))
	layer.mu.Unlock()
	if n != nil {
		n.add(change{kind: removed, file: name})
	}
	return function[deleteCall](layer.below.FxDelete)(tls, vfs, path, syncDir)
}

func layerWrite(tls *libc.TLS, file, from uintptr, length int32, offset int64) int32 {
	methods, n, name := under(file)
	if n != nil {
		n.add(change{kind: wrote, file: name, offset: offset, content: bytes.Clone(unsafe.Slice(at[byte](from), length))})
	}
	return function[writeCall](methods.FxWrite)(tls, file, from, length, offset)
}

func layerTruncate(tls *libc.TLS, file uintptr, length int64) int32 {
	methods, n, name := under(file)
	if n != nil {
		n.add(change{kind: truncated, file: name, offset: length})
	}
	return function[sizeCall](methods.FxTruncate)(tls, file, length)
}

// layerSync notes that SQLite asked; the power that is lost here is not the machine's, so no disk need be waited for.
func layerSync(tls *libc.TLS, file uintptr, flags int32) int32 {
	methods, n, name := under(file)
	if n != nil {
		if !n.lies {
			n.add(change{kind: synced, file: name})
		}
		return sqlite.SQLITE_OK
	}
	return function[syncCall](methods.FxSync)(tls, file, flags)
}

// add notes a change. The witness is written past SQLite: it is looked at before each change and
// whenever the store has answered, so that its place in the order is known.
func (n *notes) add(c change) {
	n.look()
	n.append(c)
}

func (n *notes) append(c change) {
	n.mu.Lock()
	number := len(n.changes)
	n.mu.Unlock()
	if n.each != nil {
		n.each(number)
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	n.changes = append(n.changes, c)
}

// look notes the witness if it has changed.
func (n *notes) look() {
	text, err := os.ReadFile(filepath.Join(n.dir, witness))
	if err != nil || bytes.Equal(text, n.head) {
		return
	}
	n.head = text
	n.append(change{kind: wrote, file: witness, content: text})
}

func (n *notes) length() int {
	n.look()
	n.mu.Lock()
	defer n.mu.Unlock()
	return len(n.changes)
}

// crash is how the files are left.
type crash struct {
	Torn bool // of the change under way, a write, a part is done
	Loss loss
}

type loss uint8

// Nothing is lost by a process that is killed. When the power goes, of what was not synced nothing
// may be there, or any part, in whatever order the disk liked.
const (
	killed loss = iota
	unsyncedLost
	unsyncedReordered
	lossCount
)

var lossNames = [lossCount]string{"process killed", "power lost, nothing unsynced kept", "power lost, unsynced writes reordered"}

// sector is what a disk writes whole or not at all.
const sector = 512

// image is the folder after a crash before change number upto; of a torn one a part of that change is done.
func (n *notes) image(upto int, how crash, r *rand.Rand) map[string][]byte {
	n.mu.Lock()
	done := n.changes[:upto:upto]
	if how.Torn && n.changes[upto].kind == wrote {
		c := n.changes[upto]
		c.content = c.content[:r.IntN(len(c.content))]
		done = append(done, c)
	}
	n.mu.Unlock()
	if how.Loss == killed {
		files := clone(n.base)
		for _, c := range done {
			c.apply(files)
		}
		// The index of the log is in memory that all processes share: whatever it says, it is of a process that is gone.
		if files[wal] != nil {
			files[shared] = bytes.Repeat([]byte{byte(r.IntN(256))}, 32*1024)
		}
		return files
	}
	// On the disk is what was synced, file by file.
	last := map[string]int{}
	for i, c := range done {
		if c.kind == synced || c.kind == removed {
			last[c.file] = i
		}
	}
	files := clone(n.base)
	for i, c := range done {
		durable := i <= lastOf(last, c.file)
		switch {
		case durable:
			c.apply(files)
		case how.Loss == unsyncedLost:
		case c.kind == wrote:
			for from := 0; from < len(c.content); from += sector {
				if r.IntN(2) == 0 {
					part := c
					part.offset, part.content = c.offset+int64(from), c.content[from:min(from+sector, len(c.content))]
					part.apply(files)
				}
			}
		case r.IntN(2) == 0:
			c.apply(files)
		}
	}
	return files
}

func lastOf(last map[string]int, file string) int {
	if at, ok := last[file]; ok {
		return at
	}
	return -1
}

func (c *change) apply(files map[string][]byte) {
	switch c.kind {
	case wrote:
		end := int(c.offset) + len(c.content)
		if grown := end - len(files[c.file]); grown > 0 {
			files[c.file] = append(files[c.file], make([]byte, grown)...)
		}
		copy(files[c.file][c.offset:], c.content)
	case truncated:
		if int(c.offset) < len(files[c.file]) {
			files[c.file] = files[c.file][:c.offset]
		}
	case removed:
		delete(files, c.file)
	}
}

func clone(files map[string][]byte) map[string][]byte {
	all := make(map[string][]byte, len(files))
	for name, content := range files {
		all[name] = bytes.Clone(content)
	}
	return all
}

// folder writes an image to the disk.
func folder(t testing.TB, root string, files map[string][]byte) string {
	t.Helper()
	dir, err := os.MkdirTemp(root, "state")
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// memoryFolder is a folder for thousands of small files, in memory where the machine has such.
func memoryFolder(t testing.TB) string {
	t.Helper()
	if dir, err := os.MkdirTemp("/dev/shm", strings.ReplaceAll(t.Name(), "/", "-")); err == nil {
		t.Cleanup(func() { _ = os.RemoveAll(dir) })
		return dir
	}
	return t.TempDir()
}
