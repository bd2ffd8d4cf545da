package loops

// A short was there, someone worked at the pair (the connector was off, or the pair was well for a while), and the short is
// back: a second ground, or a repair that did not hold. While the connector is off the gear gives full light and the
// interface, which sources nothing, reads 0 V all the same; power tells the one from the other. Without power it is how
// long the short lasted before that tells a fault from a loose contact.

const (
	// relapseNats is by how much a relapse is likelier than a second fault of the same kind within a day, once the connector
	// was seen off or a long short had ended. Chosen: shorts are rarer than once in a zone's year, repairs that miss one of
	// two grounds are not.
	relapseNats = 3.0

	// relapseGuess is the same where neither was seen: a loose contact is as likely.
	relapseGuess = 0.0

	// longShort is the time in correlation times (30 min of 30 s) after which a spell at 0 V was no loose contact.
	// Measured: spells of loose contacts last seconds to some minutes (circuits as assumed: log-uniform).
	longShort = 60.0

	// shortShort is the time in correlation times (5 min of 30 s) below which a spell was no fault that anyone repaired.
	shortShort = 10.0
)

// stayed says whether the last spell at 0 V was too long for a loose contact.
func (s *spells) stayed(tau float64) bool { return float64(s.lastLong) > longShort*tau }

// relapse mirrors the evidence of a shorted pair where it is one that was thought repaired.
func (z *zone) relapse() {
	s := &z.memory.spells
	from, to := explanationOf(PairShort), explanationOf(RepairIncomplete)
	if s.now && !s.relapsed && s.samples == 2 {
		s.relapsed = s.zero && float64(s.lastLong) > shortShort*z.memory.tau && s.good < spellMemory
	}
	if s.now && s.unplugs >= 2 && z.memory.watts < 0.6 {
		s.relapsed, s.lastOff = true, true // short, connector off, and short again
		s.began, s.unplugs = z.memory.at, 0
	}
	z.sums.now[to] = z.sums.now[from]
	if !s.relapsed {
		z.sums.total[to] = 0
		return
	}
	bonus := relapseGuess
	if s.lastOff || s.stayed(z.memory.tau) {
		bonus = relapseNats
	}
	if z.sums.total[to] == 0 {
		z.sums.since[to] = s.began
	}
	z.sums.total[to] = z.sums.total[from]
	z.sums.now[to].level += float32(bonus)
}
