package main

import (
	"fmt"
	"io"
	"runtime"

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

// versionText says what was built. Only a release is built with a version.
func versionText() string {
	if version.Version == "" {
		return fmt.Sprintf("dimwatch, version not known: built without release information\n  go version:       %s\n  platform:         %s/%s",
			runtime.Version(), runtime.GOOS, runtime.GOARCH)
	}
	return version.Print("dimwatch")
}
