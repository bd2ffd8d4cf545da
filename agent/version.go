package main

import (
	"fmt"
	"io"

	"github.com/prometheus/common/version"
)

var versionCommand = command{
	name: "version", does: "prints the version",
	usage: "dimwatch version\n\nPrints the version and what the program was built with.\n\nExample:\n  dimwatch version\n",
	run: func(args []string, out, errs io.Writer) int {
		fs := flags("version", errs)
		if code, ok := parse(fs, args); !ok {
			return code
		}
		fmt.Fprintln(out, versionText())
		return done
	},
}

func versionText() string { return version.Print("dimwatch") }
