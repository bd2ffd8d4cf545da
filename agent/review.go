package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/energy"
	"dimwatch/agent/judge"
	"dimwatch/drivers"
	"dimwatch/drivers/trend"
	"dimwatch/loops"

	"github.com/schollz/progressbar/v3"
)

var reviewCommand = command{
	name: "review", does: "judges recorded hours and prints a report",
	usage: `dimwatch review -config FILE [--json] [--zone NAME]

Judges the recordings that the configuration names (devices with driver "trend") with
the same engine as watch does live points, in the recording's own time, and prints what
was found: all findings at a glance, the worst first, then zone by zone what is wrong, how
sure that is, what to check in which order, and what was proved of a repair; at the end how
each zone stands and what it was not put to the test for. With --zone the report is of one
zone, with its tests. With --json it is one JSON document. On a terminal a bar shows how far
the review is.

Example:
  dimwatch review -config stores/harbor-12/site.hcl
  dimwatch review -config stores/harbor-12/site.hcl --zone bakery
`,
	run: review,
}

func review(args []string, out, errs io.Writer) int {
	fs := flags("review", errs)
	path := configFlag(fs)
	asJSON := fs.Bool("json", false, "print the report as JSON")
	zone := fs.String("zone", "", "report on this zone only")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	site, _, ok := loadConfig(*path, errs)
	if !ok {
		return failed
	}
	defer closeSources(site)
	r := &recording{site: site, judge: judge.New(site), errs: errs, zone: *zone}
	if r.zone != "" && !slices.ContainsFunc(site.Zones, func(z config.Zone) bool { return z.Name == r.zone }) {
		fmt.Fprintf(errs, "dimwatch: review: --zone %s: site %s has no such zone; it has %s\n", r.zone, site.Name, zoneList(site))
		return misuse
	}
	code := done
	if err := r.run(context.Background()); err != nil {
		fmt.Fprintf(errs, "dimwatch: review: %v\n", err)
		r.broken = err
		code = failed
		if r.judge.Snapshot().From.IsZero() {
			return code
		}
		fmt.Fprintln(errs, "dimwatch: review: what was read before that is judged:")
	}
	if *asJSON {
		enc := json.NewEncoder(out)
		enc.SetIndent("", " ")
		if err := enc.Encode(r.document()); err != nil {
			fmt.Fprintf(errs, "dimwatch: review: writing the report: %v\n", err)
			return failed
		}
		return code
	}
	r.report(out)
	return code
}

// recording is a review under way.
type recording struct {
	site     *config.Site
	judge    *judge.Site
	devices  []recorded
	findings []loops.Finding // by Seq, as they last stood
	ended    []loops.Finding // of which the cost is still to be noted
	costs    map[int]energy.Cost
	zone     string    // the one that the report is of, "" for all
	broken   error     // why the recordings were not read to their end
	errs     io.Writer // where progress is shown if it is a terminal
}

// leftOut says whether the report is not of a zone.
func (r *recording) leftOut(zone int) bool { return r.zone != "" && r.site.Zones[zone].Name != r.zone }

// concerns says whether a finding is of the report.
func (r *recording) concerns(f loops.Finding) bool {
	return r.zone == "" || slices.Contains(r.names(f), r.zone)
}

func zoneList(site *config.Site) string {
	names := make([]string, len(site.Zones))
	for i := range site.Zones {
		names[i] = site.Zones[i].Name
	}
	return strings.Join(names, ", ")
}

// recorded is one device of a recording, with the row that is to be judged next.
type recorded struct {
	index    int
	source   drivers.Source
	readings []drivers.Reading
	err      error
	at       time.Time
	done     bool
}

// run judges the recordings row by row. Devices are merged by time: all that have the earliest row are judged together,
// then each reads its next one, so that devices on one file go through it side by side.
func (r *recording) run(ctx context.Context) error {
	for i := range r.site.Devices {
		d := &r.site.Devices[i]
		if !d.Recorded {
			return fmt.Errorf("device %q has driver %q: review judges recordings only, watch judges live points", d.Name, d.Driver)
		}
		if len(d.Points) > 0 {
			r.devices = append(r.devices, recorded{index: i, source: d.Source, readings: make([]drivers.Reading, len(d.Points))})
		}
	}
	for i := range r.devices {
		if err := r.devices[i].next(ctx); err != nil {
			return err
		}
	}
	bar, clear := r.progress()
	defer clear()
	polls := make([]judge.Poll, 0, len(r.devices))
	for rows := 0; ; rows++ {
		at, any := r.earliest()
		if !any {
			break
		}
		polls = polls[:0]
		for i := range r.devices {
			if d := &r.devices[i]; !d.done && d.at.Equal(at) {
				polls = append(polls, judge.Poll{Device: d.index, Readings: d.readings, Err: d.err})
			}
		}
		r.judge.Take(at, polls)
		r.judge.Changes(r.keep)
		r.price()
		for i := range r.devices {
			if d := &r.devices[i]; !d.done && d.at.Equal(at) {
				if err := d.next(ctx); err != nil {
					return err
				}
			}
		}
		if rows%1000 == 0 {
			bar()
		}
	}
	return nil
}

