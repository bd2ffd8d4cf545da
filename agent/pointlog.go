package main

import (
	"dimwatch/agent/config"
	"dimwatch/drivers"

	"go.uber.org/zap"
)

const (
	// calmPolls is how many good readings in a row end a point's failure. Chosen: a point that fails every other time is one
	// failure with a count and not an entry a poll.
	calmPolls = 3

	// namedPoints is how many points are named in one entry; the others are counted.
	namedPoints = 5
)

// pointLog writes which points of a device begin to fail, and which are good again. It is used by the goroutine that
// polls the device.
type pointLog struct {
	log    *zap.Logger
	points []pointTrouble
}

// pointTrouble is the failure of one point, which may last for many polls.
type pointTrouble struct {
	name    string
	failing bool
	fails   int // since it began
	good    int // readings in a row
}

func newPointLog(log *zap.Logger, site *config.Site, d *config.Device) *pointLog {
	l := &pointLog{log: log}
	for _, p := range d.Points {
		l.points = append(l.points, pointTrouble{name: site.Zones[p.Zone].Name + " " + p.Role.String() + " (" + p.Where + ")"})
	}
	return l
}

// poll takes the readings of one poll that the device has answered.
func (l *pointLog) poll(readings []drivers.Reading) {
	var failing, again []string
	more, polls := 0, 0
	for i := range readings {
		p := &l.points[i]
		if readings[i].Quality == drivers.Good {
			if p.good++; !p.failing || p.good < calmPolls {
				continue
			}
			p.failing = false
			if polls = max(polls, p.fails); len(again) < namedPoints {
				again = append(again, p.name)
			}
			continue
		}
		p.good = 0
		if p.fails++; p.failing {
			continue
		}
		p.failing, p.fails = true, 1
		if len(failing) == namedPoints {
			more++
			continue
		}
		failing = append(failing, p.name+": "+readings[i].Quality.String()+", "+readings[i].Reason)
	}
	if len(failing) > 0 {
		l.log.Warn("points cannot be read; what needs them is not judged", zap.Strings("points", failing), zap.Int("more", more))
	}
	if len(again) > 0 {
		l.log.Info("points can be read again", zap.Strings("points", again), zap.Int("failed_polls", polls))
	}
}
