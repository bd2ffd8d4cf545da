package main

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// shops are the panels of a store whose interfaces stick and are repaired, one after the other, while the program that
// watches them is killed and started again. (That a short is repaired takes longer to prove.) The story of a panel goes on when the program is known to know.
type shops struct {
	t      *testing.T
	panels []*panel

	mu        sync.Mutex
	incidents []int             // faults so far, by panel
	faulty    []bool            // as the panel is now
	since     []time.Time       // when that changed last
	stands    map[string]string // findings that the program has said it has, by cause: as they were told
	told      map[string]int    // raised by log and not renamed since, by cause
	ended     map[string]int    // ended by log, by cause
	starts    int               // that said what they resume from
	energy    map[string]float64
}

// said takes a line of the log, in the order in which they were written.
func (s *shops) said(line string) {
	var l struct {
		Msg, Cause string
		Standing   []string
	}
	if json.Unmarshal([]byte(line), &l) != nil {
		return // cut off by the kill
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case strings.HasPrefix(l.Msg, "resumed with"):
		s.resumed(l.Standing)
	case strings.HasPrefix(l.Msg, "no state was kept yet"):
		if s.starts > 0 {
			s.t.Errorf("start %d finds no state", s.starts+1)
		}
		s.starts++
	case strings.Contains(l.Msg, "set aside"), strings.Contains(l.Msg, "cannot be kept"):
		s.t.Errorf("a start says: %s", line)
	case l.Cause == "":
	case strings.HasPrefix(l.Msg, "ended"):
		s.ended[l.Cause]++
		delete(s.stands, l.Cause)
	case strings.HasPrefix(l.Msg, "renamed"): // it goes on under another name, which is raised next
		s.told[l.Cause]--
		delete(s.stands, l.Cause)
	default:
		if was, known := s.stands[l.Cause]; known {
			s.t.Errorf("%s is raised although it was %s", l.Cause, was)
		}
		s.told[l.Cause]++
		s.stands[l.Cause] = "raised by log"
	}
}

// resumed compares what a start goes on from with what was said before: a kill may come between the commit and the line of
// the log, so that a finding stands that was not told yet, or is gone from a panel whose repair is under way.
func (s *shops) resumed(standing []string) {
	s.starts++
	now := map[string]bool{}
	for _, text := range standing {
		cause, _, _ := strings.Cut(text, " ")
		now[cause] = true
		if s.ended[cause] > 0 {
			s.t.Errorf("%s has ended and stands again", cause)
		}
		if _, known := s.stands[cause]; !known {
			s.stands[cause] = "known from a start"
		}
	}
	for cause := range s.stands {
		if now[cause] {
			continue
		}
		if at, _ := s.panelOf(cause); s.faulty[at] {
			s.t.Errorf("%s is lost: start %d goes on from %v", cause, s.starts, standing)
		}
		s.ended[cause]++
		delete(s.stands, cause)
	}
}

// panelOf gives the panel of a cause such as zone/zone-2/1, and the number of its incident.
func (s *shops) panelOf(cause string) (at, incident int) {
	if _, err := fmt.Sscanf(cause, "zone/zone-%d/%d", &at, &incident); err != nil || at >= len(s.panels) {
		s.t.Errorf("there is no such cause: %s", cause)
		return 0, 0
	}
	return at, incident
}

// story breaks and repairs panels: a sound one breaks after a while, unless the story is to end, and a broken one is
// repaired when its finding is known. It gives whether all are sound and nothing stands.
func (s *shops) story(ending bool) (over bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	over = len(s.stands) == 0
	for i, p := range s.panels {
		stands := false
		for cause := range s.stands {
			at, _ := s.panelOf(cause)
			stands = stands || at == i
		}
		rest := time.Since(s.since[i]) > time.Duration(1500+400*i)*time.Millisecond
		switch {
		case s.faulty[i]:
			over = false
			if stands && rest {
				s.faulty[i], s.since[i] = false, time.Now()
				p.stick(false)
			}
		case !stands && rest && !ending:
			s.faulty[i], s.since[i] = true, time.Now()
			s.incidents[i]++
			p.stick(true)
		}
	}
	return over
}

// counted compares the energy that a scrape shows with the scrape before.
func (s *shops) counted(now map[string]float64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for zone, x := range now {
		if x < s.energy[zone] {
			s.t.Errorf("the energy of %s has fallen from %g J to %g J", zone, s.energy[zone], x)
		}
		s.energy[zone] = x
	}
}

