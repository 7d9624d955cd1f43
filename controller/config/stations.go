package config

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
)

// A process may run several stations: a file with several [[station]], or a folder of files.
// Each is read as a file of its own, with its faults at their lines. NAME#STATION is one
// station of a file that has several.

// Stations reads all stations that a process is to run, in the order of the file or of the
// folder's names. The first one's state folder keeps the people of the page.
func Stations(path string) ([]*File, error) {
	names, err := Each(path)
	if err != nil {
		return nil, err
	}
	var all []*File
	var faults Faults
	for _, name := range names {
		file, err := Load(name)
		if found, ok := err.(Faults); ok { //nolint:errorlint // Load returns it as it is
			faults = append(faults, found...)
			continue
		}
		if err != nil {
			return nil, err
		}
		all = append(all, file)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return all, together(all)
}

// Each names the stations of a file or of a folder of files, as Load takes them.
func Each(path string) ([]string, error) {
	info, err := os.Stat(path)
	if err != nil || !info.IsDir() {
		return eachOf(path)
	}
	files, err := filepath.Glob(filepath.Join(path, "*.toml"))
	if err != nil || len(files) == 0 {
		return nil, fmt.Errorf("configuration %s: a folder without a file whose name ends in .toml; each such file is a station", path)
	}
	slices.Sort(files)
	var all []string
	for _, file := range files {
		names, err := eachOf(file)
		if err != nil {
			return nil, err
		}
		all = append(all, names...)
	}
	return all, nil
}

func eachOf(path string) ([]string, error) {
	text, _, err := open(path)
	if err != nil {
		return nil, err
	}
	names := stationNames(string(text))
	if len(names) == 0 {
		return []string{path}, nil
	}
	for i, name := range names {
		if slices.Contains(names[:i], path+"#"+name) {
			return nil, fmt.Errorf("configuration %s: two [[station]] are named %q; give each a name of its own", path, name)
		}
		if name == "" {
			return nil, fmt.Errorf("configuration %s: [[station]] number %d has no name; each needs its own", path, i+1)
		}
		names[i] = path + "#" + name
	}
	return names, nil
}

// together refuses stations that would meet where each must be alone, or differ in what the
// process has once.
func together(all []*File) error {
	first := all[0]
	stations, states := map[string]string{}, map[string]string{}
	for _, f := range all {
		name := f.Settings.Safety.Station
		if f.Broker.ClientID == ownClientID(f) {
			f.Broker.ClientID = first.Broker.ClientID // the process is one client
		}
		state, err := filepath.Abs(f.State)
		if err != nil {
			return err
		}
		switch other := stations[name]; {
		case other != "":
			return fmt.Errorf("%s: station %q stands in %s too; give each a name of its own", f.Name, name, other)
		case states[state] != "":
			return fmt.Errorf("%s: its state folder %s is that of %s too; name one of its own in [storage]", f.Name, f.State, states[state])
		case !reflect.DeepEqual(f.Broker, first.Broker):
			return fmt.Errorf("%s: [broker] differs from that of %s; the stations of one process share one link to one broker", f.Name, first.Name)
		case f.Web != first.Web || f.Metrics != first.Metrics || f.Log != first.Log:
			return fmt.Errorf("%s: [page], [metrics] or [log] differs from that of %s; the stations of one process share them", f.Name, first.Name)
		case !reflect.DeepEqual(f.Cluster, first.Cluster):
			return fmt.Errorf("%s: [cluster] differs from that of %s; the stations of one process share it", f.Name, first.Name)
		}
		stations[name], states[state] = f.Name, f.Name
	}
	return nil
}

// readOne reads a station's text: the file, or its part of NAME#STATION. Several tells that it is
// one of several of that file.
func readOne(path string) (text []byte, env Env, several string, err error) {
	file, station := path, ""
	if cut := strings.LastIndexByte(path, '#'); cut > 0 {
		if _, err := os.Stat(path); err != nil {
			file, station = path[:cut], path[cut+1:]
		}
	}
	if info, err := os.Stat(file); err == nil && info.IsDir() {
		return nil, env, "", fmt.Errorf("configuration %s: %w; name one of its files", file, &fs.PathError{Op: "read", Path: file, Err: fmt.Errorf("is a folder")})
	}
	if text, env, err = open(file); err != nil {
		return nil, env, "", err
	}
	names := stationNames(string(text))
	switch {
	case len(names) == 0 && station == "":
		return text, env, "", nil
	case len(names) == 1 && names[0] != "" && (station == "" || station == names[0]):
		return []byte(stationText(string(text), 0)), env, names[0], nil
	case station == "":
		return nil, env, "", fmt.Errorf("configuration %s holds %d stations: name one, as %s#%s", file, len(names), file, names[0])
	}
	at := slices.Index(names, station)
	if at < 0 {
		return nil, env, "", fmt.Errorf("configuration %s holds no [[station]] %q, but: %s", file, station, strings.Join(names, ", "))
	}
	return []byte(stationText(string(text), at)), env, station, nil
}

// header is the name of the table that a line begins, and whether it begins one of an array.
func header(line string) (name string, array, ok bool) {
	line = strings.TrimSpace(line)
	inside, rest, closed := strings.Cut(strings.TrimLeft(line, "["), "]")
	depth := len(line) - len(strings.TrimLeft(line, "["))
	rest = strings.TrimSpace(strings.TrimPrefix(rest, "]"))
	if depth < 1 || depth > 2 || !closed || rest != "" && rest[0] != '#' || strings.ContainsAny(inside, `"',=[`) {
		return "", false, false
	}
	return strings.ReplaceAll(strings.TrimSpace(inside), " ", ""), depth == 2, true
}

// stationNames are the names of all [[station]], "" for one that states none; nil where the
// file is written for one.
func stationNames(text string) (names []string) {
	inStation := false
	for line := range strings.Lines(text) {
		if name, array, ok := header(line); ok {
			if inStation = array && name == "station"; inStation {
				names = append(names, "")
			}
			continue
		}
		key, value, stated := strings.Cut(line, "=")
		if inStation && stated && strings.TrimSpace(key) == "name" {
			value, _, _ = strings.Cut(value, "#")
			names[len(names)-1] = strings.Trim(strings.TrimSpace(value), `"'`)
		}
	}
	return names
}

// stationText is the file as it would be written for its station number at alone: what is the
// others' is empty lines, so that every fault is told at its line.
func stationText(text string, at int) string {
	var b strings.Builder
	in := -1
	for line := range strings.Lines(text) {
		if name, array, ok := header(line); ok {
			switch inner, of := strings.CutPrefix(name, "station."); {
			case array && name == "station":
				in++
				line = "[station]\n"
			case of && in >= 0:
				open, shut := "[", "]"
				if array {
					open, shut = "[[", "]]"
				}
				if layoutTables[strings.Split(inner, ".")[0]] {
					line = open + inner + shut + "\n"
				}
			}
		}
		if in >= 0 && in != at {
			line = "\n"
		}
		b.WriteString(line)
	}
	return b.String()
}

// layoutTables are the tables of a file. Below [[station]] they belong to it.
var layoutTables = func() map[string]bool {
	tables := map[string]bool{}
	for i := range reflect.TypeFor[layout]().NumField() {
		tables[reflect.TypeFor[layout]().Field(i).Tag.Get("toml")] = true
	}
	return tables
}()
