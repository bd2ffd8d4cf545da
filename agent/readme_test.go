package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"dimwatch/loops"
)

var update = flag.Bool("update", false, "rewrite goldens and the outputs in README.md")

// TestREADME keeps README.md true: what it shows of a command is what the command prints, what it shows of a file is in
// the file, and its table of findings is the catalogue. Times, ports and ages are not compared.
func TestREADME(t *testing.T) {
	t.Chdir("..")
	old, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	text := string(old)
	block := regexp.MustCompile("(?s)<!-- (run|file): ([^\n]*) -->\n```([a-z]*)\n(.*?)```\n")
	text = block.ReplaceAllStringFunc(text, func(b string) string {
		m := block.FindStringSubmatch(b)
		got := ""
		if m[1] == "file" {
			content, err := os.ReadFile(m[2])
			if err != nil {
				t.Error(err)
			}
			got = string(content)
		} else {
			got = "$ dimwatch " + m[2] + "\n" + output(t, strings.Fields(m[2]))
		}
		if strings.HasPrefix(m[2], "demo") && !*update {
			sameLines(t, m[4], got)
			return b
		}
		if !*update && settled(m[4]) != settled(got) {
			t.Errorf("README.md shows of %q:\n%s\nbut it is:\n%s", m[2], m[4], got)
			return b
		}
		return "<!-- " + m[1] + ": " + m[2] + " -->\n```" + m[3] + "\n" + got + "```\n"
	})
	table := regexp.MustCompile(`(?s)(<!-- table: findings -->\n).*?(\n## )`)
	want := table.ReplaceAllString(text, "${1}\n"+strings.ReplaceAll(findingsTable(), "$", "$$")+"${2}")
	if *update {
		if err := os.WriteFile("README.md", []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if want != text {
		t.Error("the table of findings in README.md is not that of the catalogue: run go test ./agent -run README -update")
	}
}

// output runs a command in this process and gives what it prints.
func output(t *testing.T, args []string) string {
	var out bytes.Buffer
	run(args, &out, &out)
	if out.Len() == 0 {
		t.Errorf("%v prints nothing", args)
	}
	return out.String()
}

// settled takes out what differs from run to run.
func settled(s string) string {
	for _, r := range []struct{ from, to string }{
		{`\d{4}-\d\d-\d\d \d\d:\d\d:\d\d [A-Z]{3}\n(ZONE)`, "NOW\n$1"}, {`\d+\.\d days`, "AGE"}, {` +\n`, "\n"},
	} {
		s = regexp.MustCompile(r.from).ReplaceAllString(s, r.to)
	}
	return s
}

// sameLines demands every line that README shows of the demo in what it prints now, whatever the second and the port.
func sameLines(t *testing.T, shown, got string) {
	plain := func(s string) []string {
		s = regexp.MustCompile(`(?m)^ *\d+ s  `).ReplaceAllString(s, "")
		s = regexp.MustCompile(`127\.0\.0\.1:\d+`).ReplaceAllString(s, "ADDRESS")
		return strings.Split(strings.TrimSpace(s), "\n")
	}
	have := strings.Join(plain(got), "\n") + "\n"
	for _, line := range plain(shown) {
		if !strings.Contains(have, line+"\n") {
			t.Errorf("README.md shows of the demo %q, which it did not print:\n%s", line, have)
		}
	}
}

// findingsTable is the catalogue as a table.
func findingsTable() string {
	var b strings.Builder
	b.WriteString("| finding | part | severity | what it says | needs |\n|---|---|---|---|---|\n")
	words := []struct {
		c    loops.Channels
		name string
	}{{loops.Setpoint, "S"}, {loops.Command, "C"}, {loops.Feedback, "F"}, {loops.FeedbackLoop, "F in mA"},
		{loops.Power, "P"}, {loops.Daylight, "D"}, {loops.DaylightLoop, "D in mA"}, {loops.Sun, "site place"}}
	for id := loops.None + 1; id < loops.IDs; id++ {
		row := loops.Catalogue[id]
		var needs []string
		for _, w := range words {
			if row.Needs.Has(w.c) && !(w.c == loops.Feedback && row.Needs.Has(loops.FeedbackLoop)) &&
				!(w.c == loops.Daylight && row.Needs.Has(loops.DaylightLoop)) {
				needs = append(needs, w.name)
			}
		}
		if row.NeedsOne != 0 {
			needs = append(needs, "and "+loops.OneOf(row.NeedsOne))
		}
		if row.Sharper.Has(loops.Power) {
			needs = append(needs, "(power)")
		}
		if len(needs) == 0 {
			needs = []string{"-"}
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s |\n", row.Name, row.Part, row.Severity, row.Title, strings.Join(needs, " "))
	}
	return b.String()
}
