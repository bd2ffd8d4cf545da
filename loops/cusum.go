package loops

// cusum is one cumulative sum of evidence: what samples say for a change, never below zero, and when it last left zero. A
// sum that starts anew at zero forgets all that spoke for "no change", so that a late change is found as fast as an early one.
// Source: E. S. Page, Continuous inspection schemes, Biometrika 41 (1954); optimal for the longest mean delay at a given
// time between false alarms (Moustakides 1986).
type cusum struct {
	total float64 // nats
	since int64   // when total last left zero: the estimate of the onset; nanoseconds since 1970 UTC
}

// add adds the log-likelihood ratio of one sample, which covers the time since from.
func (c *cusum) add(nats float64, from int64) {
	before := c.total
	c.total = max(0, before+nats)
	if before == 0 && c.total > 0 {
		c.since = from
	}
}
