package main

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/judge"
	"dimwatch/agent/metrics"
	"dimwatch/agent/store"
	"dimwatch/loops"

	"go.uber.org/zap"
)

// How often the state is kept besides with every finding that is raised or ends, and at an orderly end. They are variables
// for tests. Chosen: a killed program loses the evidence of five minutes at most, which a fault that is still there brings
// again; at a minute, a flash would be written to four times as much (BenchmarkStateWrites has the bytes). The energy of a
// site is small, and is shown as it was last kept, so that it never falls: it is kept each minute.
// The meters, which hold the hours of two weeks, are kept with a finding, each hour and at an orderly end: what a finding
// has cost may lack the last hour after a kill, and no counter does.
var (
	stateEvery  = 5 * time.Minute
	energyEvery = time.Minute
	metersEvery = time.Hour
)

// keeper keeps the state of the daemon in the store. Where that fails, watching goes on, and it is tried again. All but
// shown and hold is for the goroutine of daemon.run.
type keeper struct {
	log *zap.Logger
	dir string // "" where nothing is kept

	store  *store.Store // nil while it cannot be opened
	read   bool         // what the store had was taken over, or there was none
	kept   time.Time    // when the judgement was last kept
	meters time.Time    // when the meters were
	failed int          // commits that failed in a row
	clips  clips
	ending bool // the next commit is the last
	aside  bool // what there was has been set aside

	mu       sync.Mutex // for what a scrape reads
	info     metrics.Kept
	counters judge.Counters
}

// open opens the store. The error says that another process has it; whatever else is wrong with it is logged, and does
// not stop anybody from watching.
func (k *keeper) open(now time.Time) error {
	if k.dir == "" {
		k.log.Info("nothing is kept: at the next start all zones are new; agent.state or --state names a folder for what was learned and found")
		return nil
	}
	err := k.begin(now)
	if errors.Is(err, store.ErrHeld) {
		return err
	}
	if err != nil {
		k.fails(err)
	}
	return nil
}

// begin opens the store, or gives the reason why it cannot be.
func (k *keeper) begin(now time.Time) error {
	s, aside, err := store.Open(k.dir, now)
	k.tellAside(aside)
	if err != nil {
		return err
	}
	k.store = s
	return nil
}

func (k *keeper) tellAside(aside string) {
	if aside != "" {
		k.aside = true
		k.log.Error("the state that was kept cannot be used: it is set aside, and all zones are new", zap.String("why", aside))
	}
}

// restore gives a judge that has seen nothing what was kept of its site, and says what stands.
func (k *keeper) restore(s *judge.Site, site *config.Site) {
	if k.dir == "" {
		return
	}
	records, err := k.records(site)
	if err == nil && len(records) > 0 {
		err = s.Restore(judge.State{Judgement: records[store.Judgement], Meters: records[store.Meters], Energy: records[store.Energy]})
		k.read = true
	}
	switch {
	case err != nil && k.store == nil:
		k.locked(err)
		return
	case err != nil:
		k.unreadable(err)
		return
	case len(records) == 0 && k.aside: // said already
		return
	case len(records) == 0:
		k.log.Info("no state was kept yet: all zones are new", zap.String("state", k.dir))
		return
	}
	now := s.Snapshot()
	k.clips.resume(site, now.Findings, time.Now())
	standing := []string{}
	for _, f := range now.Findings {
		standing = append(standing, fmt.Sprintf("%s (%s, %s)", f.Cause, f.ID, strings.Join(zoneNames(site, f), ", ")))
	}
	k.log.Info("resumed with "+strings.ToLower(count(len(standing), "finding", "findings"))+" standing", zap.Strings("standing", standing),
		zap.Time("kept", now.To), zap.String("state", k.dir))
}

// records are those that the store has of a site; where it could not be opened for writing, those that can be read.
func (k *keeper) records(site *config.Site) (map[store.Record][]byte, error) {
	if k.store != nil {
		k.read = true
		return k.store.Load(site.Name)
	}
	records, err := store.Read(k.dir, site.Name)
	if errors.Is(err, os.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) {
		return nil, nil
	}
	return records, err // what it has is not written over: see spare
}

// locked says that there is a state which cannot even be read, whose it is, and what to do.
func (k *keeper) locked(err error) {
	file := store.File(k.dir)
	k.log.Error("whatever state was kept cannot be read: all zones are new. Stop the program, give the file and its folder to the user that it runs as, and start it again: it goes on from there",
		zap.Error(err), zap.String("file", file), zap.String("owner", ownerOf(file)), zap.String("user", userName(os.Geteuid())))
}

// ownerOf is the user whose file it is, or whose the nearest folder above it is that can be looked at.
func ownerOf(path string) string {
	for {
		info, err := os.Stat(path)
		if err == nil {
			if s, ok := info.Sys().(*syscall.Stat_t); ok {
				return userName(int(s.Uid))
			}
			return "not known"
		}
		up := filepath.Dir(path)
		if up == path {
			return "not known"
		}
		path = up
	}
}

func userName(id int) string {
	u, err := user.LookupId(strconv.Itoa(id))
	if err != nil {
		return "user " + strconv.Itoa(id)
	}
	return u.Username
}

