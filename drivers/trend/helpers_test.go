package trend

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
	"github.com/zclconf/go-cty/cty"
)

// put writes a file, compressed where its name ends in .gz.
func put(t testing.TB, path, content string) {
	t.Helper()
	data := []byte(content)
	if strings.HasSuffix(path, ".gz") {
		data = compressed(t, content)
	}
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}

func compressed(t testing.TB, content string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	if _, err := w.Write([]byte(content)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// device is a device block with this body and a point for each column.
func device(t testing.TB, name, dir, body string, columns ...string) drivers.Device {
	t.Helper()
	file, diags := hclsyntax.ParseConfig([]byte(body), "site.hcl", hcl.InitialPos)
	if diags.HasErrors() {
		t.Fatal(diags)
	}
	d := drivers.Device{Name: name, Dir: dir, Body: file.Body}
	for _, c := range columns {
		d.Points = append(d.Points, drivers.Point{
			Name: "point " + c,
			Keys: map[string]drivers.Value{"column": {Value: cty.StringVal(c)}},
		})
	}
	return d
}

// opened opens the sources of devices and closes them at the end.
func opened(t testing.TB, devices ...drivers.Device) []*Source {
	t.Helper()
	made, diags := Kind.Open(devices)
	if diags.HasErrors() {
		t.Fatal(diags)
	}
	var sources []*Source
	for _, s := range made {
		t.Cleanup(func() { s.Close() })
		sources = append(sources, s.(*Source))
	}
	return sources
}

// one is the source of a single device on a file with this content, whose name ends as given.
func one(t testing.TB, ending, content string, columns ...string) *Source {
	t.Helper()
	dir := t.TempDir()
	put(t, filepath.Join(dir, "x"+ending), content)
	return opened(t, device(t, "log", dir, fmt.Sprintf("file = %q", "x"+ending), columns...))[0]
}

// readAll reads to the end and gives a line for each row: its time as seconds since 1970 and its readings, where - is
// "no reading" and any other bad one is in angle brackets. A row without a value ends with "no answer". The error is
// the one that ended it.
func readAll(t testing.TB, s *Source) (lines []string, err error) {
	t.Helper()
	out := make([]drivers.Reading, len(s.places))
	for range 1_000_000 {
		err := s.Read(context.Background(), out)
		if err != nil && !errors.Is(err, drivers.ErrNoAnswer) {
			return lines, err
		}
		line := line(out)
		if err != nil {
			line += " no answer"
		}
		lines = append(lines, line)
	}
	t.Fatal("a million rows and no end")
	return nil, nil
}

// line is one row as readAll shows it.
func line(out []drivers.Reading) string {
	var words []string
	if len(out) > 0 {
		words = append(words, seconds(out[0].At))
	}
	for _, r := range out {
		switch {
		case !r.At.Equal(out[0].At):
			words = append(words, "other time "+seconds(r.At))
		case r.Quality == drivers.Good && r.Reason == "":
			words = append(words, strconv.FormatFloat(r.Value, 'g', -1, 64))
		case r.Quality == drivers.Bad && r.Reason == "no reading":
			words = append(words, "-")
		default:
			words = append(words, fmt.Sprintf("<%v: %s>", r.Quality, r.Reason))
		}
	}
	return strings.Join(words, " ")
}

func seconds(at time.Time) string {
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%d.%09d", at.Unix(), at.Nanosecond()), "0"), ".")
}
