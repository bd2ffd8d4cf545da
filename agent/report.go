package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"dimwatch/agent/judge"
	"dimwatch/loops"
)

// report prints the review for people.
func (r *recording) report(w io.Writer) {
	snap := r.judge.Snapshot()
	fmt.Fprintf(w, "%s, %s to %s\n", r.title(), r.when(snap.From.UnixNano()), r.when(snap.To.UnixNano()))
	list := r.ordered()
	fmt.Fprintf(w, "\n%s\n", count(len(list), "finding", "findings"))
	reportCautions(w, list)
	for _, f := range list {
		r.reportFinding(w, f, snap.To)
	}
	r.reportZones(w, snap.Zones)
	r.reportEnergy(w, snap.Zones)
	for _, rec := range r.recordings() {
		problems := rec.Problems()
		for _, line := range problems.Summary() {
			fmt.Fprintf(w, "%s: %s\n", rec.File(), line)
		}
	}
}

func (r *recording) title() string {
	if r.site.Title != r.site.Name {
		return r.site.Title + " (" + r.site.Name + ")"
	}
	return r.site.Name
}

func (r *recording) when(nanos int64) string {
	return time.Unix(0, nanos).In(r.site.Location).Format("Mon 2006-01-02 15:04:05 MST")
}

func (r *recording) reportFinding(w io.Writer, f loops.Finding, to time.Time) {
	row := &loops.Catalogue[f.ID]
	where := strings.Join(r.names(f), ", ")
	if f.Device >= 0 {
		where = "device " + r.site.Devices[f.Device].Name
	}
	fmt.Fprintf(w, "\n%s: %s (%s, part: %s, %s, confidence %.0f %%)\n", where, row.Title, row.Name, row.Part, row.Severity, 100*f.Confidence)
	end, last := "still there at the end", to.UnixNano()
	if f.Cleared != 0 {
		last = f.Cleared
		end = "ended " + r.when(f.Cleared)
		if f.Revised {
			end = "renamed " + r.when(f.Cleared)
		}
	}
	fmt.Fprintf(w, "  since %s, certain %s, %s (%s)\n", r.when(f.Onset), r.when(f.Raised), end, span(last-f.Onset))
	fmt.Fprintf(w, "  %s\n", f.Summary)
	r.reportCost(w, f)
	for _, a := range f.Also {
		also := &loops.Catalogue[a.ID]
		fmt.Fprintf(w, "  It could also be: %s (%s, %.0f %%)\n", also.Title, also.Name, 100*a.Confidence)
	}
	for i, c := range f.Checks {
		fmt.Fprintf(w, "  %d. %s\n", i+1, c)
	}
}

// reportCautions prints what to beware of in all the checks that follow, each once and before any of them.
func reportCautions(w io.Writer, list []loops.Finding) {
	said := map[string]bool{}
	for _, f := range list {
		for _, c := range f.Cautions {
			if len(said) == 0 {
				fmt.Fprintln(w, "\nBefore anything is touched")
			}
			if !said[c] {
				said[c] = true
				fmt.Fprintf(w, "  ! %s\n", c)
			}
		}
	}
}

// reportZones prints which zones are sound, which were put to no test, and which could not be judged.
func (r *recording) reportZones(w io.Writer, zones []judge.Zone) {
	found := map[int]bool{}
	for _, f := range r.findings {
		for _, z := range f.Zones {
			found[z] = true
		}
	}
	fmt.Fprintf(w, "\nZones\n")
	for i, z := range zones {
		st := z.State
		switch tested, supported := testedShare(st); {
		case st.JudgedSeconds == 0:
			fmt.Fprintf(w, "  %-20s not judged: %s\n", z.Config.Name, st.Reason)
		case found[i]:
			fmt.Fprintf(w, "  %-20s has findings; judged %s, %.0f %% of the time with light asked or on\n", z.Config.Name, hours(st), 100*coverage(st))
		case tested == 0:
			fmt.Fprintf(w, "  %-20s not put to the test: nothing moved that could have shown a fault; judged %s\n", z.Config.Name, hours(st))
		default:
			fmt.Fprintf(w, "  %-20s nothing found; judged %s, %.0f %% of the time with light asked or on; %d of %d findings were put to the test\n",
				z.Config.Name, hours(st), 100*coverage(st), tested, supported)
		}
	}
}

// testedShare counts the findings that a zone's points support, and those of them that were put to the test.
func testedShare(st loops.ZoneState) (tested, supported int) {
	for id := loops.None + 1; id < loops.IDs; id++ {
		if !st.Supported[id] || id == loops.DeviceLost || id == loops.PointsStale {
			continue
		}
		supported++
		if st.Tested[id] > 0 {
			tested++
		}
	}
	return tested, supported
}

func hours(st loops.ZoneState) string { return span(int64(st.JudgedSeconds * 1e9)) }

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