// next reads the next row. A row without any value of the device is a poll that it did not answer.
func (d *recorded) next(ctx context.Context) error {
	d.err = d.source.Read(ctx, d.readings)
	switch {
	case d.err == io.EOF:
		d.done = true
		return nil
	case d.err == nil, errors.Is(d.err, drivers.ErrNoAnswer):
		d.at = d.readings[0].At
		return nil
	}
	return d.err
}

func (r *recording) earliest() (at time.Time, any bool) {
	for i := range r.devices {
		if d := &r.devices[i]; !d.done && (!any || d.at.Before(at)) {
			at, any = d.at, true
		}
	}
	return at, any
}

func (r *recording) keep(f loops.Finding) {
	if f.Cleared != 0 {
		r.ended = append(r.ended, f)
	}
	if f.Seq <= len(r.findings) {
		r.findings[f.Seq-1] = f
		return
	}
	r.findings = append(r.findings, f)
}

// progress gives a function that shows how far the review is, where errors go to a terminal, and one that takes the bar away. What
// is printed is not for it: the bar is never on the output.
func (r *recording) progress() (show, clear func()) {
	recordings := r.recordings()
	var size int64
	for _, rec := range recordings {
		_, n := rec.Progress()
		size += n
	}
	if !onTerminal(r.errs) || size == 0 {
		return func() {}, func() {}
	}
	bar := progressbar.NewOptions64(size, progressbar.OptionSetWriter(r.errs), progressbar.OptionSetDescription("reading"),
		progressbar.OptionShowBytes(true), progressbar.OptionThrottle(100*time.Millisecond), progressbar.OptionClearOnFinish())
	return func() {
		var read int64
		for _, rec := range recordings {
			n, _ := rec.Progress()
			read += n
		}
		_ = bar.Set64(min(read, size-1)) // at its end the bar would go away, and come back with the next row
	}, func() { _ = bar.Finish() }
}

// recordings are the files behind the devices, each once.
func (r *recording) recordings() []*trend.Recording {
	var list []*trend.Recording
	for i := range r.devices {
		if s, ok := r.devices[i].source.(*trend.Source); ok && !slices.Contains(list, s.Recording()) {
			list = append(list, s.Recording())
		}
	}
	return list
}

// problems are what is wrong with the recordings, a line each: first what is not in the report for it, and then what does it no
// harm or costs single values.
func (r *recording) problems() (missing, others []string) {
	if r.broken != nil {
		missing = append(missing, r.broken.Error()+"; what was read before that is judged")
	}
	for _, rec := range r.recordings() {
		problems := rec.Problems()
		first := problems.First()
		for _, kind := range []trend.ProblemKind{trend.BadTime, trend.BadRow, trend.LateRow} {
			if n := problems.Count(kind); n > 0 {
				at := slices.IndexFunc(first, func(p trend.Problem) bool { return p.Kind == kind })
				missing = append(missing, fmt.Sprintf("%s: %v: %d, which are left out; the first: %v", rec.File(), kind, n, first[at]))
			}
		}
		for _, kind := range []trend.ProblemKind{trend.BadCell, trend.RepeatedTime, trend.Reordered} {
			if n := problems.Count(kind); n > 0 {
				others = append(others, fmt.Sprintf("%s: %v: %d", rec.File(), kind, n))
			}
		}
	}
	return missing, others
}

// ordered are the findings of the report in the order of raised, then id, then zone.
func (r *recording) ordered() []loops.Finding {
	list := r.shown(r.judge.Snapshot().Findings)
	slices.SortStableFunc(list, func(a, b loops.Finding) int {
		return cmp.Or(cmp.Compare(a.Raised, b.Raised), cmp.Compare(a.ID.String(), b.ID.String()),
			slices.Compare(r.names(a), r.names(b)))
	})
	return list
}

// names are the zones of a finding, sorted.
func (r *recording) names(f loops.Finding) []string {
	list := make([]string, len(f.Zones))
	for i, z := range f.Zones {
		list[i] = r.site.Zones[z].Name
	}
	slices.Sort(list)
	return list
}
