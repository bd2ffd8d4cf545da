package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/signal"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/judge"
	"dimwatch/agent/metrics"
	"dimwatch/agent/poll"
	"dimwatch/drivers"
	"dimwatch/loops"

	"github.com/hashicorp/hcl/v2"
	"github.com/prometheus/exporter-toolkit/web"
	"go.uber.org/zap"
)

var watchCommand = command{
	name: "watch", does: "the daemon: polls, judges and serves metrics",
	usage: `dimwatch watch -config FILE [--state DIR] [--record DIR]
                      [--web.listen-address ADDRESS] [--web.config.file FILE]

Polls the devices of the configuration, judges every zone, logs what it finds and serves
metrics. It ends on SIGINT and SIGTERM. On SIGHUP it reads the configuration again: a good
one takes the place of the old one, a bad one changes nothing and is logged.

  -config FILE                  the configuration
  --state DIR                   where to keep what was learned and found, so that a restart
                                goes on from there; wins over agent.state
  --record DIR                  where to record all that is read, a folder a day, for review
  --web.listen-address ADDRESS  where to serve, may be repeated; wins over agent.listen
  --web.config.file FILE        TLS and users for the web side, wins over agent.web_config
  --web.systemd-socket          serve on sockets that systemd hands over

Example:
  dimwatch watch -config /etc/dimwatch/site.hcl
`,
	run: watch,
}

