package main

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/history"
	"dimwatch/drivers/all"
	"dimwatch/drivers/trend"
)

// What is in a bundle, as text. Columns and files are those that its own configuration names.

// loadBundle loads the configuration of a bundle, whose recordings may still be missing.
func loadBundle(folder string) (*config.Site, error) {
	site, _, diags := config.Load(filepath.Join(folder, "site.hcl"), all.Kinds)
	if diags.HasErrors() {
		return nil, fmt.Errorf("the configuration that was kept with the clip cannot be read by this program: %w", diags)
	}
	return site, nil
}

// writeTrends writes the samples of the clip, a file a device.
func (b *bundle) writeTrends(folder string) error {
	site, err := loadBundle(folder)
	if err != nil {
		return err
	}
	defer closeSources(site)
	for i := range site.Devices {
		rows, err := b.rows(site, i)
		if err != nil {
			return err
		}
		b.samples += len(rows)
		source, ok := site.Devices[i].Source.(*trend.Source)
		if !ok {
			return fmt.Errorf("device %s of the clip is no recording", site.Devices[i].Name)
		}
		if err := writePacked(source.Recording().File(), trendCSV(site, i, rows)); err != nil {
			return err
		}
	}
	return nil
}

// rows are the samples of the zones of a device by time: a value a point, NaN where there is none.
func (b *bundle) rows(site *config.Site, device int) (map[int64][]float32, error) {
	rows := map[int64][]float32{}
	for i := range site.Zones {
		z := &site.Zones[i]
		if z.Device != device {
			continue
		}
		for _, p := range b.pieces {
			if p.Zone != z.Name {
				continue
			}
			samples, err := history.DecodeSamples(p.Value)
			if err != nil {
				return nil, fmt.Errorf("clip of %s: %w", b.cause, err)
			}
			for _, s := range samples {
				addSample(rows, z, &s, len(site.Devices[device].Points))
			}
		}
	}
	return rows, nil
}

func addSample(rows map[int64][]float32, z *config.Zone, s *history.Sample, points int) {
	row := rows[s.At]
	if row == nil {
		row = make([]float32, points)
		for i := range row {
			row[i] = float32(math.NaN())
		}
		rows[s.At] = row
	}
	for role, p := range z.Points {
		if p != nil && !math.IsNaN(float64(s.Raw[role])) {
			row[p.Index] = s.Raw[role]
		}
	}
}

func trendCSV(site *config.Site, device int, rows map[int64][]float32) []byte {
	var b bytes.Buffer
	b.WriteString("time")
	for _, p := range site.Devices[device].Points {
		b.WriteString("," + strings.TrimPrefix(p.Where, "column "))
	}
	b.WriteByte('\n')
	var times []int64
	for at := range rows {
		times = append(times, at)
	}
	slices.Sort(times)
	for _, at := range times {
		b.WriteString(time.Unix(0, at).In(site.Location).Format(time.RFC3339Nano))
		for _, x := range rows[at] {
			b.WriteByte(',')
			if !math.IsNaN(float64(x)) {
				b.WriteString(strconv.FormatFloat(float64(x), 'f', -1, 32))
			}
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

// historyText are the minutes of the zones: levels in percent, power in watts, daylight in lux; empty where not known.
func (b *bundle) historyText() ([]byte, error) {
	var out bytes.Buffer
	out.WriteString("time,zone,samples")
	for _, c := range [history.Channels]string{"setpoint_percent", "command_percent", "feedback_percent", "power_watts", "daylight_lux"} {
		fmt.Fprintf(&out, ",%s_least,%s_mean,%s_most", c, c, c)
	}
	out.WriteByte('\n')
	for _, x := range b.minutes {
		m, err := history.DecodeMinute(x.at, x.value)
		if err != nil {
			return nil, fmt.Errorf("history of zone %s: %w", x.zone, err)
		}
		fmt.Fprintf(&out, "%s,%s,%d", time.Unix(60*m.At, 0).UTC().Format(time.RFC3339), x.zone, m.Samples)
		for c, s := range m.Stats {
			for _, v := range [...]float32{s.Least, s.Mean, s.Most} {
				out.WriteByte(',')
				if m.Has&(1<<c) != 0 {
					out.WriteString(strconv.FormatFloat(float64(v), 'f', -1, 32))
				}
			}
		}
		out.WriteByte('\n')
	}
	return out.Bytes(), nil
}

// writePacked writes a file compressed with gzip.
func writePacked(path string, text []byte) error {
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	_, err := io.Copy(z, bytes.NewReader(text))
	if err = errors.Join(err, z.Close()); err != nil {
		return err
	}
	return os.WriteFile(path, packed.Bytes(), 0o640)
}
