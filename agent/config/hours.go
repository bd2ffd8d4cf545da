package config

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/hashicorp/hcl/v2"
	"github.com/zclconf/go-cty/cty"
)

// weekdays in the order of the week as people write it, with the names that hours takes.
var weekdays = []struct {
	short, long string
	day         time.Weekday
}{
	{"mon", "monday", time.Monday}, {"tue", "tuesday", time.Tuesday}, {"wed", "wednesday", time.Wednesday},
	{"thu", "thursday", time.Thursday}, {"fri", "friday", time.Friday}, {"sat", "saturday", time.Saturday}, {"sun", "sunday", time.Sunday},
}

const hoursForm = `Hours are written "06:00-23:00"; several spans are parted by a comma, "00:00-24:00" is the whole day, an end before its begin is on the next day, and "closed" is a day without hours.`

// decodeHours reads `hours` and `closed` of the site. hours is a text for every day, or an object by weekday, whose keys are
// mon to sun or monday to sunday, or a range such as mon-fri. In an object a day that is not named is closed.
func (l *loader) decodeHours(b block) {
	h := &l.site.Hours
	l.hoursFailed = b.has("hours")
	if v, where, ok := b.value("hours"); ok {
		before := len(l.diags)
		switch {
		case v.Type() == cty.String:
			spans := l.decodeSpans(v, where)
			for day := range h.Days {
				h.Days[day] = spans
			}
		case v.Type().IsObjectType(), v.Type().IsMapType():
			l.decodeWeek(h, b.attrs["hours"].Expr, v)
		default:
			l.fail(where, "Not hours", "hours is a text for every day, or an object by weekday such as { mon-fri = \"06:00-22:00\", sat = \"08:00-20:00\" }; this is %s. %s", kindOf(v), hoursForm)
		}
		h.Given = len(l.diags) == before
		l.hoursFailed = !h.Given
	}
	l.decodeClosed(b, h)
	h.cache = new(hoursCache)
}

// decodeWeek reads hours by weekday.
func (l *loader) decodeWeek(h *Hours, expr hcl.Expression, v cty.Value) {
	k := &pointKeys{l: l, rng: expr.Range()}
	k.locate(expr)
	var given [7]string
	var names []string
	values := v.AsValueMap()
	for name := range values {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int {
		if d := k.keyRange(a).Start.Byte - k.keyRange(b).Start.Byte; d != 0 {
			return d
		}
		return strings.Compare(a, b)
	})
	for _, name := range names {
		days := l.daysOf(name, k.keyRange(name))
		if values[name].IsNull() {
			continue
		}
		spans := l.decodeSpans(values[name], k.valueRange(name))
		for _, day := range days {
			if given[day] != "" {
				l.fail(k.keyRange(name), "Day given twice", "%s is part of %q and of %q. Name each day once.", day, given[day], name)
				continue
			}
			given[day] = name
			h.Days[day] = spans
		}
	}
}

// daysOf gives the weekdays that a key of hours names.
func (l *loader) daysOf(name string, where hcl.Range) []time.Weekday {
	from, to, isRange := strings.Cut(name, "-")
	if !isRange {
		to = from
	}
	first, last := -1, -1
	var known []string
	for i, d := range weekdays {
		known = append(known, d.short, d.long)
		if from == d.short || from == d.long {
			first = i
		}
		if to == d.short || to == d.long {
			last = i
		}
	}
	if first < 0 || last < 0 {
		wrong := from
		if first >= 0 {
			wrong = to
		}
		l.fail(where, "Not a weekday", "%q is no weekday. Write mon, tue, wed, thu, fri, sat, sun, or monday to sunday, or a range such as mon-fri.%s", name, didYouMean(wrong, known))
		return nil
	}
	var days []time.Weekday
	for i := first; ; i = (i + 1) % 7 {
		days = append(days, weekdays[i].day)
		if i == last {
			return days
		}
	}
}

// decodeSpans reads the spans of one day.
func (l *loader) decodeSpans(v cty.Value, where hcl.Range) []Span {
	if v.Type() != cty.String || v.IsNull() {
		l.fail(where, "Not hours", "This is %s. %s", kindOf(v), hoursForm)
		return nil
	}
	spans, problem := parseSpans(v.AsString())
	if problem != "" {
		l.fail(where, "Not hours", "%s %s", problem, hoursForm)
	}
	return spans
}

// parseSpans reads "06:00-12:00, 14:00-22:00" or "closed".
func parseSpans(text string) (spans []Span, problem string) {
	if strings.TrimSpace(text) == "closed" {
		return nil, ""
	}
	for _, part := range strings.Split(text, ",") {
		from, to, ok := strings.Cut(part, "-")
		begin, okBegin := parseClock(from)
		end, okEnd := parseClock(to)
		switch {
		case !ok || !okBegin || !okEnd || begin == 24*60:
			return nil, fmt.Sprintf("%q is no span of hours.", strings.TrimSpace(part))
		case begin == end:
			return nil, fmt.Sprintf("%q begins where it ends.", strings.TrimSpace(part))
		case end < begin:
			end += 24 * 60
		}
		for _, s := range spans {
			if begin < s.To && s.From < end {
				return nil, fmt.Sprintf("The spans of %q overlap.", text)
			}
		}
		spans = append(spans, Span{begin, end})
	}
	return spans, ""
}

// parseClock reads a time of day, "06:00" or "6:00", to "24:00", in minutes.
func parseClock(text string) (minutes int, ok bool) {
	hour, minute, ok := strings.Cut(strings.TrimSpace(text), ":")
	if !ok || len(hour) < 1 || len(hour) > 2 || len(minute) != 2 {
		return 0, false
	}
	for _, c := range hour + minute {
		if c < '0' || c > '9' {
			return 0, false
		}
		minutes = minutes*10 + int(c-'0')
	}
	minutes = minutes/100*60 + minutes%100
	return minutes, minute < "60" && minutes <= 24*60
}

// decodeClosed reads the dates on which the site does not open.
func (l *loader) decodeClosed(b block, h *Hours) {
	v, where, ok := b.value("closed")
	if !ok {
		return
	}
	if !v.Type().IsTupleType() && !v.Type().IsListType() && !v.Type().IsSetType() {
		l.fail(where, "Not a list of dates", `closed is a list of dates, such as closed = ["2026-12-25", "2027-01-01"]; this is %s.`, kindOf(v))
		return
	}
	if !b.has("hours") {
		l.warn(where, "Closed without hours", "closed says on which dates the hours do not count, and there are none. Add hours.")
	}
	h.Closed = map[int]bool{}
	for _, e := range v.AsValueSlice() {
		if e.IsNull() || e.Type() != cty.String {
			l.fail(where, "Not a date", `A date is written "2026-12-25"; this is %s.`, kindOf(e))
			continue
		}
		date, err := time.Parse("2006-01-02", strings.TrimSpace(e.AsString()))
		if err != nil {
			l.fail(where, "Not a date", `A date is written as year, month and day, "2026-12-25"; %q is none.`, e.AsString())
			continue
		}
		h.Closed[int(date.Unix()/86400)] = true
	}
}