func watch(args []string, _, errs io.Writer) int {
	fs := flags("watch", errs)
	path := configFlag(fs)
	state := fs.String("state", "", "the folder for what has to survive a restart")
	record := fs.String("record", "", "the folder for recordings of what is read")
	webFlags := webFlags(fs)
	if code, ok := parse(fs, args); !ok {
		return code
	}
	log := newLogger(errs)
	site, _, ok := loadConfig(*path, errs)
	if !ok {
		return failed
	}
	if err := watchable(site); err != nil {
		fmt.Fprintf(errs, "dimwatch: watch: %v\n", err)
		return failed
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	d := &daemon{log: log, path: *path, web: webFlags, state: *state, record: *record, plain: onTerminal(errs)}
	hup := make(chan os.Signal, 1)
	signal.Notify(hup, syscall.SIGHUP)
	defer signal.Stop(hup)
	if err := d.run(ctx, site, hup, nil); err != nil {
		log.Error("ended", zap.Error(err))
		return failed
	}
	return done
}

// watchable says why a site cannot be watched live.
func watchable(site *config.Site) error {
	for _, d := range site.Devices {
		if d.Recorded {
			return fmt.Errorf("device %q has driver %q: a recording cannot be watched; judge it with `dimwatch review -config %s`", d.Name, d.Driver, site.File)
		}
	}
	return nil
}

// daemon watches one site at a time.
type daemon struct {
	log   *zap.Logger
	path  string
	web   *web.FlagConfig
	state string // the folder for what has to survive a restart; agent.state where ""

	record string // the folder for recordings; "" for none
	plain  bool   // findings are logged as lines for people, not as fields

	// found, where not nil, is called with every finding that is raised or ends, for demo.
	found func(*config.Site, loops.Finding)

	keep     *keeper
	recorder *recorder     // nil where nothing is recorded
	changed  chan struct{} // something was raised or has ended

	mu     sync.Mutex // for what a scrape reads and a reload replaces
	site   *judge.Site
	poller *poll.Poller
	reload metrics.Reload
}

// run watches until ctx is done. A value on hup reloads the configuration. listening, where not nil, is called with the
// address once the web side accepts connections.
func (d *daemon) run(ctx context.Context, site *config.Site, hup <-chan os.Signal, listening func(net.Addr)) error {
	listeners, err := d.listen(site)
	if err != nil {
		closeSources(site)
		return err
	}
	d.keep, d.changed = &keeper{log: d.log, dir: cmp.Or(d.state, site.Agent.State)}, make(chan struct{}, 1)
	if err := d.keep.open(time.Now()); err != nil {
		closeSources(site)
		for _, l := range listeners {
			_ = l.Close()
		}
		return fmt.Errorf("state: %w", err)
	}
	var recording <-chan time.Time
	if d.record != "" {
		d.recorder = newRecorder(d.log, d.record)
		ticker := time.NewTicker(recordEvery)
		defer ticker.Stop()
		recording = ticker.C
	}
	d.begin(ctx, site, nil)
	defer func() {
		d.end()
		d.keep.ending = true
		d.settle(true)
		d.keep.close()
		d.recorder.end()
	}()
	keeping := time.NewTicker(energyEvery)
	defer keeping.Stop()
	c := metrics.New(d.view, d.reloadState)
	srv := serve(listeners, d.web, handler(c, d.ready, d.about), d.log)
	defer srv.stop()
	if listening != nil && len(listeners) > 0 {
		listening(listeners[0].Addr())
	}
	d.log.Info("watching", zap.String("site", site.Name), zap.Int("zones", len(site.Zones)), zap.Int("devices", len(site.Devices)))
	for {
		select {
		case <-ctx.Done():
			d.log.Info("ending")
			return nil
		case err := <-srv.stopped:
			return fmt.Errorf("the web side ended: %w", err)
		case <-d.changed:
			d.settle(false)
		case <-keeping.C:
			d.settle(false)
		case <-recording:
			d.recorder.flush()
		case <-hup:
			d.again(ctx)
		}
	}
}

// listen opens the listeners that flags or the configuration ask for.
func (d *daemon) listen(site *config.Site) ([]net.Listener, error) {
	if len(*d.web.WebListenAddresses) == 0 {
		*d.web.WebListenAddresses = []string{site.Agent.Listen}
	}
	if *d.web.WebConfigFile == "" {
		*d.web.WebConfigFile = site.Agent.WebConfig
	}
	if err := web.Validate(*d.web.WebConfigFile); err != nil {
		return nil, fmt.Errorf("web configuration %s: %w", *d.web.WebConfigFile, err)
	}
	if *d.web.WebSystemdSocket {
		return nil, nil // the toolkit takes them over
	}
	var list []net.Listener
	for _, address := range *d.web.WebListenAddresses {
		l, err := net.Listen("tcp", address)
		if err != nil {
			for _, open := range list {
				_ = open.Close()
			}
			if errors.Is(err, syscall.EADDRINUSE) {
				return nil, fmt.Errorf("%w: is another dimwatch running? --web.listen-address or agent.listen choose another address", err)
			}
			return nil, fmt.Errorf("%w: correct --web.listen-address or agent.listen", err)
		}
		list = append(list, l)
	}
	return list, nil
}

// begin polls a site from now on; what was known of its zones before, or is kept of them, goes on.
func (d *daemon) begin(ctx context.Context, site *config.Site, before *judge.Site) {
	s := judge.New(site)
	if before != nil {
		s.Resume(before)
	} else {
		d.keep.restore(s, site)
	}
	d.keep.keep(s, time.Now(), true) // before anything can be shown
	d.recorder.begin(site)
	d.recorder.try(time.Now())
	var jobs []poll.Job
	for i := range site.Devices {
		dev := &site.Devices[i]
		log := d.log.With(zap.String("device", dev.Name))
		points := newPointLog(log, site, dev)
		jobs = append(jobs, poll.Job{
			Source: dev.Source, Points: len(dev.Points), Cycle: dev.Cycle,
			Take: func(now time.Time, readings []drivers.Reading, err error) {
				d.recorder.take(i, now, readings, err)
				s.Take(now, []judge.Poll{{Device: i, Readings: readings, Err: err}})
				if s.Pending() {
					select {
					case d.changed <- struct{}{}:
					default: // it is known already
					}
				}
				if err == nil {
					points.poll(readings)
				}
			},
			Changed: func(err error, failures int) {
				if err != nil {
					log.Warn("does not answer", zap.Error(err))
				} else {
					log.Info("answers again", zap.Int("failed_polls", failures))
				}
			},
		})
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.site, d.poller = s, poll.Start(ctx, jobs)
	d.reload = metrics.Reload{OK: true, At: time.Now()}
}

// end stops polling and lets go of the connections.
func (d *daemon) end() {
	d.mu.Lock()
	poller, site := d.poller, d.site
	d.mu.Unlock()
	poller.Stop()
	closeSources(site.Snapshot().Site)
}

// again loads the configuration again: it is built first and takes over only when it is good.
func (d *daemon) again(ctx context.Context) {
	var text strings.Builder
	site, diags, ok := loadConfig(d.path, &text)
	if ok {
		if err := watchable(site); err != nil {
			closeSources(site)
			text.WriteString(err.Error())
			ok = false
		}
	}
	if !ok {
		d.mu.Lock()
		d.reload.OK = false
		d.mu.Unlock()
		d.log.Error("the configuration was not reloaded: the old one stays in force", zap.String("file", d.path),
			zap.Int("errors", countErrors(diags)), zap.String("what", text.String()))
		return
	}
	d.end() // a device may allow one connection only
	d.settle(true)
	d.recorder.flush()
	d.mu.Lock()
	before := d.site
	d.mu.Unlock()
	d.begin(ctx, site, before)
	d.dropped(before.Snapshot(), site)
	d.log.Info("configuration reloaded", zap.String("file", d.path), zap.Int("zones", len(site.Zones)))
}

// dropped logs what a reload does away with: findings of zones that were changed or removed, and addresses that are only
// taken at a start.
func (d *daemon) dropped(before judge.Snapshot, site *config.Site) {
	d.mu.Lock()
	now := d.site.Snapshot().Findings
	d.mu.Unlock()
	for _, f := range before.Findings {
		if !slices.ContainsFunc(now, func(o loops.Finding) bool { return o.Cause == f.Cause && o.ID == f.ID }) {
			d.log.Warn("no longer watched for: the reload changed or removed its zone", zap.String("finding", f.ID.String()),
				zap.String("cause", f.Cause), zap.Strings("zones", zoneNames(before.Site, f)))
		}
	}
	if before.Site.Agent != site.Agent {
		d.log.Warn("the agent block has changed: that takes effect at the next start")
	}
}

func countErrors(diags hcl.Diagnostics) int {
	n := 0
	for _, x := range diags {
		if x.Severity == hcl.DiagError {
			n++
		}
	}
	return n
}

func (d *daemon) view() metrics.View {
	d.mu.Lock()
	defer d.mu.Unlock()
	v := metrics.View{Site: d.site.Snapshot(), Polls: d.poller.Stats()}
	v.Kept = d.keep.hold(&v.Site)
	return v
}

func (d *daemon) reloadState() metrics.Reload {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.reload
}

// about gives the site's name, and how many findings stand.
func (d *daemon) about() (title string, standing int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.site.Snapshot()
	return now.Site.Title, len(now.Findings)
}

func (d *daemon) ready() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.poller.Ready()
}

// tell logs a finding that was raised or has ended.
func (d *daemon) tell(site *config.Site, f loops.Finding) {
	if d.found != nil {
		d.found(site, f)
	}
	row := &loops.Catalogue[f.ID]
	fields := []zap.Field{
		zap.String("finding", row.Name), zap.String("cause", f.Cause), zap.Strings("zones", zoneNames(site, f)),
		zap.String("part", row.Part), zap.String("severity", row.Severity), zap.Time("onset", time.Unix(0, f.Onset).In(site.Location)),
	}
	if f.Device >= 0 {
		fields = append(fields, zap.String("device", site.Devices[f.Device].Name))
	}
	if f.Cleared != 0 {
		if f.Revised {
			d.log.Info("renamed: a better explanation takes its place", fields...)
			return
		}
		text := "ended: the zone has shown that it works"
		if f.Device >= 0 {
			text = "ended: the device answers again"
		}
		d.log.Info(text, append(fields,
			zap.Duration("stood", time.Duration(f.Cleared-f.Raised)), zap.String("proved", proved(&f)))...)
		return
	}
	if d.plain {
		d.log.Warn(plainFinding(site, f))
		return
	}
	var also []string
	for _, a := range f.Also {
		also = append(also, fmt.Sprintf("%s (%s)", a.ID, a.Likely()))
	}
	d.log.Warn(f.Summary, append(fields, zap.Float64("confidence", f.Confidence), zap.Strings("also_possible", also),
		zap.Strings("cautions", f.Cautions), zap.Strings("checks", f.Checks))...)
}

// plainFinding is a finding as lines for people: what it is, what to beware of, and then what to check.
func plainFinding(site *config.Site, f loops.Finding) string {
	row := &loops.Catalogue[f.ID]
	var b strings.Builder
	where := strings.Join(zoneNames(site, f), ", ")
	if f.Device >= 0 {
		where = "device " + site.Devices[f.Device].Name
	}
	fmt.Fprintf(&b, "%s: %s (%s, part: %s, %s, confidence %.0f %%)\n", where, row.Title, row.Name, row.Part, row.Severity, 100*f.Confidence)
	fold(&b, "  ", f.Summary)
	if text := also(&f); text != "" {
		fold(&b, "  ", text)
	}
	for _, c := range f.Cautions {
		fold(&b, "  ! ", c)
	}
	for i, c := range f.Checks {
		fold(&b, fmt.Sprintf("  %d. ", i+1), c)
	}
	return strings.TrimSuffix(b.String(), "\n")
}

// sharing says which devices a lost one shares its address with, and whether these are lost as well; "" where it has an address
// of its own.
func sharing(site *config.Site, f *loops.Finding, standing []loops.Finding) string {
	address := site.Devices[f.Device].Address
	if f.ID != loops.DeviceLost || address == "" {
		return ""
	}
	var lost, others []string
	for i := range site.Devices {
		d := &site.Devices[i]
		switch {
		case i == f.Device || d.Address != address || len(d.Points) == 0:
		case slices.ContainsFunc(standing, func(o loops.Finding) bool { return o.ID == loops.DeviceLost && o.Device == i }):
			lost = append(lost, d.Name)
		default:
			others = append(others, d.Name)
		}
	}
	switch {
	case len(lost) > 0:
		return fmt.Sprintf(" It shares the address %s with %s, lost as well: the gateway at that address is the first suspect.", address, listed(lost, 6))
	case len(others) > 0:
		return fmt.Sprintf(" It shares the address %s with %s: if nothing there answers, the gateway at that address is the first suspect.", address, listed(others, 6))
	}
	return ""
}

// zoneNames are the zones of a finding.
func zoneNames(site *config.Site, f loops.Finding) []string {
	var names []string
	for _, z := range f.Zones {
		names = append(names, site.Zones[z].Name)
	}
	return names
}
