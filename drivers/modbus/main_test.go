package modbus

import (
	"os"
	"testing"

	"go.uber.org/goleak"
)

// TestMain wants nothing left running; it is also the server of the benchmarks, see benchServer.
func TestMain(m *testing.M) {
	if os.Getenv(benchServerVariable) != "" {
		benchServer()
		return
	}
	goleak.VerifyTestMain(m)
}
