package config

import (
	"net"
	"strings"
	"time"

	_ "time/tzdata" // a store's gateway often has no time zone database

	"github.com/hashicorp/hcl/v2"
)

// Defaults and limits of the judge block.
const (
	defaultTolerance     = 10.0             // percent of level
	defaultSettle        = 60 * time.Second // gear without a fade has arrived long before
	defaultFalseFindings = 0.001            // per zone and year: one in 1,000 zones a year
	maxTolerance         = 50.0             // beyond it a zone at half its level would be right
	maxSettle            = time.Hour
	maxFalseFindings     = 100.0
	minDuration          = 100 * time.Millisecond
)

// defaultListen is where the metrics page is served: this machine only.
const defaultListen = "127.0.0.1:9847"

var (
	siteSchema  = schemaOf("site")
	agentSchema = schemaOf("agent")
	judgeSchema = schemaOf("judge")
)

// schemaOf makes the schema of a block out of its shape.
func schemaOf(kind string) *hcl.BodySchema {
	s := &hcl.BodySchema{}
	for _, name := range shapes[kind].attrs {
		s.Attributes = append(s.Attributes, hcl.AttributeSchema{Name: name})
	}
	for _, b := range shapes[kind].blocks {
		s.Blocks = append(s.Blocks, hcl.BlockHeaderSchema{Type: b})
	}
	return s
}

// decode gives the arguments of a block and the blocks within it.
func (l *loader) decode(b *hcl.Block, schema *hcl.BodySchema) (block, hcl.Blocks) {
	content, _, diags := b.Body.PartialContent(schema)
	l.add(diags)
	return block{l: l, attrs: content.Attributes, rng: b.DefRange}, content.Blocks
}

// decodeSite reads the one site block.
func (l *loader) decodeSite(blocks hcl.Blocks, start hcl.Range) {
	l.judge = Judge{Tolerance: defaultTolerance, Settle: defaultSettle, FalseFindings: defaultFalseFindings}
	l.site.Location = time.Local
	if len(blocks) == 0 && l.dropped["site"] {
		l.hoursFailed = true
		return
	}
	if len(blocks) == 0 {
		l.fail(start, "No site", `A configuration describes one site: begin with site "harbor-12" { name = "..." }.`)
		return
	}
	for _, more := range blocks[1:] {
		l.fail(more.DefRange, "Two sites", "The site is already described at %s. A configuration has one site; give each its own file.", at(blocks[0].DefRange))
	}
	l.checkLabel(blocks[0])
	s := l.site
	s.Name = blocks[0].Labels[0]
	b, inner := l.decode(blocks[0], siteSchema)
	s.Title, _, _ = b.text("name", `"Harbor Street Market 12"`)
	if s.Title == "" {
		s.Title = s.Name
	}
	l.decodePlace(b)
	if zone, where, ok := b.text("time_zone", `"America/Los_Angeles"`); ok {
		l.decodeTimeZone(zone, where)
	}
	l.decodeHours(b)
	s.Tariff, _, _ = b.number("tariff", 0, 1e6, " (price of a kilowatt-hour)")
	l.judge = l.decodeJudge(inner, l.judge)
}

// decodePlace reads where the site is. One coordinate alone is a mistake, not half a place.
func (l *loader) decodePlace(b block) {
	var gotLatitude, gotLongitude bool
	l.site.Latitude, _, gotLatitude = b.number("latitude", -90, 90, " in degrees, south negative,")
	l.site.Longitude, _, gotLongitude = b.number("longitude", -180, 180, " in degrees, west negative,")
	switch hasLatitude, hasLongitude := b.has("latitude"), b.has("longitude"); {
	case hasLatitude && !hasLongitude:
		l.fail(b.attrs["latitude"].NameRange, "Longitude missing", "A place needs both: add longitude in degrees, west negative, or leave latitude out too.")
	case hasLongitude && !hasLatitude:
		l.fail(b.attrs["longitude"].NameRange, "Latitude missing", "A place needs both: add latitude in degrees, south negative, or leave longitude out too.")
	}
	l.site.HasPlace = gotLatitude && gotLongitude
}

