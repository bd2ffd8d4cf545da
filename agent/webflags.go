package main

import (
	"flag"

	"github.com/prometheus/exporter-toolkit/web"
)

// webFlags adds the flags that every exporter of Prometheus has.
func webFlags(fs *flag.FlagSet) *web.FlagConfig {
	addresses := []string{}
	fs.Func("web.listen-address", "address to serve on, may be repeated", func(s string) error {
		addresses = append(addresses, s)
		return nil
	})
	return &web.FlagConfig{
		WebListenAddresses: &addresses,
		WebSystemdSocket:   fs.Bool("web.systemd-socket", false, "serve on sockets that systemd hands over"),
		WebConfigFile:      fs.String("web.config.file", "", "TLS and users of the web side"),
	}
}
