package loops

// Finding is one statement about what is wrong. Times are in nanoseconds since 1970 UTC.
type Finding struct {
	Seq   int // names this statement, from 1
	ID    ID
	Cause string // the incident's stable name; a revision keeps it

	Zones  []int // indices in Settings.Zones, rising; those under a lost device
	Device int   // index in Settings.Devices, -1 where the finding is about a zone

	Onset, Raised, Cleared int64 // Cleared is 0 while it stands
	Revised                bool  // it ended because a better explanation took its place

	// Confidence is that the name is right, or that of an alternative that the points can not tell from it, 0..1.
	Confidence float64
	Also       []Alternative

	// Proof is what was shown after the repair, as far as the finding is about loops; nothing for one that was revised.
	Proof Proof

	Summary          string
	Checks, Cautions []string
	Evidence         []Measure
}

// Alternative is an explanation that the points cannot tell from the one that was named.
type Alternative struct {
	ID         ID
	Confidence float64 // of it alone, 0..1; with that of the finding at most 1 in all
	Fits       float64 // how likely the samples are under it beside the finding's, 0..1: 1 is as good
}

// Measure is one figure that speaks for a finding, such as "feedback_volts".
type Measure struct {
	Name  string
	Value float64
}

// ZoneState is how a zone stands, for metrics and reports.
type ZoneState struct {
	Asked, Lit           bool
	AskedKnown, LitKnown bool
	Judged               bool   // the last sample was judged
	Reason               string // why not; "" where judged
	JudgedSeconds        float64
	CalledSeconds        float64    // seconds asked or lit: what coverage is a share of
	Tested               [IDs]int64 // when each finding could last have been contradicted; 0 never
	Supported            [IDs]bool  // the findings that its points support
}

// Likely says in words how likely an alternative is beside the finding's own name.
func (a Alternative) Likely() string {
	switch {
	case a.Fits >= 0.3:
		return "as likely"
	case a.Fits >= 0.03:
		return "less likely"
	}
	return "hardly"
}
