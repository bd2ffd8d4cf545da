package modbus

import (
	"os"
	"strconv"
	"testing"

	"golang.org/x/sys/unix"
)

// pin keeps this process, and those that it starts, on one core until the benchmark is over: unpinned runs fall into two
// groups, a factor of three apart, by where the scheduler puts the two sides.
func pin(b *testing.B) {
	var before unix.CPUSet
	if err := unix.SchedGetaffinity(0, &before); err != nil {
		b.Logf("not pinned: %v", err)
		return
	}
	var one unix.CPUSet
	for cpu := range 1024 {
		if before.IsSet(cpu) {
			one.Set(cpu)
			break
		}
	}
	setAffinity(b, &one)
	b.Cleanup(func() { setAffinity(b, &before) })
}

// setAffinity moves every thread of the process.
func setAffinity(b *testing.B, set *unix.CPUSet) {
	threads, err := os.ReadDir("/proc/self/task")
	if err != nil {
		b.Logf("not pinned: %v", err)
		return
	}
	for _, t := range threads {
		if id, err := strconv.Atoi(t.Name()); err == nil {
			unix.SchedSetaffinity(id, set)
		}
	}
}
