package main

import (
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"
)

// How reports write lines and times.

// width is how many columns a line of a report takes at most, where its words allow it. Chosen: what fits a page of paper in
// landscape and half of a wide screen.
const width = 110

// fold writes text in lines of at most width columns, with a lead before the first and as much room before the others.
func fold(w io.Writer, lead, text string) {
	hang(w, lead, strings.Repeat(" ", utf8.RuneCountInString(lead)), text)
}

// hang does so with what comes before the other lines given as well. A percent sign stays with its figure.
func hang(w io.Writer, lead, next, text string) {
	const joint = "\x00"
	line, at := lead, utf8.RuneCountInString(lead)
	for i, word := range strings.Fields(strings.ReplaceAll(text, " %", joint+"%")) {
		word = strings.ReplaceAll(word, joint, " ")
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case at+1+n > width:
			fmt.Fprintln(w, line)
			line, at = next, utf8.RuneCountInString(next)
		default:
			line, at = line+" ", at+1
		}
		line, at = line+word, at+n
	}
	fmt.Fprintln(w, line)
}

// listed writes names, at most so many of them and how many more there are.
func listed(names []string, most int) string {
	if len(names) <= most+1 {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}

// clock writes times of a report in the site's zone: with the zone's name where it changes on the way, with seconds where all
// of it lies within an hour.
type clock struct {
	place  *time.Location
	layout string
	named  string // the layout of the zone's name, where times have it
}

func newClock(place *time.Location, from, to time.Time) clock {
	c := clock{place: place, layout: "15:04"}
	if to.Sub(from) < time.Hour {
		c.layout = "15:04:05"
	}
	if from.In(place).Format("MST") != to.In(place).Format("MST") {
		c.named = " MST"
	}
	return c
}

func (c clock) day(nanos int64) string {
	return time.Unix(0, nanos).In(c.place).Format("Mon 2006-01-02")
}

// at writes a day and a time.
func (c clock) at(nanos int64) string {
	return time.Unix(0, nanos).In(c.place).Format("Mon 2006-01-02 " + c.layout + c.named)
}

// after writes a time that follows one that has just been written: without the day where it is the same.
func (c clock) after(nanos, before int64) string {
	if c.day(nanos) == c.day(before) {
		return time.Unix(0, nanos).In(c.place).Format(c.layout + c.named)
	}
	return c.at(nanos)
}

// span writes a duration as people do.
func span(nanos int64) string {
	d := time.Duration(nanos).Round(time.Second)
	switch {
	case d >= 48*time.Hour:
		return fmt.Sprintf("%.1f days", d.Hours()/24)
	case d >= time.Hour:
		return fmt.Sprintf("%d h %02d min", int(d.Hours()), int(d.Minutes())%60)
	case d >= time.Minute:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	}
	return fmt.Sprintf("%d s", int(d.Seconds()))
}

func count(n int, one, many string) string {
	switch n {
	case 0:
		return "No " + many
	case 1:
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
