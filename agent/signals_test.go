package main

import (
	"os"
	"os/exec"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"
)

// process is the whole program in a process of its own: this test binary under the program's name (see TestMain).
type process struct {
	*exec.Cmd
	out, log safeBuffer
}

func startProcess(t *testing.T, env []string, args ...string) *process {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	p := &process{Cmd: &exec.Cmd{Path: self, Args: append([]string{"dimwatch"}, args...), Env: append(os.Environ(), env...)}}
	p.Stdout, p.Stderr = &p.out, &p.log
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = p.Process.Kill() }) // where the test has failed before it ended
	return p
}

// await waits until the log, or the output, has a text.
func (p *process) await(t *testing.T, text string) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		if strings.Contains(p.log.String(), text) || strings.Contains(p.out.String(), text) {
			return
		}
	}
	t.Fatalf("%v: no %q in\n%s%s", p.Args, text, &p.out, &p.log)
}

// ends sends a signal and demands a clean end within some seconds.
func (p *process) ends(t *testing.T, s os.Signal) {
	t.Helper()
	if err := p.Process.Signal(s); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- p.Wait() }()
	select {
	case err := <-ended:
		if err != nil {
			t.Errorf("%v after %v: %v\n%s", p.Args, s, err, &p.log)
		}
	case <-time.After(10 * time.Second):
		t.Fatalf("%v does not end on %v", p.Args, s)
	}
}

// The daemon ends on SIGTERM and SIGINT, with exit code 0, whether its devices answer or not; SIGHUP reloads.
func TestSignals(t *testing.T) {
	panel := startPanel(t)
	for _, c := range []struct {
		name, address string
		signal        os.Signal
	}{
		{"answering", panel.address, syscall.SIGTERM},
		{"interrupted", panel.address, syscall.SIGINT},
		{"refused", "127.0.0.1:1", syscall.SIGTERM},
		{"silent", silent(t), syscall.SIGTERM},
	} {
		t.Run(c.name, func(t *testing.T) {
			file := t.TempDir() + "/site.hcl"
			write(t, file, siteText(c.address, "aisles-1-4"))
			p := startProcess(t, nil, "watch", "-config", file, "--web.listen-address", "127.0.0.1:0")
			p.await(t, `"msg":"watching"`)
			if err := p.Process.Signal(syscall.SIGHUP); err != nil {
				t.Fatal(err)
			}
			p.await(t, `"msg":"configuration reloaded"`)
			p.ends(t, c.signal)
			if p.out.String() != "" {
				t.Errorf("the daemon printed %q", &p.out)
			}
		})
	}
}

// silent is the address of a server that takes connections and never answers.
func silent(t *testing.T) string {
	p := startPanel(t)
	x := startTap(t, p.address)
	x.hold()
	return x.address
}

// Under the journal a line carries its priority in front and no time, which the journal adds.
func TestJournal(t *testing.T) {
	file := t.TempDir() + "/site.hcl"
	write(t, file, siteText("127.0.0.1:1", "aisles-1-4"))
	p := startProcess(t, []string{"JOURNAL_STREAM=8:12345"}, "watch", "-config", file, "--web.listen-address", "127.0.0.1:0")
	p.await(t, `"msg":"watching"`)
	p.await(t, `"level":"warn"`)
	p.ends(t, syscall.SIGTERM)
	log := p.log.String()
	if !regexp.MustCompile(`(?m)^<6>\{"level":"info",.*"watching"`).MatchString(log) || !regexp.MustCompile(`(?m)^<4>\{"level":"warn",`).MatchString(log) {
		t.Errorf("priorities are missing:\n%s", log)
	}
	if strings.Contains(log, `"time"`) {
		t.Errorf("the journal stamps lines itself:\n%s", log)
	}
}

// The demo, too, ends when it is interrupted.
func TestDemoInterrupted(t *testing.T) {
	p := startProcess(t, nil, "demo", "--web.listen-address", "127.0.0.1:0")
	p.await(t, "Metrics: http://127.0.0.1:")
	p.ends(t, syscall.SIGINT)
}
