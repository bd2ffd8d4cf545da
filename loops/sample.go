package loops

// Channels is a set of values of a sample, or of the points that a zone has.
type Channels uint16

// The channels of a zone. Feedback is there in every zone; FeedbackLoop and DaylightLoop beside it where the value comes
// as a 4..20 mA signal, whose current then is known.
const (
	Setpoint Channels = 1 << iota
	Command
	Feedback
	FeedbackLoop
	Power
	Order   // a lit point of kind order: light is asked for
	Contact // a lit point of kind contact: the gear is fed
	Hours   // the site's hours are known: light is asked for while it is open
	Daylight
	DaylightLoop
	Sun // the site's place is known: latitude and longitude
)

// Has says whether all of the given channels are in the set.
func (c Channels) Has(all Channels) bool { return c&all == all }

// Sample is what is known of one zone at one time.
type Sample struct {
	// At is the time of the readings in nanoseconds since 1970 UTC. Samples of a zone come in the order of time.
	At int64

	// Has is the set of values that can be trusted: read in time and of good quality. The other fields mean nothing
	// where their channel is not in the set.
	Has Channels

	// Setpoint, Command and Feedback are levels in percent: 100 is full light and 10 V on the pair. They are not
	// clipped: a feedback of 12 V is 120, a swapped pair is below 0.
	Setpoint, Command, Feedback float64

	// FeedbackMilliamps and DaylightMilliamps are loop currents.
	FeedbackMilliamps, DaylightMilliamps float64

	// Power is in watts, Daylight in lux.
	Power, Daylight float64

	// Order, Contact and Open are the states of the channels Order, Contact and Hours.
	Order, Contact, Open bool

	// Suspended says that a point is out of service or overridden: the zone is not judged.
	Suspended bool
}

// finite gives the set of the sample's values without those that are not finite numbers.
func (s *Sample) finite() Channels {
	has := s.Has
	for _, v := range [...]struct {
		channels Channels
		value    float64
	}{
		{Setpoint, s.Setpoint}, {Command, s.Command}, {Feedback | FeedbackLoop, s.Feedback},
		{FeedbackLoop, s.FeedbackMilliamps}, {Power, s.Power},
		{Daylight | DaylightLoop, s.Daylight}, {DaylightLoop, s.DaylightMilliamps},
	} {
		if v.value-v.value != 0 {
			has &^= v.channels
		}
	}
	return has
}
