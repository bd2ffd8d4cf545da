package main

import (
	"archive/tar"
	"bytes"
	"cmp"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/judge"
	"dimwatch/agent/store"
)

var exportCommand = command{
	name: "export", does: "writes what was read around a finding as a bundle",
	usage: `dimwatch export -config FILE [--state DIR] [--out PATH] [CAUSE]

Writes what a daemon has kept of a finding as a folder that review judges by itself:
site.hcl, trend.csv.gz (what was read, from half an hour before the onset), finding.json
(the finding as in review --json), history.csv.gz (the zones' last 26 hours by the minute)
and versions.txt. Without a cause it lists those of which there is a clip, with what was
found, where, since when and whether it still stands. The daemon may be running:
its state is then read as of its last commit.

  -config FILE   the daemon's configuration
  --state DIR    where the daemon keeps its state; wins over agent.state
  --out PATH     the folder to make, or where it ends in .tar.gz an archive of it;
                 the cause with dashes where not given

Example:
  dimwatch export -config /etc/dimwatch/site.hcl --out short.tar.gz zone/aisles-1-4/1
  tar -xzf short.tar.gz && dimwatch review -config short/site.hcl
`,
	run: export,
}

func export(args []string, out, errs io.Writer) int {
	fs := flags("export", errs)
	path := configFlag(fs)
	state := fs.String("state", "", "the folder of the daemon's state")
	to := fs.String("out", "", "the folder or archive to make")
	if !parseFlags(fs, args) {
		return misuse
	}
	cause, rest := fs.Arg(0), fs.NArg()
	if code, ok := parse(fs, flagsOnly(args, rest)); !ok {
		return code
	}
	if otherArchive(*to) {
		fmt.Fprintf(errs, "dimwatch: export: --out %s: a bundle is a folder, or an archive whose name ends in .tar.gz\n", *to)
		return misuse
	}
	site, _, ok := loadConfig(*path, errs)
	if !ok {
		return failed
	}
	defer closeSources(site)
	dir := cmp.Or(*state, site.Agent.State)
	if dir == "" {
		fmt.Fprintf(errs, "dimwatch: export: nothing is kept: name the folder of the daemon's state with --state, or agent.state in %s\n", *path)
		return failed
	}
	if cause == "" {
		return listClips(dir, site, out, errs)
	}
	b, err := readBundle(dir, site.Name, cause)
	if err == nil {
		b.out = cmp.Or(*to, strings.ReplaceAll(cause, "/", "-"))
		err = b.write()
	}
	if err != nil {
		fmt.Fprintf(errs, "dimwatch: export: %v\n", err)
		return failed
	}
	fmt.Fprintf(out, "%s: %s, %d samples in %s\n%s\n", cause, b.finding.ID, b.samples, b.out, b.verdict)
	return done
}

// flagsOnly are the arguments without a cause at their end.
func flagsOnly(args []string, rest int) []string {
	if rest == 1 {
		return args[:len(args)-1]
	}
	return args
}

// otherArchive says whether a name is that of an archive of a kind that is not made here.
func otherArchive(name string) bool {
	return slices.Contains([]string{".zip", ".tar", ".tgz", ".gz", ".7z", ".bz2", ".xz", ".zst", ".rar"}, strings.ToLower(filepath.Ext(name))) &&
		!strings.HasSuffix(name, ".tar.gz")
}

// lookInto reads a state. Its error says which file cannot be read, and what to do.
func lookInto(dir string, f func(store.View) error) error {
	err := store.Look(dir, f)
	file := store.File(dir)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return fmt.Errorf("%s: there is no such file: --state or agent.state names the folder in which a daemon keeps its state, and it is made at the daemon's start", file)
	case errors.Is(err, os.ErrPermission):
		return fmt.Errorf("%s: permission denied: it belongs to %s; export as that user, or as root", file, ownerOf(file))
	case errors.Is(err, store.ErrNoState):
		return fmt.Errorf("%s: it is no state, or is damaged: %w; name another folder with --state, or one of the files set aside beside it under the name dimwatch.db in a folder of its own", file, err)
	}
	return err
}

// listClips prints a line for each cause of which there is a clip.
func listClips(dir string, site *config.Site, out, errs io.Writer) int {
	var heads []store.Piece
	err := lookInto(dir, func(v store.View) (err error) {
		heads, err = v.Heads(site.Name)
		return err
	})
	if err != nil {
		fmt.Fprintf(errs, "dimwatch: export: %v\n", err)
		return failed
	}
	if len(heads) == 0 {
		fmt.Fprintf(out, "there is no clip of site %s in %s yet: one is kept with each finding that is raised\n", site.Name, dir)
		return done
	}
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "CAUSE\tFINDING\tWHERE\tSINCE\tSTATE")
	for _, h := range heads {
		fmt.Fprintln(t, strings.Join(clipCells(h, site), "\t"))
	}
	_ = t.Flush()
	return done
}

// clipCells are what the list of clips says of one.
func clipCells(h store.Piece, site *config.Site) []string {
	var head clipHead
	var f keptFinding
	if json.Unmarshal(h.Value, &head) != nil || json.Unmarshal(head.Finding, &f) != nil {
		return []string{h.Cause, "-", "-", "-", "-"} // an export of it says what is wrong
	}
	at := func(text string) string {
		if t, err := time.Parse(time.RFC3339, text); err == nil {
			return t.In(site.Location).Format("Mon 2006-01-02 15:04")
		}
		return text
	}
	where, state := listed(f.Zones, 2), "stands"
	if f.Device != "" {
		where = "device " + f.Device
	}
	if f.Cleared != nil {
		state = "ended " + at(*f.Cleared)
	}
	return []string{h.Cause, f.ID, where, at(f.Onset), state}
}

