//go:build !linux

package modbus

import "testing"

// pin does nothing here: the figures of benchmarks that compare mean little.
func pin(b *testing.B) { b.Log("not pinned on this system") }
