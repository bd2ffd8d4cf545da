package trend

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestDecimalExact compares cells with strconv, bit by bit.
func TestDecimalExact(t *testing.T) {
	for _, text := range []string{
		"0", "-0", "+0", "1", "-1", "+1.5", ".5", "5.", "-.5", "00012.50", "19.85", "0.1", "0.3", "123456789.123456",
		"9007199254740991", "9007199254740992", "9007199254740993", "900719925474099.3", "0.000001", "1e3", "1E-3", "-2.5e+2",
		"1.7976931348623157e308", "5e-324", "1e-400", "0.0000000000000000000001", "0.00000000000000000000001", "1" + strings.Repeat("0", 300),
		"0." + strings.Repeat("3", 60), "2.2250738585072011e-308",
	} {
		sameAsStrconv(t, text)
	}
	rapid.Check(t, func(t *rapid.T) {
		switch rapid.IntRange(0, 3).Draw(t, "form") {
		case 0: // as recorders print
			v := rapid.Float64Range(-1e6, 1e6).Draw(t, "v")
			sameAsStrconv(t, strconv.FormatFloat(v, 'f', rapid.IntRange(0, 9).Draw(t, "decimals"), 64))
		case 1: // the shortest that is exact
			sameAsStrconv(t, strconv.FormatFloat(rapid.Float64().Draw(t, "v"), 'g', -1, 64))
		case 2: // any digits
			sameAsStrconv(t, rapid.StringMatching(`[-+]?[0-9]{0,25}(\.[0-9]{0,30})?([eE][-+]?[0-9]{1,3})?`).Draw(t, "text"))
		case 3: // near the limit of the fast path
			sameAsStrconv(t, fmt.Sprintf("%d.%d", rapid.Int64Range(1<<52, 1<<54).Draw(t, "whole"), rapid.IntRange(0, 999).Draw(t, "part")))
		}
	})
}

// sameAsStrconv wants the same as strconv says of a text with a decimal point.
func sameAsStrconv(t rapid.TB, text string) {
	t.Helper()
	want, err := strconv.ParseFloat(text, 64)
	c, seen := decodeCell([]byte(text), '.')
	switch {
	case text == "":
		if c.state != empty {
			t.Errorf("%q is %v", text, c)
		}
	case err == nil:
		if c.state != number || math.Float64bits(c.value) != math.Float64bits(want) {
			t.Errorf("%q is %v, want %v", text, c, want)
		}
		if (seen == '.') != strings.Contains(text, ".") {
			t.Errorf("%q has the decimal mark %q", text, seen)
		}
		comma := strings.Replace(text, ".", ",", 1)
		for _, mark := range []byte{',', 0} {
			if again, _ := decodeCell([]byte(comma), mark); again != c && !math.IsNaN(c.value) {
				t.Errorf("%q is %v, with a comma %v", text, c, again)
			}
		}
	case math.IsInf(want, 0):
		if c.state != huge {
			t.Errorf("%q is %v, want out of range", text, c)
		}
	default:
		if c.state != wrong {
			t.Errorf("%q is %v, want no number", text, c)
		}
	}
}

// TestNoDecimal has texts that are no number here, though strconv takes some of them.
func TestNoDecimal(t *testing.T) {
	for _, text := range []string{"NaN", "nan", "Inf", "-inf", "infinity", "0x10", "0x1p-2", "1_000", "1 000", "--1", "+-1", "1.2.3",
		"1,234.5", "1.234,5", "1e", "e5", "-", "+", ".", ",", "12a", "a12", "true", "on", "12%", "4.2 mA", "\x00", "1\x00", "٣", strings.Repeat("1", maxNumber+1)} {
		for _, mark := range []byte{'.', ',', 0} {
			if c, seen := decodeCell([]byte(text), mark); c.state != wrong || c.value != 0 || seen != 0 {
				t.Errorf("%q with mark %q is %v, mark %q", text, mark, c, seen)
			}
		}
	}
	for _, text := range []string{"1,5", "1.5"} {
		for _, mark := range []byte{'.', ','} {
			c, _ := decodeCell([]byte(text), mark)
			if is := c.state == number; is != (text[1] == mark) {
				t.Errorf("%q with mark %q is %v", text, mark, c)
			}
		}
	}
}

// TestTimeExact compares times with package time.
func TestTimeExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seconds, nanos := rapid.Int64Range(0, endOfTime-1).Draw(t, "seconds"), rapid.Int64Range(0, 999_999_999).Draw(t, "nanos")
		offset := rapid.IntRange(-23*60-59, 23*60+59).Draw(t, "offset minutes")
		at := time.Unix(seconds, nanos).In(time.FixedZone("", offset*60))
		if year := at.Year(); year < 1970 || year > 2261 {
			t.Skip("the offset leads beyond four digits that are taken")
		}
		for _, text := range []string{
			at.Format(time.RFC3339Nano),
			strings.Replace(strings.Replace(at.Format(time.RFC3339Nano), "T", " ", 1), ".", ",", 1),
			strings.ToLower(at.UTC().Format(time.RFC3339Nano)),
			fmt.Sprintf("%d.%09d", seconds, nanos),
			fmt.Sprintf("%d,%09d123", seconds, nanos),
		} {
			if got, why := clockTime([]byte(text)); got != seconds*1e9+nanos || why != "" {
				t.Errorf("%s is %d %s, want %d.%09d", text, got, why, seconds, nanos)
			}
		}
	})
}

