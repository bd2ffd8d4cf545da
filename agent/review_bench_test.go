package main

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dimwatch/agent/config"
	"dimwatch/agent/judge"
	"dimwatch/drivers/all"
)

// BenchmarkReview prints how many rows of three zones `review` judges a second, from the file to the findings, with the
// figure that is aimed at beside it.
func BenchmarkReview(b *testing.B) {
	const rows = 50000
	dir := b.TempDir()
	f, err := os.Create(filepath.Join(dir, "trend.csv"))
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriter(f)
	fmt.Fprintln(w, "time,s1,c1,f1,l1,p1,s2,c2,f2,l2,s3,c3,f3")
	r := rand.New(rand.NewPCG(1, 2))
	level := 60.0
	for i := range rows {
		if i%40 == 0 {
			level = 20 + 75*r.Float64()
		}
		fmt.Fprintf(w, "%d", 1772400000+15*i)
		for z := range 3 {
			fmt.Fprintf(w, ",%.0f,%.1f,%.2f", level, level+r.NormFloat64()/5, 4+0.16*level+r.NormFloat64()/30)
			if z < 2 {
				fmt.Fprint(w, ",1")
			}
			if z == 0 {
				fmt.Fprintf(w, ",%.0f", 14*level)
			}
		}
		fmt.Fprintln(w)
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	f.Close()
	var text strings.Builder
	fmt.Fprint(&text, "site \"x\" {\n}\ndevice \"log\" {\n driver = \"trend\"\n file = \"trend.csv\"\n cycle = \"15s\"\n}\n")
	for z := 1; z <= 3; z++ {
		fmt.Fprintf(&text, "zone \"z%d\" {\n setpoint = { column = \"s%d\", level = true }\n command = { column = \"c%d\", level = true }\n feedback = { column = \"f%d\", raw = [4, 20], milliamps = [4, 20], level = [0, 100] }\n", z, z, z, z)
		if z < 3 {
			fmt.Fprintf(&text, " lit = { column = \"l%d\" }\n", z)
		}
		if z == 1 {
			fmt.Fprint(&text, " power = { column = \"p1\", watts = true }\n rated_power = 1400\n")
		}
		fmt.Fprint(&text, "}\n")
	}
	for b.Loop() {
		site, _, diags := config.LoadBytes([]byte(text.String()), filepath.Join(dir, "site.hcl"), all.Kinds)
		if diags.HasErrors() {
			b.Fatal(diags)
		}
		rec := &recording{site: site, judge: judge.New(site)}
		if err := rec.run(context.Background()); err != nil {
			b.Fatal(err)
		}
		if st := rec.judge.Snapshot().Zones[0].State; st.JudgedSeconds < 15*rows/2 {
			b.Fatalf("judged only %g s", st.JudgedSeconds)
		}
		closeSources(site)
	}
	b.ReportMetric(float64(rows*b.N)/b.Elapsed().Seconds()/1e6, "Mrows/s")
	b.ReportMetric(0.2, "limit-Mrows/s")
}
