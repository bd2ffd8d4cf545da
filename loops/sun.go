package loops

import "math"

// Where the sun stands, and when it rises and sets: what a daylight sensor can be held against.
//
// Source: J. Meeus, Astronomical Algorithms, 2nd edition, chapter 25 (the sun, low accuracy: 0.01°), 12 (sidereal time), 22
// (obliquity) and 13 (horizontal coordinates); own code. Universal time is used where the book asks for dynamical time: the
// minute between them moves the sun by 0.001°. Valid for some centuries about 2000; nothing is allocated.

const (
	// sunHorizon is the elevation of the sun's centre, in degrees and without the air's refraction, at which its upper edge
	// is seen on a level horizon. Source: almanacs' usage: 34' of refraction and 16' of half a diameter.
	sunHorizon = -50.0 / 60

	// sunStep is how finely a stretch of time is searched for the sun's crossing of the horizon, in seconds.
	// Chosen: 10 min; a crossing and its way back within one step are missed, which happens within a day or two of the limit
	// of polar day or night and stays within 0.005° of the horizon. Half: twice the work; double: 0.02°.
	sunStep = 600.0

	sunNanos = 86400e9 // of a day
)

// sunPlace is where the sun stands as seen from the earth's centre, in degrees; distance in astronomical units.
type sunPlace struct {
	longitude, rightAscension, declination float64 // apparent
	distance                               float64
	sidereal                               float64 // apparent, at Greenwich
}

// sunAt gives the sun's place at a Julian day.
func sunAt(julian float64) sunPlace {
	days := julian - 2451545
	t := days / 36525
	mean := 280.46646 + t*(36000.76983+t*0.0003032)
	anomaly := 357.52911 + t*(35999.05029-t*0.0001537)
	eccentricity := 0.016708634 - t*(0.000042037+t*0.0000001267)
	m := radians(anomaly)
	centre := (1.914602-t*(0.004817+t*0.000014))*math.Sin(m) + (0.019993-t*0.000101)*math.Sin(2*m) + 0.000289*math.Sin(3*m)
	node := radians(125.04 - 1934.136*t)
	var p sunPlace
	p.longitude = turn(mean + centre - 0.00569 - 0.00478*math.Sin(node))
	p.distance = 1.000001018 * (1 - eccentricity*eccentricity) / (1 + eccentricity*math.Cos(radians(anomaly+centre)))
	tilt := radians(23.439291111 - t*(0.013004167+t*(0.000000164-t*0.000000504)) + 0.00256*math.Cos(node))
	sin, cos := math.Sincos(radians(p.longitude))
	p.rightAscension = turn(degrees(math.Atan2(math.Cos(tilt)*sin, cos)))
	p.declination = degrees(math.Asin(math.Sin(tilt) * sin))
	p.sidereal = turn(280.46061837 + 360.98564736629*days + t*t*0.000387933 - 0.00478*math.Sin(node)*math.Cos(tilt))
	return p
}

// SunPosition gives the elevation of the sun's centre above the horizon and its azimuth from north over east, both in
// degrees, at a time in nanoseconds since 1970 UTC and a place in degrees (north and east positive). It is within 0.02° of
// where the sun is; refraction, which lifts the sun by half a degree at the horizon, is not in it.
func SunPosition(at int64, latitude, longitude float64) (elevation, azimuth float64) {
	p := sunAt(julianDay(at))
	sinHour, cosHour := math.Sincos(radians(p.sidereal + longitude - p.rightAscension))
	sinHere, cosHere := math.Sincos(radians(latitude))
	sinSun, cosSun := math.Sincos(radians(p.declination))
	elevation = degrees(math.Asin(max(-1, min(1, sinHere*sinSun+cosHere*cosSun*cosHour))))
	azimuth = turn(180 + degrees(math.Atan2(sinHour*cosSun, cosHour*cosSun*sinHere-sinSun*cosHere)))
	return elevation, azimuth
}

// SunCrossing gives the first time after from, and not after until, at which the sun's upper edge crosses a level horizon,
// and whether it rises or sets. Found is false where it stays above or below all the time, as it does beyond the polar
// circles. Times are in nanoseconds since 1970 UTC, the place in degrees. An almanac's times are met within 10 s, within
// minutes where the sun's path grazes the horizon; real air and real horizons differ by more.
func SunCrossing(from, until int64, latitude, longitude float64) (at int64, rises, found bool) {
	above := func(at int64) bool { e, _ := SunPosition(at, latitude, longitude); return e > sunHorizon }
	was := above(from)
	for low := from; low < until; {
		high := min(until, low+sunStep*1e9)
		if above(high) == was {
			low = high
			continue
		}
		for high-low > 1e8 { // a tenth of a second
			if middle := low + (high-low)/2; above(middle) == was {
				low = middle
			} else {
				high = middle
			}
		}
		return high, !was, true
	}
	return 0, false, false
}

// SunDay is one day of the sun at a place. Times are in nanoseconds since 1970 UTC.
type SunDay struct {
	// Noon is when the sun stood highest.
	Noon int64

	// Up says that the sun is above the horizon at Noon. False: the sun does not come up that day.
	Up bool

	// Rise is the last sunrise in the 12 h before Noon, Set the first sunset in the 12 h after, where Rises and Sets say
	// that there is one. Up without them is the midnight sun, and at its limits there may be only one of them.
	Rise, Set   int64
	Rises, Sets bool
}

// SunDayAt gives the sun's day about the solar noon that is nearest to a time; a local noon names the local date.
func SunDayAt(noon int64, latitude, longitude float64) SunDay {
	for range 2 { // the second round takes up what the sun moved in between
		p := sunAt(julianDay(noon))
		hour := math.Remainder(p.sidereal+longitude-p.rightAscension, 360)
		noon -= int64(hour / 360 * sunNanos)
	}
	d := SunDay{Noon: noon}
	elevation, _ := SunPosition(noon, latitude, longitude)
	d.Up = elevation > sunHorizon
	for from := noon - sunNanos/2; d.Up; {
		at, rises, found := SunCrossing(from, noon, latitude, longitude)
		if !found {
			break
		}
		if rises {
			d.Rise, d.Rises = at, true
		}
		from = at
	}
	if d.Up {
		d.Set, _, d.Sets = SunCrossing(noon, noon+sunNanos/2, latitude, longitude)
	}
	return d
}

func julianDay(at int64) float64      { return 2440587.5 + float64(at)/sunNanos }
func radians(degrees float64) float64 { return degrees * math.Pi / 180 }
func degrees(radians float64) float64 { return radians * 180 / math.Pi }
func turn(degrees float64) float64    { return degrees - 360*math.Floor(degrees/360) }
