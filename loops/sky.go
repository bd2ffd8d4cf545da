package loops

import "math"

// The sky over a site: where the sun stands, and how much of it the site's sensors and setpoints show. Each sensor and each
// setpoint is held against it, so that weather, winter and snow on all rooflights, which all of a site see alike, are no
// fault of one.

// sky is what is known of the sky over the site. Its size is fixed.
type sky struct {
	placed              bool    `state:"-"` // latitude and longitude are known
	latitude, longitude float64 `state:"-"`
	offset              float64 `state:"-"` // seconds of local time ahead of UTC, where the place is not known

	at        int64 // when the sun was last looked for
	seen      bool
	elevation float64 // of the sun, degrees
	afternoon bool    // the sun is in the west
	day       int64   // the solar day, from midnight to midnight

	mixedAt int64

	// use sums up how far daylight has brought the setpoints down, each 0 to 1, and uses counts them. light sums up how bright the sensors are beside what they usually see at this sun, in nats, and lights counts them.
	use, uses, light, lights float64
}

const (
	// nightElevation is the sun's elevation, degrees, below which no daylight is left in a store.
	// Source: civil twilight ends at 6 degrees (definition); 2 more for what a sensor under a rooflight still sees.
	nightElevation = -8.0

	// dayElevation is the elevation above which a sensor that sees the day has to show it. Chosen: at half, hills and
	// neighbours hide the sun; at double, high latitudes have no day in winter.
	dayElevation = 5.0

	// skySeconds is how often the sun is looked for: it moves a quarter of a degree in that time at most.
	skySeconds = 60.0
)

// turn looks for the sun, where that is due.
func (k *sky) turn(at int64) {
	if k.seen && math.Abs(float64(at-k.at)) < skySeconds*1e9 {
		return
	}
	k.seen, k.at = true, at
	local := k.offset
	if k.placed {
		elevation, azimuth := SunPosition(at, k.latitude, k.longitude)
		k.elevation, k.afternoon = elevation, azimuth > 180
		local = k.longitude * 240 // seconds a degree: the sun's own time, which knows no summer time
	}
	k.day = int64(math.Floor((float64(at)/1e9 + local) / 86400))
}

// night and up say that the sun is certainly down, or up; both are false in twilight and where the place is not known.
func (k *sky) night() bool { return k.placed && k.elevation < nightElevation }
func (k *sky) up() bool    { return k.placed && k.elevation > dayElevation }

// sunBins is how many stretches of the sun's way are told apart: five heights, morning and afternoon.
const sunBins = 10

// bin gives the stretch of the sun's way, for a sun that is up.
func (k *sky) bin() int {
	b := 0
	for _, limit := range [...]float64{10, 18, 28, 42} {
		if k.elevation > limit {
			b++
		}
	}
	if k.afternoon {
		b += sunBins / 2
	}
	return b
}

// mix gathers what setpoints and sensors show of the sky, once a minute.
func (j *Judge) mix(at int64) {
	k := &j.sky
	if k.mixedAt != 0 && at >= k.mixedAt && float64(at-k.mixedAt) < skySeconds*1e9 {
		return
	}
	k.mixedAt = at
	k.use, k.uses, k.light, k.lights = 0, 0, 0, 0
	for i := range j.zones {
		d := &j.zones[i].days
		if d.mixed = d.shown && current(at, d.at); d.mixed {
			d.mixedShare = d.share
			k.use += d.share
			k.uses++
		}
	}
	for i := range j.sensors {
		s := &j.sensors[i]
		s.mixed = false
		if !current(at, s.daysAt) || s.suspect() {
			continue
		}
		if s.compared {
			s.mixed, s.mixedLight = true, s.light
			k.light += s.light
			k.lights++
		}
	}
}

// current says whether something known at one time still holds at another.
func current(now, at int64) bool { return now >= at && float64(now-at) < 900e9 }
