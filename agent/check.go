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
which findings its points can support and which not, and why. Nothing is dialled.

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
		fmt.Fprintln(out, "  no latitude and longitude: what needs the sun can not be found")
	}
	if live := slices.ContainsFunc(site.Devices, func(d config.Device) bool { return !d.Recorded }); live && site.Agent.State == "" {
		fmt.Fprintln(out, "  no agent.state: what was learned and found is not kept across a restart")
	}
	fmt.Fprintln(out, "\nRequests of one cycle")
	for i := range site.Devices {
		d := &site.Devices[i]
		fmt.Fprintf(out, "  %s (%s, every %s)\n", d.Name, d.Driver, d.Cycle)
		for _, line := range d.Source.Plan() {
			fmt.Fprintf(out, "    %s\n", line)
		}
	}
	fmt.Fprintln(out, "\nWhat can be found")
	for i := range site.Zones {
		checkZone(out, site, &site.Zones[i])
	}
	return done
}

// checkZone prints what a zone's points can support.
func checkZone(out io.Writer, site *config.Site, z *config.Zone) {
	has := judge.Channels(site, z)
	var can, sharper []string
	why := map[string][]string{}
	for id := loops.None + 1; id < loops.IDs; id++ {
		row := &loops.Catalogue[id]
		ok, reason := loops.Support(id, has)
		switch {
		case !ok:
			why[reason] = append(why[reason], row.Name)
			continue
		case row.Sharper != 0 && !has.Has(row.Sharper):
			sharper = append(sharper, row.Name)
		}
		can = append(can, row.Name)
	}
	fmt.Fprintf(out, "  %s\n", z.Name)
	if z.OutOfService {
		fmt.Fprintf(out, "    out of service: not judged\n")
	}
	fmt.Fprintf(out, "    yes: %s\n", strings.Join(can, ", "))
	var reasons []string
	for r := range why {
		reasons = append(reasons, r)
	}
	slices.Sort(reasons)
	for _, r := range reasons {
		fmt.Fprintf(out, "    no, %s: %s\n", r, strings.Join(why[r], ", "))
	}
	if len(sharper) > 0 {
		fmt.Fprintf(out, "    sharper with power: %s\n", strings.Join(sharper, ", "))
	}
	if has&(loops.Order|loops.Contact|loops.Hours) == 0 {
		fmt.Fprintf(out, "    neither lit nor hours: whether light is asked for is only known from power or the pair\n")
	}
}
