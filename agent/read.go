package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"text/tabwriter"
	"time"

	"dimwatch/agent/config"
	"dimwatch/drivers"
	"dimwatch/drivers/trend"
	"dimwatch/loops"

	"golang.org/x/term"
)

var readCommand = command{
	name: "read", does: "a table of every point now: raw, scaled, volts, milliamperes, quality, age",
	usage: `dimwatch read -config FILE [--once]

Reads every point and prints it raw and scaled, with its quality and age. On a terminal the
table is refreshed every cycle until it is interrupted; with --once, or where the output is
no terminal, it is printed once. Of a recording the last row is shown. A line bears one
master: do not read a serial line that a daemon is polling.

Example:
  dimwatch read -config /etc/dimwatch/site.hcl --once
`,
	run: read,
}

func read(args []string, out, errs io.Writer) int {
	fs := flags("read", errs)
	path := configFlag(fs)
	once := fs.Bool("once", false, "print the table once")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	site, _, ok := loadConfig(*path, errs)
	if !ok {
		return failed
	}
	defer closeSources(site)
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	f, isFile := out.(*os.File)
	live := isFile && term.IsTerminal(int(f.Fd())) && !*once && os.Getenv("TERM") != "dumb"
	t := newTable(site)
	if !live {
		t.poll(ctx)
		t.print(out, time.Now())
		if !t.anyGood() {
			fmt.Fprintln(errs, "dimwatch: read: no point could be read")
			return failed
		}
		return done
	}
	cycle := time.Hour
	for _, d := range site.Devices {
		cycle = min(cycle, d.Cycle)
	}
	for {
		t.poll(ctx)
		var b strings.Builder
		t.print(&b, time.Now())
		fmt.Fprint(out, "\x1b[H"+strings.ReplaceAll(clip(b.String(), int(f.Fd())), "\n", "\x1b[K\n")+"\x1b[J")
		select {
		case <-ctx.Done():
			return done
		case <-time.After(cycle):
		}
	}
}

// clip cuts a table to the size of the terminal, so that it stands still; what is cut off is said.
func clip(text string, fd int) string {
	width, height, err := term.GetSize(fd)
	if err != nil || height < 4 {
		return text
	}
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	if more := len(lines) - (height - 2); more > 0 && len(lines) > height-1 {
		lines = append(lines[:height-2], fmt.Sprintf("... %d more lines: make the window higher, or use --once", more))
	}
	for i, l := range lines {
		if r := []rune(l); len(r) > width {
			lines[i] = string(r[:width])
		}
	}
	return strings.Join(lines, "\n") + "\n"
}

// table is every point of a site as it was read last.
type table struct {
	site     *config.Site
	readings [][]drivers.Reading
	errs     []error
}

func newTable(site *config.Site) *table {
	t := &table{site: site, errs: make([]error, len(site.Devices))}
	for i := range site.Devices {
		t.readings = append(t.readings, make([]drivers.Reading, len(site.Devices[i].Points)))
	}
	return t
}

// poll reads every device once, all at the same time.
func (t *table) poll(ctx context.Context) {
	var wg sync.WaitGroup
	for i := range t.site.Devices {
		d := &t.site.Devices[i]
		if len(d.Points) == 0 {
			continue
		}
		wg.Go(func() {
			if s, ok := d.Source.(*trend.Source); ok {
				t.errs[i] = s.ReadLast(ctx, t.readings[i])
				return
			}
			limit, cancel := context.WithTimeout(ctx, max(d.Cycle, 2*d.Timeout))
			defer cancel()
			t.errs[i] = d.Source.Read(limit, t.readings[i])
		})
	}
	wg.Wait()
}

func (t *table) anyGood() bool {
	for _, list := range t.readings {
		for _, r := range list {
			if r.Quality == drivers.Good {
				return true
			}
		}
	}
	return false
}

// print writes the table, and under it why a device could not be read.
func (t *table) print(w io.Writer, now time.Time) {
	fmt.Fprintf(w, "%s  %s\n", t.site.Name, now.In(t.site.Location).Format("2006-01-02 15:04:05 MST"))
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "ZONE\tPOINT\tDEVICE\tWHERE\tRAW\tVALUE\tVOLTS\tMA\tQUALITY\tAGE\tWHY")
	for i := range t.site.Zones {
		z := &t.site.Zones[i]
		for role, p := range z.Points {
			if p != nil {
				fmt.Fprintln(tw, t.row(z, config.Role(role), p, now))
			}
		}
	}
	_ = tw.Flush()
	for i, err := range t.errs {
		if err != nil {
			fmt.Fprintf(w, "device %s: %v\n", t.site.Devices[i].Name, err)
		}
	}
}

func (t *table) row(z *config.Zone, role config.Role, p *config.Point, now time.Time) string {
	r := t.readings[p.Device][p.Index]
	cells := []string{z.Name, role.String(), t.site.Devices[p.Device].Name, p.Where, "-", "-", "-", "-", r.Quality.String(), age(now, r.At), r.Reason}
	if r.Quality == drivers.Bad {
		cells[9] = "-" // no value, so none that is old
	}
	if r.Quality == drivers.Good || r.Quality == drivers.Uncertain {
		v := p.Scaled(r.Value)
		cells[4] = fmt.Sprintf("%.7g", r.Value)
		cells[5] = value(p, v)
		if p.Quantity == config.Level || p.Quantity == config.Volts {
			cells[6] = fmt.Sprintf("%.2f", v.Level/10)
		}
		if p.HasLoop {
			cells[7] = fmt.Sprintf("%.2f", v.Milliamps)
			switch loops.RangeOf(v.Milliamps) {
			case loops.CurrentFailed:
				cells[8], cells[10] = drivers.Bad.String(), "current loop in failure"
			case loops.CurrentUncertain:
				cells[8], cells[10] = drivers.Uncertain.String(), "current outside 3.8 to 20.5 mA"
			}
		}
	}
	return strings.Join(cells, "\t")
}

// value writes a scaled reading with its unit.
func value(p *config.Point, v config.Scaled) string {
	switch p.Quantity {
	case config.State:
		if v.Value != 0 {
			return "on"
		}
		return "off"
	case config.Lux:
		return fmt.Sprintf("%.0f lx", v.Value)
	case config.Watts:
		return fmt.Sprintf("%.0f W", v.Value)
	}
	return fmt.Sprintf("%.1f %%", v.Level)
}

// age writes how old a reading is.
func age(now, at time.Time) string {
	if at.IsZero() {
		return "-"
	}
	d := now.Sub(at)
	switch {
	case d < 0:
		return "-"
	case d < 10*time.Second:
		return fmt.Sprintf("%.1f s", d.Seconds())
	}
	return span(int64(d))
}
