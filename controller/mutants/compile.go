package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path"
	"path/filepath"
)

// compiler checks packages with a changed file, as the compiler would, in a fraction of
// its time: what they import comes from the cache of builds.
type compiler struct {
	fset    *token.FileSet
	imports types.Importer
	files   map[string]map[string]*ast.File // by package's folder, by name
}

// newCompiler reads the packages in these folders of the tree.
func (t *tree) newCompiler(folders ...string) (*compiler, error) {
	args := []string{"list", "-export", "-deps", "-json=ImportPath,Export,Dir,GoFiles"}
	wanted := map[string]string{}
	for _, folder := range folders {
		args = append(args, "./"+folder)
		wanted[filepath.Join(t.root, filepath.FromSlash(folder))] = folder
	}
	cmd := exec.Command("go", args...)
	cmd.Dir, cmd.Stderr = t.root, os.Stderr
	listed, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w", err)
	}
	c := &compiler{fset: token.NewFileSet(), files: map[string]map[string]*ast.File{}}
	exports := map[string]string{}
	for d := json.NewDecoder(bytes.NewReader(listed)); ; {
		var p struct {
			ImportPath, Export, Dir string
			GoFiles                 []string
		}
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, err
		}
		exports[p.ImportPath] = p.Export
		folder, ok := wanted[p.Dir]
		if !ok {
			continue
		}
		c.files[folder] = map[string]*ast.File{}
		for _, name := range p.GoFiles {
			if c.files[folder][name], err = parser.ParseFile(c.fset, filepath.Join(p.Dir, name), nil, parser.SkipObjectResolution); err != nil {
				return nil, err
			}
		}
	}
	c.imports = importer.ForCompiler(c.fset, "gc", func(path string) (io.ReadCloser, error) {
		if exports[path] == "" {
			return nil, fmt.Errorf("no build of %s", path)
		}
		return os.Open(exports[path])
	})
	return c, nil
}

// check says why a package would not compile with a file's other content; nil if it
// would.
func (c *compiler) check(file string, content []byte) error {
	folder, name := path.Dir(file), path.Base(file)
	changed, err := parser.ParseFile(c.fset, file, content, parser.SkipObjectResolution)
	if err != nil {
		return err
	}
	if c.files[folder][name] == nil {
		return fmt.Errorf("%s is not built on this machine", file)
	}
	files := []*ast.File{changed}
	for other, f := range c.files[folder] {
		if other != name {
			files = append(files, f)
		}
	}
	_, err = (&types.Config{Importer: c.imports}).Check("leat/"+folder, c.fset, files, nil)
	return err
}
