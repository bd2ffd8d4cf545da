// Package configs holds example configurations; the demo's is built into the program.
package configs

import _ "embed" // for demo.hcl

// Demo is the configuration of the simulated store that `dimwatch demo` watches.
//
//go:embed demo.hcl
var Demo []byte