// bundle is a clip on its way out of the store.
type bundle struct {
	site, cause, out string

	head    clipHead    // of the newest statement
	finding keptFinding // that it is about
	pieces  []store.Piece
	minutes []zoneMinute
	samples int
	verdict string // what review says of the bundle
}

// keptFinding is what is read again of a finding in the store; it is written as in the report of review.
type keptFinding struct {
	ID      string   `json:"id"`
	Zones   []string `json:"zones"`
	Device  string   `json:"device"`
	Onset   string   `json:"onset"`
	Cleared *string  `json:"cleared"`
}

type zoneMinute struct {
	zone  string
	at    int64
	value []byte
}

func readBundle(dir, site, cause string) (*bundle, error) {
	b := &bundle{site: site, cause: cause}
	err := lookInto(dir, func(v store.View) (err error) {
		b.pieces, err = v.Clip(site, cause)
		if err != nil {
			return err
		}
		for _, p := range b.pieces { // by statement: the last counts
			if p.Zone == "" {
				b.head = clipHead{}
				if err := json.Unmarshal(p.Value, &b.head); err != nil {
					return fmt.Errorf("clip of %s: %w", cause, err)
				}
			}
		}
		if b.head.Config == "" {
			return fmt.Errorf("there is no clip of %q of site %s in %s: `dimwatch export` without a cause lists those that there are", cause, site, dir)
		}
		if err := json.Unmarshal(b.head.Finding, &b.finding); err != nil {
			return fmt.Errorf("clip of %s: %w", cause, err)
		}
		for _, zone := range b.finding.Zones {
			err := v.History(site, zone, 0, 1<<40, func(at int64, value []byte) error {
				b.minutes = append(b.minutes, zoneMinute{zone, at, value})
				return nil
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
	return b, err
}

// write makes the folder or the archive.
func (b *bundle) write() error {
	if _, err := os.Stat(b.out); !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%s is there already: choose another --out, or remove it", b.out)
	}
	name, packed := strings.CutSuffix(b.out, ".tar.gz")
	if !packed {
		return b.fill(b.out)
	}
	temp, err := os.MkdirTemp("", "dimwatch-")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(temp) }()
	folder := filepath.Join(temp, filepath.Base(name))
	if err := b.fill(folder); err != nil {
		return err
	}
	if err := archive(b.out, folder); err != nil {
		_ = os.Remove(b.out)
		return err
	}
	return nil
}

// fill makes a folder and puts everything into it.
func (b *bundle) fill(folder string) error {
	if err := writeWhole(filepath.Join(folder, "site.hcl"), b.head.Config); err != nil {
		return err
	}
	if err := b.writeTrends(folder); err != nil {
		return err
	}
	var finding bytes.Buffer
	if err := json.Indent(&finding, b.head.Finding, "", " "); err != nil {
		return err
	}
	history, err := b.historyText()
	if err != nil {
		return err
	}
	b.verdict, err = b.judged(folder)
	if err != nil {
		return err
	}
	versions := fmt.Sprintf("%s of site %s\n%s\n\njudge it with: dimwatch review -config site.hcl\n\nfound by\n%s\n\nexported by\n%s\n",
		b.cause, b.site, b.verdict, b.head.Version, versionText())
	return errors.Join(
		os.WriteFile(filepath.Join(folder, "finding.json"), append(finding.Bytes(), '\n'), 0o640),
		writePacked(filepath.Join(folder, "history.csv.gz"), history),
		os.WriteFile(filepath.Join(folder, "versions.txt"), []byte(versions), 0o640),
	)
}

// judged reviews the bundle and says whether it shows the finding by itself.
func (b *bundle) judged(folder string) (string, error) {
	site, err := loadBundle(folder)
	if err != nil {
		return "", err
	}
	defer closeSources(site)
	r := &recording{site: site, judge: judge.New(site)}
	if err := r.run(context.Background()); err != nil {
		return "", err
	}
	var found []string
	for _, f := range r.findings {
		if f.ID.String() == b.finding.ID {
			return "review of it finds the same: " + b.finding.ID, nil
		}
		found = append(found, f.ID.String())
	}
	return fmt.Sprintf("review of it alone finds %s, and not %s: what the daemon had learned or seen before is not in it; see finding.json and history.csv.gz",
		cmp.Or(strings.Join(found, ", "), "nothing"), b.finding.ID), nil
}

// archive packs a folder.
func archive(to, folder string) (err error) {
	out, err := os.OpenFile(to, os.O_CREATE|os.O_WRONLY|os.O_EXCL, 0o640)
	if err != nil {
		return err
	}
	packed := gzip.NewWriter(out)
	w := tar.NewWriter(packed)
	files, err := os.ReadDir(folder)
	for _, f := range files {
		var text []byte
		if text, err = os.ReadFile(filepath.Join(folder, f.Name())); err != nil {
			break
		}
		info, infoErr := f.Info()
		if err = infoErr; err != nil {
			break
		}
		header := &tar.Header{Name: filepath.Base(folder) + "/" + f.Name(), Mode: 0o640, Size: int64(len(text)), ModTime: info.ModTime()}
		if err = w.WriteHeader(header); err != nil {
			break
		}
		if _, err = w.Write(text); err != nil {
			break
		}
	}
	return errors.Join(err, w.Close(), packed.Close(), out.Close())
}
