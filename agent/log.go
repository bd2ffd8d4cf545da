package main

import (
	"io"
	"os"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"golang.org/x/term"
)

// newLogger writes to errs: readable lines on a terminal, JSON elsewhere. Under journald, which stamps lines itself, the
// time is left out and the level is the journal's prefix.
func newLogger(errs io.Writer) *zap.Logger {
	sink := zapcore.Lock(zapcore.AddSync(errs))
	if onTerminal(errs) {
		cfg := zap.NewDevelopmentEncoderConfig()
		cfg.EncodeTime = zapcore.TimeEncoderOfLayout("15:04:05")
		cfg.EncodeLevel = zapcore.CapitalLevelEncoder
		cfg.CallerKey = ""
		return zap.New(zapcore.NewCore(zapcore.NewConsoleEncoder(cfg), sink, zap.InfoLevel))
	}
	cfg := zap.NewProductionEncoderConfig()
	cfg.TimeKey, cfg.EncodeTime = "time", zapcore.RFC3339NanoTimeEncoder
	if os.Getenv("JOURNAL_STREAM") != "" {
		cfg.TimeKey = ""
		return zap.New(zapcore.NewCore(zapcore.NewJSONEncoder(cfg), journal{errs}, zap.InfoLevel))
	}
	return zap.New(zapcore.NewCore(zapcore.NewJSONEncoder(cfg), sink, zap.InfoLevel))
}

// journal puts the priority that journald reads before each line. Source: sd-daemon(3): <3> error, <4> warning, <6> info.
type journal struct{ w io.Writer }

// Write writes one encoded entry.
func (j journal) Write(line []byte) (int, error) {
	prefix := "<6>"
	switch {
	case hasLevel(line, "error"), hasLevel(line, "fatal"), hasLevel(line, "panic"):
		prefix = "<3>"
	case hasLevel(line, "warn"):
		prefix = "<4>"
	}
	if _, err := j.w.Write(append([]byte(prefix), line...)); err != nil {
		return 0, err
	}
	return len(line), nil
}

// Sync has nothing to do.
func (j journal) Sync() error { return nil }

// hasLevel looks at how an entry begins: the encoder writes the level first.
func hasLevel(line []byte, level string) bool {
	start := `{"level":"` + level + `"`
	return len(line) >= len(start) && string(line[:len(start)]) == start
}

// onTerminal says whether lines are read by somebody as they come.
func onTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
