// Package deploy holds what is installed beside the daemon. The sample
// configuration is part of the program too: the demo runs on it.
package deploy

import _ "embed"

// Sample is the commented configuration of an invented farm.
//
//go:embed leat.toml
var Sample []byte
