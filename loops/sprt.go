package loops

import "math"

// sprt decides between two statements about a zone as soon as the samples allow it: "it is still as it was" and "it has
// changed", such as faulty and repaired. Unlike a cusum it can also decide for the first, and so ends.
// Source: A. Wald, Sequential tests of statistical hypotheses, Annals of Mathematical Statistics 16 (1945).
type sprt struct {
	total     float64 // nats for "changed"
	low, high float64 // where it is decided
}

// verdict is what a test has decided.
type verdict uint8

const (
	undecided verdict = iota
	same              // it is still as it was
	changed
)

// newSPRT makes a test that says "changed" of what is the same with a probability of about alpha, and "same" of what has
// changed with about beta; both lie between 0 and 0.5. The sum overshoots its thresholds, so that in truth fewer are wrong:
// no more than alpha/(1-beta) and beta/(1-alpha) in any case.
func newSPRT(alpha, beta float64) sprt {
	return sprt{low: math.Log(beta / (1 - alpha)), high: math.Log((1 - beta) / alpha)}
}

// add adds the log-likelihood ratio of one sample, "changed" over "same", and says what is decided. A decided test says
// so until it is begun anew.
func (s *sprt) add(nats float64) verdict {
	if s.says() == undecided {
		s.total += nats
	}
	return s.says()
}

// says tells what is decided.
func (s *sprt) says() verdict {
	switch {
	case s.total >= s.high:
		return changed
	case s.total <= s.low:
		return same
	}
	return undecided
}

// begin starts the test anew.
func (s *sprt) begin() { s.total = 0 }
