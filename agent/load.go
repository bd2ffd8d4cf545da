package main

import (
	"fmt"
	"io"
	"os"

	"dimwatch/agent/config"
	"dimwatch/drivers/all"

	"github.com/hashicorp/hcl/v2"
	"golang.org/x/term"
)

// loadConfig loads a configuration and prints what is wrong with it; not ok where it cannot be used.
func loadConfig(path string, errs io.Writer) (*config.Site, hcl.Diagnostics, bool) {
	site, files, diags := config.Load(path, all.Kinds)
	if len(diags) > 0 {
		width, colour := 100, false
		if f, ok := errs.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
			if w, _, err := term.GetSize(int(f.Fd())); err == nil {
				width = w
			}
			colour = os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
		}
		if err := config.Print(errs, files, diags, width, colour); err != nil {
			fmt.Fprintf(errs, "dimwatch: %s: %v\n", path, err)
		}
	}
	return site, diags, !diags.HasErrors()
}

// closeSources lets go of what the sources hold.
func closeSources(site *config.Site) {
	for i := range site.Devices {
		if s := site.Devices[i].Source; s != nil {
			_ = s.Close()
		}
	}
}
