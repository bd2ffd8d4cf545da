package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"dimwatch/agent/config"
	"dimwatch/agent/judge"
	"dimwatch/loops"

	"github.com/prometheus/exporter-toolkit/web"
)

var checkCommand = command{
	name: "check", does: "everything wrong in a configuration, the read plan, and what can be found",
	usage: `dimwatch check -config FILE

Reports everything that is wrong in a configuration at once. Where nothing is, prints what
is read from outside the file, the requests of one cycle of each device, and zone by zone
how many findings its points can support, and which point each of the others is missing.
Nothing is dialled.

Example:
  dimwatch check -config /etc/dimwatch/site.hcl
`,
	run: check,
}

func check(args []string, out, errs io.Writer) int {
	fs := flags("check", errs)
	path := configFlag(fs)
	if code, ok := parse(fs, args); !ok {
		return code
	}
	site, _, ok := loadConfig(*path, errs)
	if !ok {
		return failed
	}
	defer closeSources(site)
	if err := web.Validate(site.Agent.WebConfig); err != nil {
		fmt.Fprintf(errs, "dimwatch: check: web_config %s: %v\n", site.Agent.WebConfig, err)
		return failed
	}
	fmt.Fprintf(out, "%s is good: site %s, %s, %s\n", *path, site.Name, count(len(site.Zones), "zone", "zones"), count(len(site.Devices), "device", "devices"))
	for _, name := range site.Reads.Env {
		fmt.Fprintf(out, "  reads the environment variable %s\n", name)
	}
	for _, name := range site.Reads.Files {
		fmt.Fprintf(out, "  reads the file %s\n", name)
	}
	if !site.HasPlace {
		fmt.Fprintln(out, "  no latitude and longitude: what needs the sun cannot be found")
	}
	if live := slices.ContainsFunc(site.Devices, func(d config.Device) bool { return !d.Recorded }); live && site.Agent.State == "" {
		fmt.Fprintln(out, "  no agent.state: what was learned and found is not kept across a restart")
	}
	fmt.Fprintln(out, "\nRequests of one cycle")
	for i := range site.Devices {
		d := &site.Devices[i]
		fmt.Fprintf(out, "  %s (%s, every %s)\n", d.Name, d.Driver, d.Cycle)
		for _, line := range d.Source.Plan() {
			hang(out, "    ", "      ", line)
		}
	}
	checkZones(out, site)
	return done
}

// ability is what a zone's points can support.
type ability struct {
	lacks   map[string][]string // what would have to be added: the findings that it would add
	add     []string            // its keys, in the order of the catalogue
	sharper []string            // findings that power would make surer
	notes   []string
}

// checkZones prints what can be found, zones of which the same is to be said together.
func checkZones(out io.Writer, site *config.Site) {
	var all []string
	for id := loops.None + 1; id < loops.IDs; id++ {
		all = append(all, id.String())
	}
	fmt.Fprintln(out, "\nWhat can be found")
	fold(out, "  ", strings.Join(all, ", "))
	var texts []string
	zones := map[string][]string{}
	for i := range site.Zones {
		text := abilityOf(site, &site.Zones[i]).text(len(all))
		if zones[text] == nil {
			texts = append(texts, text)
		}
		zones[text] = append(zones[text], site.Zones[i].Name)
	}
	for _, text := range texts {
		who := strings.Join(zones[text], ", ")
		if len(texts) == 1 && len(site.Zones) > 1 {
			who = "every zone"
		}
		for i, line := range strings.Split(text, "\n") {
			if i == 0 {
				hang(out, "  ", "    ", who+": "+line)
				continue
			}
			hang(out, "    ", "      ", line)
		}
	}
}

// abilityOf works out what a zone's points can support.
func abilityOf(site *config.Site, z *config.Zone) ability {
	has := judge.Channels(site, z)
	a := ability{lacks: map[string][]string{}}
	for id := loops.None + 1; id < loops.IDs; id++ {
		row := &loops.Catalogue[id]
		ok, _ := loops.Support(id, has)
		switch {
		case !ok:
			a.lack(row.Name, missing(row, has))
		case id == loops.ZonesCrossed && len(site.Zones) < 2:
			a.lack(row.Name, "a second zone")
		case row.Sharper != 0 && !has.Has(row.Sharper):
			a.sharper = append(a.sharper, row.Name)
		}
	}
	if z.OutOfService {
		a.notes = append(a.notes, "out of service: not judged")
	}
	if has&(loops.Order|loops.Contact|loops.Hours) == 0 {
		a.notes = append(a.notes, "neither lit nor hours: whether light is asked for is only known from power or the pair")
	}
	return a
}

// lack notes that a finding cannot be made, and what would have to be added.
func (a *ability) lack(finding, add string) {
	if a.lacks[add] == nil {
		a.add = append(a.add, add)
	}
	a.lacks[add] = append(a.lacks[add], finding)
}

// missing says what a zone with such points would need for a finding: all of it, since one point alone may not do.
func missing(row *loops.Row, has loops.Channels) string {
	lacks := row.Needs &^ has
	// That a point comes as a current says that it is there.
	if lacks.Has(loops.DaylightLoop) {
		lacks &^= loops.Daylight
	}
	if lacks.Has(loops.FeedbackLoop) {
		lacks &^= loops.Feedback
	}
	var names []string
	for c := loops.Channels(1); c != 0 && c <= lacks; c <<= 1 {
		if lacks.Has(c) {
			names = append(names, loops.OneOf(c))
		}
	}
	if row.NeedsOne != 0 && has&row.NeedsOne == 0 {
		names = append(names, loops.OneOf(row.NeedsOne))
	}
	return strings.Join(names, " and ")
}

// text says it in lines.
func (a ability) text(all int) string {
	missing := 0
	for _, names := range a.lacks {
		missing += len(names)
	}
	lines := []string{fmt.Sprintf("all %d", all)}
	if missing > 0 {
		lines[0] = fmt.Sprintf("%d of %d", all-missing, all)
	}
	lines = append(lines, a.notes...)
	for _, add := range a.add {
		lines = append(lines, fmt.Sprintf("not without %s: %s", add, strings.Join(a.lacks[add], ", ")))
	}
	if len(a.sharper) > 0 {
		lines = append(lines, "less sure without power: "+strings.Join(a.sharper, ", "))
	}
	return strings.Join(lines, "\n")
}
