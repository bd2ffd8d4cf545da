package modbus

import (
	"testing"
	"time"
)

func TestReadAllTables(t *testing.T) {
	s := startServer(t)
	src := openOne(t, s.at, time.Second, "coil = 3", "discrete = 9", "input = 40", "holding = 100", "holding = 162", "coil = 0")
	mustRead(t, src)
	if got := src.Counts().OK; got != 4 {
		t.Errorf("%d requests, want 4", got)
	}
}