// unreadable sets a store aside whose records mean nothing to this program.
func (k *keeper) unreadable(err error) {
	aside, failed := k.store.SetAside(time.Now(), err.Error())
	k.tellAside(aside)
	if failed != nil {
		k.store = nil
		k.fails(failed)
	}
}

// keep commits the state of a site: all of it, or where that is not asked for and is not due, its energy.
func (k *keeper) keep(s *judge.Site, now time.Time, all bool) {
	if k.dir == "" {
		return
	}
	meters := all || k.failed > 0 || now.Sub(k.meters) >= metersEvery
	all = meters || now.Sub(k.kept) >= stateEvery
	state, err := k.commit(s, now, all, meters)
	if err != nil {
		k.fails(err)
		return
	}
	if k.failed > 0 {
		k.log.Info("the state is kept again", zap.Int("failed_commits", k.failed))
		k.failed = 0
	}
	if all {
		k.kept = now
	}
	if meters {
		k.meters = now
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.info.OK, k.info.At = true, now
	k.counters.Energy = state.Counters.Energy
	if all {
		k.counters.Raised = state.Counters.Raised
	}
}

func (k *keeper) commit(s *judge.Site, now time.Time, all, meters bool) (state judge.State, err error) {
	site := s.Config().Name
	if k.store == nil {
		if err := k.begin(now); err != nil {
			return state, err
		}
		if err := k.spare(site, now); err != nil {
			return state, err
		}
	}
	if all {
		state, err = s.Save()
	} else {
		state, err = s.SaveEnergy()
	}
	if err != nil {
		return state, err
	}
	records := map[store.Record][]byte{store.Energy: state.Energy}
	if all {
		records[store.Judgement] = state.Judgement
	}
	if meters {
		records[store.Meters] = state.Meters
	}
	if !all {
		return state, k.store.Commit(site, records)
	}
	return state, k.commitAll(s, site, records, now)
}

// commitAll commits records together with the history: the minutes that are over, and what is new of clips.
func (k *keeper) commitAll(s *judge.Site, site string, records map[store.Record][]byte, now time.Time) error {
	var series store.Series
	minutes, minutesKept := s.Minutes(k.ending)
	for _, m := range minutes {
		series.Minutes = append(series.Minutes, store.Minute{At: m.At, Zone: m.Zone, Value: m.Value})
	}
	var clipsKept func()
	series.Pieces, clipsKept = k.clips.cut(s, now)
	dropped, err := k.store.Keep(site, records, series, now)
	if err != nil {
		return err
	}
	minutesKept()
	clipsKept()
	if dropped.Clips > 0 {
		k.log.Info("the oldest clips were dropped: there are too many", zap.Int("clips", dropped.Clips), zap.Uint64("so_far", dropped.All))
	}
	return nil
}

// spare sets aside what a store has that could not be read at the start: it must not be written over.
func (k *keeper) spare(site string, now time.Time) error {
	if k.read {
		return nil
	}
	records, err := k.store.Load(site)
	if err == nil && len(records) == 0 {
		k.read = true
		return nil
	}
	aside, err := k.store.SetAside(now, "it could not be read when the program started, which has gone on without it")
	if err != nil {
		k.store = nil
		return err
	}
	k.tellAside(aside)
	k.read = true
	return nil
}

// note has the clip of a finding cut.
func (k *keeper) note(s *judge.Site, f loops.Finding) {
	if k.dir == "" {
		return
	}
	if err := k.clips.note(s, f); err != nil {
		k.log.Error("the clip of a finding lacks its description", zap.String("cause", f.Cause), zap.Error(err))
	}
}

// fails counts a failure, and logs the first in a row.
func (k *keeper) fails(err error) {
	if k.failed == 0 {
		k.log.Error("the state cannot be kept; watching goes on, and it is tried again each minute", zap.Error(err), zap.String("state", k.dir))
	}
	k.failed++
	k.mu.Lock()
	defer k.mu.Unlock()
	k.info.OK = false
	k.info.Failures++
}

// close lets go of the store.
func (k *keeper) close() {
	if k.store == nil {
		return
	}
	if err := k.store.Close(); err != nil {
		k.log.Error("closing the state", zap.Error(err))
	}
	k.store = nil
}

// hold makes a snapshot show its counters as they were last kept: killed and started again, the program goes on from there.
func (k *keeper) hold(s *judge.Snapshot) metrics.Kept {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.info.OK {
		s.Hold(k.counters)
	}
	info := k.info
	info.Asked = k.dir != ""
	return info
}

// settle tells what was raised and has ended since the last time, once it is kept: whoever reads the log of a program that
// was killed and has come back finds nothing twice.
func (d *daemon) settle(all bool) {
	d.mu.Lock()
	s := d.site
	d.mu.Unlock()
	var changes []loops.Finding
	s.Changes(func(f loops.Finding) { changes = append(changes, f) })
	for _, f := range changes {
		d.keep.note(s, f)
	}
	d.keep.keep(s, time.Now(), all || len(changes) > 0)
	for _, f := range changes {
		if f.Device >= 0 && f.Cleared == 0 {
			f.Summary += sharing(s.Config(), &f, s.Snapshot().Findings)
		}
		d.tell(s.Config(), f)
	}
}