// TestNoTime has times that are refused, and why.
func TestNoTime(t *testing.T) {
	// What package time takes for RFC 3339 and what we take is the same, but for what rfc3339 says.
	for _, text := range []string{"2026-02-29T00:00:00Z", "2024-02-29T00:00:00Z", "2100-02-29T00:00:00Z", "2026-04-31T00:00:00Z", "2026-12-31T23:59:59.5Z", "2026-00-10T00:00:00Z",
		"2026-13-10T00:00:00Z", "2026-01-00T00:00:00Z", "2026-01-32T00:00:00Z", "2026-01-01T24:00:00Z", "2026-01-01T00:60:00Z", "2026-01-01T00:00:61Z",
		"2026-01-01T00:00:00.Z", "2026-01-01T00:00:00+0100", "2026-01-01T00:00:00+01",
		"2026-01-01T00:00:00ZZ", "2026-01-01T00:00Z", "2026-01-01", "2026-1-01T00:00:00Z", "2o26-01-01T00:00:00Z", "2026-01-01T00:00:00 +01:00", "2026/01/01 00:00:00Z"} {
		_, why := clockTime([]byte(text))
		_, err := time.Parse(time.RFC3339Nano, text)
		if (why == "") != (err == nil) || why != "" && why != noTime {
			t.Errorf("%s: %q, package time says %v", text, why, err)
		}
	}
	for text, want := range map[string]string{
		"": noTime, " ": noTime, "x": noTime, "-1": noTime, "+1": noTime, "1e9": noTime, "1.": noTime, ".5": noTime, "1.5.5": noTime, "12:00": noTime,
		// RFC 3339 section 5.6: the hours of an offset go to 23, its minutes to 59. Package time is not so strict.
		"2026-01-01T00:00:00+24:00": noTime, "2026-01-01T00:00:00+01:60": noTime,
		"02.03.2026 08:15": noTime, "2026-01-01T00:00:00": noOffset, "2026-01-01 00:00:00.5": noOffset,
		"9214646400": outOfTime, "1771117200000": outOfTime, "99999999999999999999999": outOfTime,
		"1969-12-31T23:59:59Z": outOfTime, "1970-01-01T00:00:00+00:01": outOfTime, "2262-01-01T00:00:00Z": outOfTime,
	} {
		if _, why := clockTime([]byte(text)); why != want {
			t.Errorf("%q: %q, want %q", text, why, want)
		}
	}
	// RFC 3339 section 5.7: seconds go to 60 for a leap second.
	leap, why := clockTime([]byte("2016-12-31T23:59:60Z"))
	next, _ := clockTime([]byte("2017-01-01T00:00:00Z"))
	if leap != next || why != "" {
		t.Errorf("the leap second is %d %s, want %d", leap, why, next)
	}
}

func TestNearest(t *testing.T) {
	names := []string{"z01_setpoint", "z01_command", "z02_setpoint", "L101.SP", "", "tools target"}
	for name, want := range map[string]string{
		"z01_setpont": "z01_setpoint", "Z01_COMMAND": "z01_command", "l101.sp": "L101.SP", "tool_target": "tools target",
		"z03_setpoint": "z01_setpoint", "feedback": "", "x": "",
	} {
		if got := nearest(name, names); got != want {
			t.Errorf("nearest to %q is %q, want %q", name, got, want)
		}
	}
	// Source: the usual examples of the distance.
	for _, x := range []struct {
		a, b string
		want int
	}{{"kitten", "sitting", 3}, {"", "abc", 3}, {"abc", "", 3}, {"flaw", "lawn", 2}, {"é", "e", 1}, {"same", "same", 0}} {
		if got := distance(x.a, x.b); got != x.want {
			t.Errorf("distance of %q and %q is %d, want %d", x.a, x.b, got, x.want)
		}
	}
}

// A column that another point has is not what a missing one was meant to be.
func TestMissingColumn(t *testing.T) {
	r := &Recording{columns: []column{{name: "z01_command"}, {name: "z02_command"}}}
	for header, want := range map[string]string{"z01_command,Z02-command": `did you mean "Z02-command"?`, "z01_command,z01_power": ""} {
		got := r.findColumns(strings.Split("time,"+header, ","))
		if !strings.Contains(got, want) || want == "" && strings.Contains(got, "did you mean") {
			t.Errorf("%s: %s, want %q", header, got, want)
		}
	}
}