// commonZones are proposed where a time zone does not exist; the database itself cannot be listed.
var commonZones = []string{
	"America/Anchorage", "America/Argentina/Buenos_Aires", "America/Bogota", "America/Boise", "America/Chicago", "America/Denver",
	"America/Detroit", "America/Edmonton", "America/Halifax", "America/Indiana/Indianapolis", "America/Lima", "America/Los_Angeles",
	"America/Mexico_City", "America/Montreal", "America/New_York", "America/Phoenix", "America/Puerto_Rico", "America/Regina",
	"America/Santiago", "America/Sao_Paulo", "America/St_Johns", "America/Toronto", "America/Vancouver", "America/Winnipeg",
	"Asia/Dubai", "Asia/Hong_Kong", "Asia/Jerusalem", "Asia/Kolkata", "Asia/Seoul", "Asia/Shanghai", "Asia/Singapore", "Asia/Tokyo",
	"Australia/Adelaide", "Australia/Brisbane", "Australia/Melbourne", "Australia/Perth", "Australia/Sydney", "Africa/Johannesburg",
	"Atlantic/Reykjavik", "Europe/Amsterdam", "Europe/Athens", "Europe/Berlin", "Europe/Brussels", "Europe/Copenhagen", "Europe/Dublin",
	"Europe/Helsinki", "Europe/Istanbul", "Europe/Kyiv", "Europe/Lisbon", "Europe/London", "Europe/Madrid", "Europe/Oslo", "Europe/Paris",
	"Europe/Prague", "Europe/Rome", "Europe/Stockholm", "Europe/Vienna", "Europe/Warsaw", "Europe/Zurich", "Pacific/Auckland",
	"Pacific/Honolulu", "UTC",
}

func (l *loader) decodeTimeZone(zone string, where hcl.Range) {
	loc, err := time.LoadLocation(zone)
	if err == nil && zone != "" && zone != "Local" {
		l.site.Location = loc
		return
	}
	hint := didYouMean(strings.ReplaceAll(zone, " ", "_"), commonZones)
	if hint == "" {
		for _, c := range commonZones { // the city alone: "Chicago"
			if strings.EqualFold(c[strings.LastIndexByte(c, '/')+1:], strings.ReplaceAll(zone, " ", "_")) {
				hint = ` Did you mean "` + c + `"?`
			}
		}
	}
	l.fail(where, "No such time zone", `The time zone database has no %q. Write the zone as region and city, such as "America/Chicago"; abbreviations such as PST are ambiguous.%s`, zone, hint)
}

// decodeJudge completes the judge block of a zone, or of the site, from what stands above it.
func (l *loader) decodeJudge(blocks hcl.Blocks, above Judge) Judge {
	j := above
	for i, jb := range blocks {
		if i > 0 {
			l.fail(jb.DefRange, "Two judge blocks", "There is one already at %s. Put all into that one.", at(blocks[0].DefRange))
			continue
		}
		b, _ := l.decode(jb, judgeSchema)
		j.Tolerance = b.positive("tolerance", maxTolerance, j.Tolerance,
			"the percent of level by which setpoint and feedback may differ", "They never agree to the last digit; the default is 10.")
		j.Settle = b.duration("settle", minDuration, maxSettle, j.Settle)
		j.FalseFindings = b.positive("false_findings", maxFalseFindings, j.FalseFindings,
			"how many findings without a fault are tolerated per zone and year", "None at all cannot be promised; the default is 0.001.")
	}
	return j
}

// decodeAgent reads the block about the program itself. Paths start at the folder of the configuration.
func (l *loader) decodeAgent(blocks hcl.Blocks) {
	a := &l.site.Agent
	a.Listen = defaultListen
	for i, ab := range blocks {
		if i > 0 {
			l.fail(ab.DefRange, "Two agent blocks", "There is one already at %s. Put all into that one.", at(blocks[0].DefRange))
			continue
		}
		b, _ := l.decode(ab, agentSchema)
		if listen, where, ok := b.text("listen", `"127.0.0.1:9847"`); ok {
			if _, port, err := net.SplitHostPort(listen); err != nil || port == "" {
				l.fail(where, "Not an address", `listen is a host and a port, such as "127.0.0.1:9847", or ":9847" for every network of this machine; this is %q.`, listen)
			} else {
				a.Listen = listen
			}
		}
		if state, _, ok := b.text("state", `"/var/lib/dimwatch"`); ok {
			a.State = l.resolve(state)
		}
		if web, _, ok := b.text("web_config", `"web.yml"`); ok {
			a.WebConfig = l.resolve(web)
		}
	}
}

// checkLabel checks the name of a site, device or zone, and that it is the only one of its type.
// It says whether it is.
func (l *loader) checkLabel(b *hcl.Block) bool {
	name, where := b.Labels[0], b.LabelRanges[0]
	if problem := nameProblem(name); problem != "" {
		l.fail(where, "Not a name", "%q cannot name a %s. %s", name, b.Type, problem)
	}
	key := b.Type + " " + name
	first, twice := l.lines[key]
	if !twice {
		l.lines[key], l.rows[key] = where, l.row
		return true
	}
	from := at(first)
	if r := l.rows[key]; r != "" {
		from += ", from " + r
	}
	l.fail(where, "Name given twice", "There is already a %s %q at %s. Rename one of the two.", b.Type, name, from)
	if first != where {
		l.fail(first, "Name given twice", "There is another %s %q at %s. Rename one of the two.", b.Type, name, at(where))
	}
	return false
}
