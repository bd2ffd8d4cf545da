package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/demo"
	"dimwatch/configs"
	"dimwatch/drivers/all"
	"dimwatch/loops"

	"go.uber.org/zap"
)

var demoCommand = command{
	name: "demo", does: "a simulated store on loopback, watched by the unchanged daemon",
	usage: `dimwatch demo [--for DURATION] [--web.listen-address ADDRESS]

Simulates the dimmed zones of an invented store behind a Modbus server on loopback, lets
faults come and go in it, and watches it with the same daemon as watch does. Plain lines
say what happens in the store and what was found.

  --for DURATION                ends it by itself after such as 90s, 2m or 1h30m; 0, which
                                it is where not given, runs it until it is interrupted
  --web.listen-address ADDRESS  where to serve the metrics

Example:
  dimwatch demo --for 2m
`,
	run: runDemo,
}

// demoSeed makes every run the same story.
const demoSeed = 1

func runDemo(args []string, out, errs io.Writer) int {
	fs := flags("demo", errs)
	length := fs.Duration("for", 0, "end after this time; 0 runs until interrupted")
	webFlags := webFlags(fs)
	if code, ok := parse(fs, args); !ok {
		return code
	}
	if *length < 0 {
		fmt.Fprintf(errs, "dimwatch: demo: --for %v: a time that is not below 0 is needed, such as 2m\n", *length)
		return misuse
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	if *length > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, *length)
		defer cancel()
	}
	store, err := demo.Start(ctx, demoSeed)
	if err != nil {
		fmt.Fprintf(errs, "dimwatch: demo: %v\n", err)
		return failed
	}
	defer store.Close()
	if err := os.Setenv("DIMWATCH_DEMO_ADDRESS", store.Address()); err != nil {
		fmt.Fprintf(errs, "dimwatch: demo: %v\n", err)
		return failed
	}
	site, files, diags := config.LoadBytes(configs.Demo, "demo.hcl", all.Kinds)
	if diags.HasErrors() {
		_ = config.Print(errs, files, diags, 100, false)
		return failed
	}
	if len(*webFlags.WebListenAddresses) == 0 {
		*webFlags.WebListenAddresses = []string{freeAddress(site.Agent.Listen)}
	}
	s := &show{out: out, start: time.Now()}
	s.line("The store %s (%d zones) is simulated at %s; everything about it is invented.", site.Title, len(site.Zones), store.Address())
	d := &daemon{log: zap.NewNop(), path: "demo.hcl", web: webFlags, found: s.found}
	var telling sync.WaitGroup
	telling.Go(func() {
		for e := range store.Events() {
			s.put("store", "%s: %s", e.Zone, e.Text)
		}
	})
	err = d.run(ctx, site, nil, func(a net.Addr) {
		s.line("Metrics: http://%s/metrics   (curl -s http://%s/metrics | grep finding_active)", a, a)
		s.commands(store.Address())
	})
	store.Close()
	telling.Wait()
	if err != nil && !errors.Is(err, context.DeadlineExceeded) {
		fmt.Fprintf(errs, "dimwatch: demo: %v\n", err)
		return failed
	}
	s.line("The demo has ended: %s, of which %d ended with the zone proved.", count(s.raised, "finding", "findings"), s.cleared)
	if w := store.Writes(); w != 0 {
		fmt.Fprintf(errs, "dimwatch: demo: %d write requests reached the store: that must never be\n", w)
		return failed
	}
	return done
}

// freeAddress is the address if it can be listened on, else one with a free port.
func freeAddress(address string) string {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return "127.0.0.1:0"
	}
	_ = l.Close()
	return address
}

// show prints what happens, a line each.
type show struct {
	mu              sync.Mutex
	out             io.Writer
	start           time.Time
	raised, cleared int
}

func (s *show) line(format string, args ...any) { s.put("", format, args...) }

// put prints a line with what it is about before it; what is too long goes on below.
func (s *show) put(about, format string, args ...any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	lead := fmt.Sprintf("%4.0f s  ", time.Since(s.start).Seconds())
	if about != "" {
		lead += fmt.Sprintf("%-9s", about)
	}
	fold(s.out, lead, fmt.Sprintf(format, args...))
}

// commands prints how the other commands look at the same store, each on one line to be copied.
func (s *show) commands(address string) {
	s.line("Look at it from a second terminal, in the folder of the sources:")
	s.mu.Lock()
	defer s.mu.Unlock()
	env := "DIMWATCH_DEMO_ADDRESS=" + address
	for _, command := range []string{
		env + " dimwatch read -config configs/demo.hcl --once",
		env + " dimwatch watch -config configs/demo.hcl --state demo-state --web.listen-address 127.0.0.1:9848",
		"dimwatch export -config configs/demo.hcl --state demo-state",
	} {
		fmt.Fprintf(s.out, "        %s\n", command)
	}
}

// found prints a finding that was raised or has ended.
func (s *show) found(site *config.Site, f loops.Finding) {
	row := &loops.Catalogue[f.ID]
	where := strings.Join(zoneNames(site, f), ", ")
	if f.Cleared != 0 {
		about, what := "PROVED", "%s: works again (%s)"
		if f.Revised {
			about, what = "RENAMED", "%s: was called %s"
		}
		s.mu.Lock()
		if !f.Revised {
			s.cleared++
		}
		s.mu.Unlock()
		s.put(about, what, where, row.Name)
		return
	}
	s.mu.Lock()
	s.raised++
	s.mu.Unlock()
	s.put("FOUND", "%s: %s; part: %s, %s, confidence %.0f %%", where, row.Title, row.Part, row.Severity, 100*f.Confidence)
	s.put(" ", "%s", f.Summary)
	if text := also(&f); text != "" {
		s.put(" ", "%s", text)
	}
	if row.Checks[0].Work == loops.Desk { // what is touched needs its cautions first: the log and the review have them all
		s.put(" ", "To do first: %s", f.Checks[0])
	}
}
