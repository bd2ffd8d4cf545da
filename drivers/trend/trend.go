// Package trend reads recorded points: a driver whose device is a CSV file, plain or compressed with gzip.
//
// One row is one poll of every device that the file holds. Each Read gives the next row, with the row's own time, and
// io.EOF comes after the last one. A file of any size is read in constant memory.
//
// The reading order: trend.go says what the configuration may hold, source.go how several devices share one file, file.go
// how it is opened and what a damaged one says, header.go what its first line must be, recording.go what becomes of a row,
// split.go, decimal.go and clock.go how text becomes fields, numbers and times, order.go how rows get into the order of
// time, problems.go what is reported.
package trend

import (
	"fmt"
	"path/filepath"
	"strings"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
	"github.com/zclconf/go-cty/cty"
)

// Kind is the driver "trend". Its sources are of type *Source. All devices of one Open that name the same file share
// one parse of it, and must be read in turn (see Source.Read).
var Kind = drivers.Kind{
	Name:         "trend",
	PointKeys:    []string{"column"},
	LocationKeys: []string{"column"},
	Recorded:     true,
	Open:         open,
}

func open(devices []drivers.Device) ([]drivers.Source, hcl.Diagnostics) {
	var diags hcl.Diagnostics
	sources := make([]drivers.Source, len(devices))
	recordings := map[string]*Recording{}
	for i, device := range devices {
		path, fileDiags := fileOf(device)
		columns, columnDiags := columnsOf(device)
		diags = append(append(diags, fileDiags...), columnDiags...)
		if fileDiags.HasErrors() || columnDiags.HasErrors() {
			continue
		}
		recording := recordings[path]
		if recording == nil {
			recording = &Recording{file: path}
			recordings[path] = recording
		}
		sources[i] = recording.join(device, columns)
	}
	if diags.HasErrors() {
		return nil, diags
	}
	return sources, diags
}

// fileOf decodes the device block, whose only key is `file`, and gives the path, made relative to the configuration.
func fileOf(device drivers.Device) (string, hcl.Diagnostics) {
	content, diags := device.Body.Content(&hcl.BodySchema{Attributes: []hcl.AttributeSchema{{Name: "file"}}})
	attribute := content.Attributes["file"]
	if attribute == nil {
		where := device.Body.MissingItemRange()
		return "", append(diags, &hcl.Diagnostic{
			Severity: hcl.DiagError,
			Summary:  "No recording named",
			Detail: fmt.Sprintf("Device %q has driver \"trend\" but no `file`. Name the recording, relative to this file: file = \"trend.csv.gz\".",
				device.Name),
			Subject: &where,
		})
	}
	value, valueDiags := attribute.Expr.Value(device.Context)
	diags = append(diags, valueDiags...)
	if valueDiags.HasErrors() {
		return "", diags
	}
	path, ok := text(value)
	if !ok {
		where := attribute.Expr.Range()
		return "", append(diags, &hcl.Diagnostic{
			Severity:    hcl.DiagError,
			Summary:     "File is not a path",
			Detail:      "`file` must be the path of a recording, in quotes, such as file = \"trend.csv.gz\".",
			Subject:     &where,
			Expression:  attribute.Expr,
			EvalContext: device.Context,
		})
	}
	if !filepath.IsAbs(path) {
		path = filepath.Join(device.Dir, path)
	}
	return filepath.Clean(path), diags
}

// columnsOf gives the name of each point's column, in the order of the points.
func columnsOf(device drivers.Device) ([]string, hcl.Diagnostics) {
	var diags hcl.Diagnostics
	columns := make([]string, len(device.Points))
	for i, point := range device.Points {
		where := point.Range
		key, present := point.Keys["column"]
		if present {
			where = key.Range
		}
		name, ok := text(key.Value)
		switch {
		case !ok:
			diags = append(diags, &hcl.Diagnostic{
				Severity: hcl.DiagError,
				Summary:  "Column is not a name",
				Detail: fmt.Sprintf("%s needs the name of a column as it stands in the recording's first line, in quotes, such as column = \"z01_feedback\".",
					point.Name),
				Subject: &where,
			})
		case strings.EqualFold(name, timeColumn):
			diags = append(diags, &hcl.Diagnostic{
				Severity: hcl.DiagError,
				Summary:  "Column is the time",
				Detail: fmt.Sprintf("The column %q says when a row was recorded. Name the column that holds the values of %s.",
					name, point.Name),
				Subject: &where,
			})
		}
		columns[i] = name
	}
	return columns, diags
}

// text gives a configuration value that is text and not blank, without the spaces around it.
func text(value cty.Value) (string, bool) {
	if value == cty.NilVal || value.IsNull() || !value.IsKnown() || value.Type() != cty.String {
		return "", false
	}
	value, _ = value.Unmark()
	trimmed := strings.TrimSpace(value.AsString())
	return trimmed, trimmed != ""
}
