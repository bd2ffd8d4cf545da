package drivertest

import (
	"context"
	"fmt"
	"io"
	"sync"
	"testing"
	"time"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
)

// fake is a device without a wire, as sound as the contract wants or with one defect.
type fake struct {
	defect string
	rows   int

	mu      sync.Mutex
	refused map[int]bool
	cut     bool
	garble  bool
	delay   time.Duration
	leaked  chan struct{}
}

var fakeValues = []float64{10, 20, 30}

// rig makes fakes of a defect; of a recording where rows are not 0.
func rig(defect string, rows int) Rig {
	var f *fake
	return Rig{
		Kind: drivers.Kind{Name: "fake", LocationKeys: []string{"at"}, Open: func(d []drivers.Device) ([]drivers.Source, hcl.Diagnostics) { return f.open(d) }},
		New: func(t *testing.T) *World {
			f = &fake{defect: defect, rows: rows, refused: map[int]bool{}, leaked: make(chan struct{})}
			mine := f
			t.Cleanup(func() { close(mine.leaked) })
			set := func(change func()) {
				mine.mu.Lock()
				change()
				mine.mu.Unlock()
			}
			w := &World{Body: `name = "x"`, Timeout: 30 * time.Millisecond, Cycle: time.Millisecond, Rows: rows,
				Points: []Point{{"at = 0", 10}, {"at = 1", 20}, {"at = 2", 30}},
				Refuse: func(i int) { set(func() { mine.refused[i] = true }) },
				Cut:    func() { set(func() { mine.cut = true }) },
			}
			if rows == 0 {
				w.Restore = func() { set(func() { mine.cut = false }) }
				w.Delay = func(d time.Duration) { set(func() { mine.delay = d }) }
				w.Garble = func(on bool) { set(func() { mine.garble = on }) }
			}
			return w
		},
		Lacks: map[Ability]string{Restore: "read ahead", Delay: "at once", Garble: "read ahead", Endless: "it ends", End: "it has none"},
	}
}

func (f *fake) open(devices []drivers.Device) ([]drivers.Source, hcl.Diagnostics) {
	var diags hcl.Diagnostics
	var sources []drivers.Source
	for _, d := range devices {
		content, more := d.Body.Content(&hcl.BodySchema{Attributes: []hcl.AttributeSchema{{Name: "name", Required: f.defect != "accepts an empty block"}}})
		if f.defect == "ignores unknown keys" && len(content.Attributes) > 0 {
			more = nil
		}
		if f.defect != "reports the first mistake only" || len(diags) == 0 {
			diags = append(diags, more...)
		}
		if f.defect == "opens early" && f.cut {
			diags = append(diags, &hcl.Diagnostic{Severity: hcl.DiagError, Summary: "gone", Detail: "gone", Subject: &d.Range})
		}
		s := &fakeSource{fake: f, device: d}
		for _, p := range d.Points {
			at, _ := p.Keys["at"].AsBigFloat().Int64()
			s.at = append(s.at, int(at))
		}
		sources = append(sources, s)
	}
	if f.defect == "sources out of order" && len(sources) == 2 {
		sources[0], sources[1] = sources[1], sources[0]
	}
	return sources, diags
}

type fakeSource struct {
	*fake
	device drivers.Device
	at     []int
	counts drivers.Counts
	reads  int
	kept   []drivers.Reading
	broken bool
	closed bool
}

func (s *fakeSource) Plan() []string {
	if s.defect == "no plan" {
		return nil
	}
	return []string{"read it"}
}

func (s *fakeSource) Counts() drivers.Counts { return s.counts }

func (s *fakeSource) Close() error {
	if s.closed && s.defect == "closes once" {
		return io.ErrClosedPipe
	}
	s.closed = true
	return nil
}

func (s *fakeSource) Read(ctx context.Context, out []drivers.Reading) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	fail := func(err error, why string) error {
		for i := range out {
			out[i] = drivers.Reading{At: time.Now(), Reason: why}
		}
		if s.defect == "good beside an error" && len(out) > 0 {
			out[0] = drivers.Reading{At: time.Now(), Value: 10, Quality: drivers.Good}
		}
		if s.defect == "error of its own" {
			return fmt.Errorf("something: %s", why)
		}
		return fmt.Errorf("%w: %s", err, why)
	}
	if s.closed && s.defect != "reads when closed" {
		return fail(drivers.ErrClosed, "closed")
	}
	if s.defect == "leaves something running" && s.reads == 0 {
		go func(c chan struct{}) { <-c }(s.leaked)
	}
	for i := range s.kept {
		s.kept[i].Value++
	}
	wait := s.delay
	s.mu.Unlock()
	err := s.wait(ctx, wait)
	s.mu.Lock()
	if err != nil {
		s.counts.Timeout++
		return fail(err, "late")
	}
	s.reads++
	switch {
	case s.rows > 0 && s.reads > s.rows && s.defect != "never ends":
		return fail(io.EOF, "the end")
	case s.cut || s.broken:
		s.counts.Closed++
		s.broken = s.defect == "never recovers"
		return fail(drivers.ErrRefused, "cut")
	case s.garble && s.defect != "believes garbage":
		s.counts.Protocol++
		return fail(drivers.ErrReply, "garbled")
	}
	s.counts.OK++
	if s.defect == "counts go back" && s.counts.OK > 1 {
		s.counts.OK = 0
	}
	for i, at := range s.at {
		out[i] = s.reading(at)
	}
	if s.defect == "leaves an element out" && len(out) == 3 {
		out[2] = drivers.Reading{Value: 1, Quality: drivers.Good, Reason: "never set"}
	}
	if s.defect == "keeps out" {
		s.kept = out
	}
	if len(s.refused) > 0 && s.defect == "one bad point spoils all" {
		return fail(drivers.ErrDevice, "refused")
	}
	return nil
}

// wait waits as a device does that answers late.
func (s *fakeSource) wait(ctx context.Context, d time.Duration) error {
	if d == 0 {
		return nil
	}
	if s.defect == "deaf to its context" {
		ctx = context.Background()
	}
	if s.defect == "believes late answers" {
		return nil
	}
	t := time.NewTimer(min(d, s.device.Timeout, 2*time.Second))
	defer t.Stop()
	select {
	case <-ctx.Done():
		return fmt.Errorf("%w: %w", drivers.ErrTimeout, ctx.Err())
	case <-t.C:
		return drivers.ErrTimeout
	}
}

func (s *fakeSource) reading(at int) drivers.Reading {
	r := drivers.Reading{At: time.Now(), Value: fakeValues[at], Quality: drivers.Good}
	switch {
	case s.refused[at]:
		r = drivers.Reading{At: r.At, Reason: "refused"}
		if s.defect == "no reason" {
			r.Reason = ""
		}
	case s.defect == "wrong order":
		r.Value = fakeValues[2-at]
	case s.defect == "no time":
		r.At = time.Time{}
	case s.defect == "time of another day":
		r.At = r.At.Add(-time.Hour)
	case s.garble || s.delay > 0:
		r.Value = 99
	}
	return r
}
