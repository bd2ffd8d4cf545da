package main

import (
	"context"
	"errors"
	"fmt"
	"html"
	"log/slog"
	"net"
	"net/http"
	"time"

	"dimwatch/agent/metrics"

	"github.com/prometheus/exporter-toolkit/web"
	"go.uber.org/zap"
	"go.uber.org/zap/exp/zapslog"
)

// handler serves metrics, health and a page that lists them. about gives the site's name and how many findings stand.
func handler(c *metrics.Collector, ready func() bool, about func() (title string, standing int)) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", metrics.Handler(c))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "ok") })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, _ *http.Request) {
		if !ready() {
			http.Error(w, "not ready: some device was not polled yet, whether it answers or not", http.StatusServiceUnavailable)
			return
		}
		fmt.Fprintln(w, "ok")
	})
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		title, standing := about()
		title = html.EscapeString(title)
		fmt.Fprintf(w, `<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>%[1]s: dimwatch</title>
<meta name="viewport" content="width=device-width"><style>body{font:1.1em/1.5 sans-serif;margin:2em;max-width:40em}</style></head>
<body><h1>%[1]s</h1><p>%[2]s now. dimwatch watches the dimming points of this store; it only reads.</p>
<ul><li><a href="/metrics">/metrics</a>: every figure, for Prometheus; dimming_finding_active are the findings that stand</li>
<li><a href="/healthz">/healthz</a>: the program runs</li>
<li><a href="/readyz">/readyz</a>: every device was polled once, whether it answered or not</li></ul></body></html>
`, title, standingText(standing))
	})
	return mux
}

func standingText(n int) string {
	if n == 1 {
		return "1 finding stands"
	}
	return count(n, "", "findings") + " stand"
}

// server is the web side of the daemon.
type server struct {
	http    *http.Server
	flags   *web.FlagConfig
	log     *slog.Logger
	stopped chan error
}

// serve begins to serve on listeners that are open already, or on those that systemd has opened. It ends with stop.
func serve(listeners []net.Listener, flags *web.FlagConfig, h http.Handler, log *zap.Logger) *server {
	s := &server{
		http:    &http.Server{Handler: h, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute},
		flags:   flags,
		log:     slog.New(zapslog.NewHandler(log.Core(), zapslog.WithName("web"))),
		stopped: make(chan error, 1),
	}
	go func() {
		var err error
		if *flags.WebSystemdSocket {
			err = web.ListenAndServe(s.http, s.flags, s.log)
		} else {
			err = web.ServeMultiple(listeners, s.http, s.flags, s.log)
		}
		if errors.Is(err, http.ErrServerClosed) {
			err = nil
		}
		s.stopped <- err
	}()
	return s
}

// stop ends serving; scrapes that are going on may end.
func (s *server) stop() {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	_ = s.http.Shutdown(ctx)
}
