package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// needPeer skips a test whose peer program is not there, or fails it where peers are required.
func needPeer(t *testing.T, what string, args ...string) {
	t.Helper()
	if err := exec.Command(args[0], args[1:]...).Run(); err != nil {
		text := fmt.Sprintf("skipped: %s is not installed (%v)", what, err)
		if os.Getenv("DIMWATCH_REQUIRE_PEERS") != "" {
			t.Fatal(text)
		}
		t.Skip(text)
	}
}

// The unchanged program, built and run as a user would, polls an independent Modbus server that plays six minutes of a
// recording in real time, and names the labelled fault within its time.
func TestRecordedShortIsFoundLive(t *testing.T) {
	needPeer(t, "Debian's python3-pymodbus", "/usr/bin/python3", "-c", "import pymodbus.server, serial_asyncio")
	if os.Getenv("DIMWATCH_REQUIRE_PEERS") == "" {
		t.Skip("skipped: plays four minutes in real time; DIMWATCH_REQUIRE_PEERS=1 runs it")
	}
	t.Parallel()
	binary := filepath.Join(t.TempDir(), "dimwatch")
	if out, err := exec.Command("go", "build", "-o", binary, ".").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	modbus, web := freePort(t), freePort(t)
	ctx, cancel := context.WithTimeout(t.Context(), 8*time.Minute)
	defer cancel()
	peer := exec.CommandContext(ctx, "/usr/bin/python3", "testdata/replay/play.py", modbus, "testdata/replay/short.csv")
	start(t, peer)
	waitFor(t, ctx, "the peer", func() bool {
		c, err := net.Dial("tcp", "127.0.0.1:"+modbus)
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	})
	began := time.Now()
	watch := exec.CommandContext(ctx, binary, "watch", "-config", "testdata/replay/site.hcl", "--web.listen-address", "127.0.0.1:"+web)
	watch.Env = append(os.Environ(), "DIMWATCH_REPLAY_ADDRESS=127.0.0.1:"+modbus)
	start(t, watch)
	want := `dimming_finding_active{device="south",finding="pair-short",part="pair",severity="urgent",zone="produce"} 1`
	waitFor(t, ctx, want, func() bool {
		lines := scrape("http://127.0.0.1:" + web + "/metrics")
		for _, l := range lines {
			if strings.HasPrefix(l, "dimming_finding_active") && l != want {
				t.Errorf("found %s", l)
			}
			if l == want {
				return true
			}
		}
		return false
	})
	// The label: onset 93 s after the cut begins, visible to any watcher 112 s after that.
	t.Logf("found %.0f s after the start of the cut", time.Since(began).Seconds())
}

// start starts a program and sees to it that it ends with the test.
func start(t *testing.T, c *exec.Cmd) {
	t.Helper()
	var text strings.Builder
	c.Stdout, c.Stderr = &text, &text
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = c.Process.Kill()
		_ = c.Wait()
		if t.Failed() {
			t.Logf("%s:\n%s", filepath.Base(c.Path), text.String())
		}
	})
}

// waitFor waits until ok holds, or fails when the context ends.
func waitFor(t *testing.T, ctx context.Context, what string, ok func() bool) {
	t.Helper()
	for !ok() {
		select {
		case <-ctx.Done():
			t.Fatalf("%s: not seen in time", what)
		case <-time.After(200 * time.Millisecond):
		}
	}
}

// scrape gives the lines of a page, none where it cannot be had.
func scrape(url string) []string {
	resp, err := http.Get(url)
	if err != nil {
		return nil
	}
	defer resp.Body.Close()
	var lines []string
	for s := bufio.NewScanner(io.LimitReader(resp.Body, 1<<20)); s.Scan(); {
		lines = append(lines, s.Text())
	}
	return lines
}

// freePort gives a port of the loopback interface that is free now.
func freePort(t *testing.T) string {
	t.Helper()
	_, port, _ := net.SplitHostPort(unusedAddress(t))
	return port
}
