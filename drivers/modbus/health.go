package modbus

import "time"

// faultyCycles is how many cycles in a row a device may call itself faulty before it is asked less often.
const faultyCycles = 3

// health is whether a unit answers. A unit that was silent for two cycles in a row, while its link may be fine, is
// asked for a single value after a pause of twice its cycle, doubled with each further silence, until it answers: a dead
// unit would otherwise cost the living ones behind the same link a timeout in every cycle.
type health struct {
	pause  backoff
	silent int // cycles in a row
	faulty int // cycles in a row in which all answers said that the device is faulty

	err    error // of the last cycle, while pausing
	reason string
}

func newHealth(cycle time.Duration) health { return health{pause: backoff{first: 2 * cycle}} }

// wait is how long the unit is not to be asked; 0 for now.
func (h *health) wait(now time.Time) time.Duration { return h.pause.wait(now) }

// dead says whether to probe first.
func (h *health) dead() bool { return h.silent >= 2 }

// note takes the result of a cycle.
func (h *health) note(c *cycle, now time.Time) {
	switch {
	case c.answers > 0 && c.faults < c.answers:
		h.silent, h.faulty = 0, 0
		h.pause.succeeded()
		return
	case c.answers > 0:
		h.silent = 0
		h.faulty++
	case c.silent:
		h.silent++
	default:
		return // no connection, or no time: that says nothing of the unit
	}
	if h.silent >= 2 || h.faulty >= faultyCycles {
		h.pause.failed(now)
		h.err, h.reason = c.err, c.stopped
		if h.reason == "" {
			h.reason = exceptionReason(deviceFailure)
		}
	}
}
