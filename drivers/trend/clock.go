package trend

import "time"

// Why a time cannot be read, for people.
const (
	noTime    = "neither RFC 3339 (2026-03-02T08:15:00-08:00) nor seconds since 1970"
	noOffset  = "without an offset from UTC: add Z or an offset such as +01:00"
	outOfTime = "outside the years 1970 to 2261 (whole seconds are wanted, not milliseconds)"
)

// endOfTime is the first second that is refused, 2262-01-01: int64 nanoseconds end in April of that year.
const endOfTime = 9214646400

// clockTime reads the time of a row as nanoseconds since 1970-01-01 UTC. Where it cannot, why is one of the texts above.
// Digits beyond the nanosecond are cut off.
func clockTime(b []byte) (at int64, why string) {
	b = trimSpace(b)
	if len(b) > 4 && b[4] == '-' {
		return rfc3339(b)
	}
	return sinceEpoch(b)
}

// sinceEpoch reads seconds since 1970 with or without a fraction, without going through a float64, which has not the
// digits for nanoseconds.
func sinceEpoch(b []byte) (at int64, why string) {
	seconds, n := int64(0), 0
	for ; n < len(b) && b[n]-'0' <= 9; n++ {
		if seconds < endOfTime {
			seconds = seconds*10 + int64(b[n]-'0')
		}
	}
	if n == 0 {
		return 0, noTime
	}
	nanos, b, ok := fraction(b[n:])
	if !ok || len(b) > 0 {
		return 0, noTime
	}
	if seconds >= endOfTime {
		return 0, outOfTime
	}
	return seconds*1e9 + nanos, ""
}

// rfc3339 reads a date-time of RFC 3339 section 5.6. A space may stand for the T, a comma for the point, and a leap
// second (:60) is the first second of the next minute.
func rfc3339(b []byte) (at int64, why string) {
	const dateTime = len("2026-03-02T08:15:00")
	if len(b) < dateTime || b[7] != '-' || b[10] != 'T' && b[10] != 't' && b[10] != ' ' || b[13] != ':' || b[16] != ':' {
		return 0, noTime
	}
	century, year := twoDigits(b[0:]), twoDigits(b[2:])
	month, day := twoDigits(b[5:]), twoDigits(b[8:])
	hour, minute, second := twoDigits(b[11:]), twoDigits(b[14:]), twoDigits(b[17:])
	if century < 0 || year < 0 || month < 1 || month > 12 || day < 1 || day > 31 ||
		hour < 0 || hour > 23 || minute < 0 || minute > 59 || second < 0 || second > 60 {
		return 0, noTime
	}
	year += century * 100
	date := time.Date(year, time.Month(month), day, hour, minute, second, 0, time.UTC)
	if day > 28 && time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC).Day() != day {
		return 0, noTime // 31 April
	}
	nanos, b, ok := fraction(b[dateTime:])
	if !ok {
		return 0, noTime
	}
	offset, why := utcOffset(b)
	if why != "" {
		return 0, why
	}
	seconds := date.Unix() - offset
	if seconds < 0 || seconds >= endOfTime {
		return 0, outOfTime
	}
	return seconds*1e9 + nanos, ""
}

// utcOffset reads what ends a date-time: Z, or hours and minutes from UTC.
func utcOffset(b []byte) (seconds int64, why string) {
	switch {
	case len(b) == 0:
		return 0, noOffset
	case len(b) == 1 && (b[0] == 'Z' || b[0] == 'z'):
		return 0, ""
	case len(b) != len("+01:00") || b[0] != '+' && b[0] != '-' || b[3] != ':':
		return 0, noTime
	}
	hours, minutes := twoDigits(b[1:]), twoDigits(b[4:])
	if hours < 0 || hours > 23 || minutes < 0 || minutes > 59 {
		return 0, noTime
	}
	seconds = int64(hours)*3600 + int64(minutes)*60
	if b[0] == '-' {
		seconds = -seconds
	}
	return seconds, ""
}

// fraction reads a fraction of a second where one follows and gives the rest.
func fraction(b []byte) (nanos int64, rest []byte, ok bool) {
	if len(b) == 0 || b[0] != '.' && b[0] != ',' {
		return 0, b, true
	}
	n := 1
	for unit := int64(1e8); n < len(b) && b[n]-'0' <= 9; n++ {
		nanos += int64(b[n]-'0') * unit
		unit /= 10
	}
	return nanos, b[n:], n > 1
}

// twoDigits reads a number of two digits, or gives -1.
func twoDigits(b []byte) int {
	tens, ones := b[0]-'0', b[1]-'0'
	if tens > 9 || ones > 9 {
		return -1
	}
	return int(tens)*10 + int(ones)
}
