package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// terminal opens a terminal that nobody looks at: what is written to tty is read from screen.
func terminal(t *testing.T) (screen, tty *os.File) {
	t.Helper()
	screen, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("skipped: this machine gives no terminal: %v", err)
	}
	t.Cleanup(func() { _ = screen.Close() })
	if err := unix.IoctlSetPointerInt(int(screen.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(int(screen.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	tty, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = tty.Close() })
	return screen, tty
}

// On a terminal a bar shows how far a long review is and is gone at its end; it is never on the output, and where errors do
// not go to a terminal there is none.
func TestReviewShowsProgress(t *testing.T) {
	file := (&shop{}).put(t, 60_000, 3, 1)
	screen, tty := terminal(t)
	command := func(errs *os.File) *bytes.Buffer {
		var out bytes.Buffer
		self, err := os.Executable()
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(self, "review", "-config", file, "--json")
		cmd.Args[0] = "dimwatch" // TestMain runs the program itself under this name
		cmd.Stdout, cmd.Stderr = &out, errs
		if err := cmd.Run(); err != nil {
			t.Fatal(err)
		}
		return &out
	}

	shown := make(chan string, 1)
	go func() {
		b, _ := io.ReadAll(screen) // ends with an error once nobody holds the other end
		shown <- string(b)
	}()
	out := command(tty)
	_ = tty.Close()
	var bar string
	select {
	case bar = <-shown:
	case <-time.After(10 * time.Second):
		t.Fatal("the terminal is still open")
	}
	if !strings.Contains(bar, "reading") || !strings.Contains(bar, "%") {
		t.Errorf("no bar on the terminal: %q", bar)
	}
	if last := bar[strings.LastIndex(bar, "\r")+1:]; strings.TrimSpace(last) != "" {
		t.Errorf("the bar stays on the terminal: %q", last)
	}
	if !json.Valid(out.Bytes()) {
		t.Errorf("the output is not the report alone: %.300s", out)
	}

	errs, err := os.Create(file + ".errs")
	if err != nil {
		t.Fatal(err)
	}
	piped := command(errs)
	if b, err := os.ReadFile(errs.Name()); err != nil || len(b) != 0 {
		t.Errorf("without a terminal errors get %q, %v", b, err)
	}
	if !bytes.Equal(piped.Bytes(), out.Bytes()) {
		t.Error("the report is another one on a terminal")
	}
}
