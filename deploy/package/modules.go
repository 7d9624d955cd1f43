package main

import (
	"bytes"
	"debug/buildinfo"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// module is one that the program holds.
type module struct {
	Path, Version, Dir, Sum string
	licence                 string // SPDX
}

// modules asks the programs themselves what is linked into them, and Go where its source is.
func modules(programs []string) ([]module, error) {
	sums, goVersion := map[string]string{}, ""
	for _, program := range programs {
		info, err := buildinfo.ReadFile(program)
		if err != nil {
			return nil, err
		}
		goVersion = strings.TrimPrefix(info.GoVersion, "go")
		for _, dep := range info.Deps {
			if dep.Replace != nil {
				return nil, fmt.Errorf("%s is replaced: a release holds what go.mod names", dep.Path)
			}
			sums[dep.Path+"@"+dep.Version] = dep.Sum
		}
	}
	told, err := run(nil, "go", append([]string{"mod", "download", "-json"}, slices.Sorted(maps.Keys(sums))...)...)
	if err != nil {
		return nil, err
	}
	root, err := run(nil, "go", "env", "GOROOT")
	if err != nil {
		return nil, err
	}
	all := []module{{Path: "std", Version: goVersion, Dir: strings.TrimSpace(string(root))}}
	for decoder := json.NewDecoder(bytes.NewReader(told)); ; {
		var m module
		if err := decoder.Decode(&m); err == io.EOF {
			break
		} else if err != nil {
			return nil, err
		}
		if m.Sum != sums[m.Path+"@"+m.Version] {
			return nil, fmt.Errorf("%s has another sum than what is linked in", m.Path)
		}
		all = append(all, m)
	}
	slices.SortFunc(all, func(a, b module) int { return strings.Compare(a.Path+"@"+a.Version, b.Path+"@"+b.Version) })
	return all, nil
}

// recognised are the licences that the modules may have, by words that stand in that one alone, the stricter first.
// A module with another one is refused: somebody has to read it.
var recognised = []struct {
	name  string
	words *regexp.Regexp
}{
	{"EPL-2.0", regexp.MustCompile(`Eclipse Public License - v 2\.0`)},
	{"Apache-2.0", regexp.MustCompile(`Apache License\s+Version 2\.0`)},
	{"BSD-3-Clause", regexp.MustCompile(`Redistribution and use in source and binary forms[\s\S]*(?:Neither|may\s+not)[\s\S]*endorse or promote`)},
	{"BSD-2-Clause", regexp.MustCompile(`Redistribution and use in source and binary forms`)},
	{"MIT", regexp.MustCompile(`Permission is hereby granted, free of charge`)},
}

var legal = regexp.MustCompile(`(?i)^(licen[sc]e|copying|notice|patents|edl|epl)`)

// licences are the texts of all modules in one file; it notes in each which licence it is.
func licences(all []module) ([]byte, error) {
	var out bytes.Buffer
	own, err := os.ReadFile("LICENSE")
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(&out, "leat and the modules that are part of its program, each with its own text.\n\n===== leat\n\n%s", own)
	for i := range all {
		m := &all[i]
		files, err := os.ReadDir(m.Dir)
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(&out, "\n===== %s %s\n", m.Path, m.Version)
		for _, file := range files {
			if file.IsDir() || !legal.MatchString(file.Name()) {
				continue
			}
			text, err := os.ReadFile(filepath.Join(m.Dir, file.Name()))
			if err != nil {
				return nil, err
			}
			fmt.Fprintf(&out, "\n----- %s\n\n%s", file.Name(), text)
			for _, known := range recognised {
				if m.licence == "" && known.words.Match(text) {
					m.licence = known.name
				}
			}
		}
		if m.licence == "" {
			return nil, fmt.Errorf("%s %s: no licence that is known here in %s: read it, then add it to the list", m.Path, m.Version, m.Dir)
		}
	}
	return out.Bytes(), nil
}

// bill is the list of what the program holds, in CycloneDX 1.5.
func (r *release) bill(all []module) []byte {
	type object = map[string]any
	components := []object{}
	for _, m := range all {
		name := "pkg:golang/" + m.Path + "@" + m.Version
		component := object{"type": "library", "bom-ref": name, "name": m.Path, "version": m.Version, "purl": name, "scope": "required",
			"licenses": []object{{"license": object{"id": m.licence}}}}
		if m.Sum != "" {
			component["properties"] = []object{{"name": "go.sum", "value": m.Sum}}
		}
		components = append(components, component)
	}
	body, err := json.MarshalIndent(object{"bomFormat": "CycloneDX", "specVersion": "1.5", "version": 1, "components": components, "metadata": object{
		"timestamp": time.Unix(r.epoch, 0).UTC().Format(time.RFC3339),
		"component": object{"type": "application", "bom-ref": "leat", "name": "leat", "version": r.version, "licenses": []object{{"license": object{"id": "Apache-2.0"}}},
			"properties": []object{{"name": "commit", "value": r.commit}}},
	}}, "", "  ")
	must(err)
	return append(body, '\n')
}
