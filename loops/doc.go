// Package loops judges the dimming loops of a site from samples of their points, and names the part that has failed.
//
// It is pure: samples and times go in, findings come out. It reads no clock, no file and no wire, so a recording is judged
// as live data is. It imports the standard library only.
//
// # Words and units
//
// A zone has a setpoint (the level asked for), a command (what the controller gives to the interface) and a feedback (the
// voltage that the interface sees on the pair). All three are levels in percent: 100 is full light and 10 V on the pair. Gear
// sources a small current into the pair, the interface sinks it; a pair that nothing sinks stands at its open-circuit
// voltage of 10..15 V, one whose conductors touch at 0 V. Currents are in mA, power in W, times in nanoseconds since 1970
// UTC, durations in seconds, evidence in nats.
//
// Asked means that somebody wants light, lit that the gear is fed (calling.go). A dark zone that nobody asked for says nothing.
//
// # How a sample is judged
//
// Explanations compete: healthy, and one for each finding (one file each, named after it). Each says how well the newest
// sample fits it, given what the zone remembers (memory.go): a weight in nats, 0 for a perfect fit (explain.go, density.go).
// Tails are heavy, so no single reading convinces. The difference to healthy, bounded per correlation time, is added up, one
// sum an explanation, never below zero (weigh.go). When all samples of a round are in, EndRound decides: a finding is raised
// when the best sum passes the threshold that the stated rate of false findings asks for; it is named for the explanation
// that stands highest, and those within reach are mentioned with their shares, or because the points can not tell them from
// it (judge.go, look_alikes.go). Its onset is when that sum last left zero.
//
// A finding ends on proof and not on silence: the loop has worked, where its fault would have shown, for as long as its row in
// the catalogue asks, and by then the sum is back at zero (proof.go). Where another explanation overtakes the one that was
// named, the finding ends as revised and the better one is raised under the same cause; a name that was dropped does not
// come back within the incident.
//
// A confidence is the share of findings of that name that turn out right, or to be one that the points can not tell from it
// (explanation.sure); what else it could be says how well it fits beside the name, not how probable it is.
//
// Motion and level are kept apart. Motion (does the pair answer to the command? does the command wind up? does the reading
// repeat itself?) is summed up. A level (at 0.4 V, is it a short or an interface at its floor?) is off by the same amount
// all day, so it is counted once, as it stands.
//
// Some faults show in no single sample: a loose contact in its spells (pair_intermittent.go), hunting in its swings
// (oscillation.go), a noisy reading in its scatter, crossed zones in each other (zones_crossed.go), and gear in hours of
// power over light (gear.go).
//
// What a zone is like (feedback over command, noise, power over level, how often its feedback repeats itself) is learned
// while nothing speaks against it; until then it is judged with the bounds of the trade.
//
// Before anything of that, a sample is brought to one time: points of one zone may reach the judge some samples apart, which is
// learned from how they move (skew.go); until it is, a command that comes after the feedback is not held against the pair
// (late.go).
//
// # What takes days
//
// Explanations compete within their track: what speaks of a loop from sample to sample says nothing of a sensor. Daylight
// sensors (sensor.go, sensors.go) and setpoints (days.go) are held against the sun and against what the others of the site
// show (sky.go). A day says so much and no more, so that they are named after days: no single odd day is enough. What a zone
// does with daylight is learned first; one that never followed it is not judged by it.
//
// # Adding a finding
//
// See DEVELOPERS.md: an ID and a row (catalogue.go, rows.go), a file with the explanation, a line in explanations, and a
// fault in the tests.
package loops
