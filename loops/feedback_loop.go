package loops

import "math"

// The feedback's current loop is in failure: at or below 3.6 mA it is open or its transmitter is dead, at or above 21 mA it
// is shorted or its transmitter has failed. A pair at 11..15 V drives a transmitter without limit above 21 mA as well, and
// exchanged conductors drive it below 3.6 mA. The light goes with the command, not with the feedback.
// Source: NAMUR NE 43 (secondary): failure at or below 3.6 and at or above 21.0 mA for 4 s at least.

const (
	loopLowMilliamps  = 3.6
	loopHighMilliamps = 21.0

	// Between these and the failure limits a reading is uncertain. Source: NAMUR NE 43 (secondary).
	loopValidLow  = 3.8
	loopValidHigh = 20.5
)

// CurrentRange is where the current of a 4..20 mA loop lies.
type CurrentRange uint8

// The ranges of NAMUR NE 43.
const (
	CurrentValid     CurrentRange = iota // 3.8 to 20.5 mA
	CurrentUncertain                     // between that and failure: not to be relied on
	CurrentFailed                        // at or below 3.6, at or above 21 mA
)

// RangeOf tells where a current in milliamperes lies.
func RangeOf(milliamps float64) CurrentRange {
	const rounding = 1e-9 // of counts that were scaled
	switch {
	case milliamps <= loopLowMilliamps+rounding || milliamps >= loopHighMilliamps-rounding:
		return CurrentFailed
	case milliamps < loopValidLow-rounding || milliamps > loopValidHigh+rounding:
		return CurrentUncertain
	}
	return CurrentValid
}

func (m *memory) loopFailsLow() bool {
	return m.has.Has(FeedbackLoop) && m.milliamps < 12 && RangeOf(m.milliamps) == CurrentFailed
}

func (m *memory) loopFailsHigh() bool {
	return m.has.Has(FeedbackLoop) && m.milliamps > 12 && RangeOf(m.milliamps) == CurrentFailed
}

func weighFeedbackLoopLow(m *memory) weight {
	w := weight{motion: m.views.windUp, level: m.views.lightCommand}
	if !m.loopFailsLow() {
		w.motion += worst
	}
	return w
}

func weighFeedbackLoopHigh(m *memory) weight {
	w := weight{motion: m.views.windUp, level: m.views.lightCommand}
	if !m.loopFailsHigh() {
		w.motion += worst
	}
	if m.loopByLight() {
		w.level -= 4 // it came with the light: the gear drives it
	}
	return w
}

// loop follows the current of the feedback's loop: it has failed when it was in failure for two samples and 4 s.
// Source: NAMUR NE 43 (secondary).
func (m *memory) loop() {
	if !m.loopFailsLow() && !m.loopFailsHigh() {
		m.loopSamples, m.loopSeconds = 0, 0
		return
	}
	if m.loopSamples++; m.loopSamples > 1 {
		m.loopSeconds += m.dt
		return
	}
	m.loopSince = m.at
}

// loopByLight says whether the current went out of its range as the gear was switched on: then the gear drives it.
func (m *memory) loopByLight() bool {
	const near = 2.5 // cycles: power and contact are seen a sample late
	litAt := m.at - int64(m.litSeconds*1e9)
	return m.lit && math.Abs(float64(m.loopSince-litAt))/1e9 <= near*m.set.CycleSeconds
}

// loopFailed says whether the current loop is in failure for certain.
func (m *memory) loopFailed() bool { return m.loopSamples >= 2 && m.loopSeconds >= 4 }
