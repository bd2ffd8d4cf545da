package loops

// calling keeps apart whether somebody wants light (asked) and whether the gear is fed (lit). Each state changes with the
// second sample that says so: one alone may be nonsense.
type calling struct {
	asked, askedKnown bool
	askedFirm         bool // by an order, not only by the site's hours
	lit, litKnown     bool
	litSeen           bool // lit is known from contact, power or feedback, not only taken from asked
	changing          bool // the newest sample says something else than the state
	pending           bool // so did the one before
	fading            bool // the pair is at 0 V and power still on its way down: lit may be the word of a late meter

	wasLit  bool // the feedback has shown light since it was asked for
	working bool // the controller has moved its command up since it was dark: it thinks that the zone is lit

	order, contact, open bool // the states of the newest sample

	litSeconds  float64 // since the gear was fed
	callSeconds float64 // since asked or lit
	darkCommand float64 // the command when the feedback was last above the floor of a lit pair
}

const (
	// litLevel is the least that a sound pair shows while its gear is fed, in percent of level.
	// Source: C137.1 gear goes to standby below about 0.5 V (secondary).
	litLevel = 5.0

	// nothing is a setpoint below which no light is asked for, in percent: minimum light is a tenth.
	nothing = 1.0

	// litShare is the share of full power above which gear is fed.
	// Source: stand-by of controls leaves a few per cent (common practice, no source).
	litShare = 0.04
)

// call works out asked and lit from the newest sample.
func (m *memory) call() {
	asked, askedKnown, firm := false, true, true
	switch {
	case m.has.Has(Order):
		asked = m.order
	case m.set.Has.Has(Order):
		askedKnown = false // the order was not read: the hours are no stand-in for it
	case m.has.Has(Hours):
		// A setpoint of nothing asks for none.
		asked, firm = m.open && !(m.has.Has(Setpoint) && m.setpoint < nothing), false
	default:
		askedKnown = false
	}
	lit, litKnown, seen := false, true, true
	full, guess := m.fullPower()
	off, on := litShare*full, litShare*full
	if guess {
		off, on = off/guessFactor, on*guessFactor // between them the power does not tell
	}
	switch {
	case m.has.Has(Contact):
		lit = m.contact
	case m.has.Has(Order|Feedback) && !m.order && m.feedback < litLevel:
		// Switched off: a meter that averages may go on showing power for a while.
	case m.has.Has(Setpoint|Feedback) && !m.has.Has(Order) && askedKnown && !asked && m.setpoint < nothing && m.feedback < litLevel:
		// So is a zone whose setpoint is nothing, where no order says so.
	case m.has.Has(Power) && full > 0 && (m.power <= off || m.power > on):
		lit = m.power > on
	case m.has.Has(Feedback) && m.feedback > litLevel:
		lit = true
	case askedKnown:
		lit, seen = asked, false
	default:
		litKnown, seen = false, false
	}
	m.fading = m.fades(lit)
	first := !m.litKnown && !m.askedKnown
	m.changing = !first && (litKnown && m.litKnown && lit != m.lit || askedKnown && m.askedKnown && asked != m.asked)
	if m.changing && !m.pending {
		m.pending = true
		return
	}
	m.pending = false
	m.changing = false
	if !m.lit && lit || first {
		m.litSeconds = 0
		m.working = false
	}
	called := m.asked || m.lit
	m.asked, m.askedKnown, m.askedFirm = asked, askedKnown, firm
	m.lit, m.litKnown, m.litSeen = lit, litKnown, seen
	if lit {
		m.litSeconds += m.dt
	}
	if called && (m.asked || m.lit) {
		m.callSeconds += m.dt
	} else {
		m.callSeconds = 0
	}
	if !m.complete() {
		return
	}
	switch {
	case !m.asked:
		m.wasLit = false
	case m.feedback > litLevel && m.callSeconds > lightUpSeconds:
		m.wasLit = true
	}
	if m.feedback > litLevel || !m.asked && !m.lit {
		m.darkCommand, m.working = m.command, false
	} else if m.command > m.darkCommand+10 && m.setpoint > m.feedback {
		m.working = true
	} else if m.command < m.darkCommand {
		m.darkCommand = m.command
	}
}

// fadeShare is by how much of itself power falls from one sample to the next while a meter is still on its way.
// Chosen: one with a time constant of 40 s falls by a tenth in 4 s. At half, noise of coarse meters would do; at double, fast
// polls of a slow meter would be missed.
const fadeShare = 0.1

// fades says whether the pair has gone to 0 V and the power is still on its way down: where no order stands the zone may
// have been switched off, with a meter that is late, and nobody knows yet whether it stops at minimum light or at none.
func (m *memory) fades(lit bool) bool {
	return lit && m.lit && !m.gap && !(m.asked && m.askedFirm) && !m.has.Has(Contact) && m.has.Has(Power|Feedback) &&
		m.feedback < litLevel && m.power < (1-fadeShare)*float64(m.powerBefore)
}
