// Package config turns one TOML file into the settings of a station: strict, whole
// or not at all, every fault at once with its line and what to write instead. It
// computes what the file leaves out (strengths, gains, caps) on the safe side, and
// refuses sizes that could do harm when a node hangs. It is the only importer of
// a TOML package.
//
// What was decided here, why, and what was rejected:
//
// # Gas exchange has a usual value and no warning
//
// Tank and zones may state gas_exchange; what is left out is the usual of the kind (controller/gas.go, with its
// sources), and `leat check` says of each whether it was stated and what the mean comes to. Only the rehearsal asks, so
// a farm that has not measured it is not warned: forty settings before the first number lose a grower. 0 is refused: no
// water in a room is shut off from its air, and a rehearsal without rebound would flatter. Rejected: a rate for the
// whole tank alone (a film's is ten times a tank's, and which zone holds how much water is known already).
//
// # Lines of keys and the JSON Schema are our own
//
// BurntSushi/toml tells the line of what it cannot read, and of a value that it took or a key that nobody asked
// for it does not: lines.go finds those, 213 lines that are asked only for text which is known to be TOML, and whose
// fault costs a line number. Weighed against a second parser with positions (pelletier/go-toml's unstable package):
// the file would be read by two parsers that may differ, and the one with positions promises no stable interface. The schema is
// written from layout.go's own tags by a test (schema_test.go, 162 lines, nothing of it in the daemon). Weighed against
// invopop/jsonschema (v0.14.0, five modules): it reads Go types, and what a key may hold (units, names of salts, "5 mL")
// stands in our tags, so each type would need a method of its own.
package config