// follow reads the log of a process until it ends.
func (s *shops) follow(p *process, ended <-chan struct{}) {
	read := 0
	for over := false; !over; {
		select {
		case <-ended:
			over = true
		case <-time.After(10 * time.Millisecond):
		}
		text := p.log.String()[read:]
		end := strings.LastIndexByte(text, '\n') + 1
		read += end
		for line := range strings.Lines(text[:end]) {
			s.said(line)
		}
	}
}

// The program is killed at random instants while faults come and go in the store that it watches. Each start goes on from
// the last commit; every fault is found once, none twice and none is lost, by what the logs say together; and the
// counters of energy never fall. DIMWATCH_KILLS says how often it is killed, 20 times where it does not.
func TestKilledAnywhere(t *testing.T) {
	if testing.Short() {
		t.Skip("skipped: takes a minute of real time")
	}
	t.Parallel()
	kills := 20
	if n, err := strconv.Atoi(os.Getenv("DIMWATCH_KILLS")); err == nil {
		kills = n
	}
	s := &shops{t: t, stands: map[string]string{}, told: map[string]int{}, ended: map[string]int{}, energy: map[string]float64{}}
	text := "site \"corner-market\" {\n  judge {\n    settle = \"1s\"\n  }\n}\n"
	for i := range 4 {
		p := startPanel(t)
		s.panels = append(s.panels, p)
		device := fmt.Sprintf("device \"panel\" {\n  driver  = \"modbus-tcp\"\n  address = %q\n  cycle   = \"200ms\"\n  timeout = \"150ms\"\n  gap     = \"1ms\"\n}\n", p.address)
		text += strings.ReplaceAll(device+zoneText(fmt.Sprint("zone-", i)), `"panel"`, fmt.Sprintf("%q", fmt.Sprint("panel-", i)))
	}
	s.incidents, s.faulty, s.since = make([]int, 4), make([]bool, 4), make([]time.Time, 4)
	for i := range s.since {
		s.since[i] = time.Now()
	}
	dir := t.TempDir()
	file, address := filepath.Join(dir, "site.hcl"), unusedAddress(t)
	write(t, file, text)
	seed := rand.Uint64()
	t.Log("seed ", seed)
	r := rand.New(rand.NewPCG(seed, 6))

	// run starts the program, follows it until it has ended, and gives what until gave.
	run := func(until func() bool, end func(p *process)) {
		p := startProcess(t, []string{"DIMWATCH_TEST_KEEP=150ms"}, "watch", "-config", file, "--state", filepath.Join(dir, "state"), "--web.listen-address", address)
		ended := make(chan struct{})
		var following sync.WaitGroup
		following.Go(func() { s.follow(p, ended) })
		for until() {
			s.counted(energies("http://" + address))
			time.Sleep(20 * time.Millisecond)
		}
		end(p)
		close(ended)
		following.Wait()
	}
	kill := func(p *process) {
		_ = p.Process.Kill()
		_ = p.Wait()
	}
	for k := range kills {
		lives := time.Duration(200+r.IntN(4000)) * time.Millisecond
		if k%4 == 0 { // while it starts
			lives = time.Duration(r.IntN(150_000)) * time.Microsecond
		}
		deadline := time.Now().Add(lives)
		run(func() bool {
			s.story(false)
			return time.Now().Before(deadline)
		}, kill)
	}
	deadline := time.Now().Add(90 * time.Second)
	run(func() bool {
		if time.Now().After(deadline) {
			t.Error("the last findings do not end")
			return false
		}
		return !s.story(true)
	}, func(p *process) { p.ends(t, syscall.SIGTERM) })
	begun := time.Now()
	run(func() bool { return time.Since(begun) < time.Second }, func(p *process) { p.ends(t, syscall.SIGTERM) })
	s.report(kills)
}

// report demands that each fault was found once and has ended.
func (s *shops) report(kills int) {
	t, total := s.t, 0
	for i, n := range s.incidents {
		total += n
		for incident := 1; incident <= n+3; incident++ {
			cause := fmt.Sprintf("zone/zone-%d/%d", i, incident)
			if raised, want := s.told[cause], incident <= n; raised > 1 || !want && raised > 0 || want && s.ended[cause] != 1 {
				t.Errorf("%s of %d faults: raised %d times, ended %d times", cause, n, raised, s.ended[cause])
			}
		}
	}
	if total < 4 || len(s.energy) != len(s.panels) {
		t.Errorf("%d faults, the energy of %d zones: the test shows little", total, len(s.energy))
	}
	t.Logf("%d kills, %d starts that told what they go on from, %d faults", kills, s.starts, total)
}
