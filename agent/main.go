// Command dimwatch watches the dimming points of a store and names the part that has failed. It only reads.
package main

import (
	"cmp"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"

	"dimwatch/agent/config"

	"golang.org/x/term"
)

// command is one word of the command line.
type command struct {
	name, does, usage string
	run               func(args []string, out, errs io.Writer) int
}

// Exit codes.
const (
	done   = 0
	failed = 1
	misuse = 2
)

// commands in the order in which help shows them.
func commands() []command {
	return []command{watchCommand, checkCommand, readCommand, reviewCommand, exportCommand, demoCommand, versionCommand}
}

func main() {
	if term.IsTerminal(int(os.Stdout.Fd())) {
		os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
	}
	out := &keeping{w: os.Stdout}
	code := run(os.Args[1:], out, os.Stderr)
	if out.err != nil && code == done {
		fmt.Fprintf(os.Stderr, "dimwatch: the output could not be written: %v\n", out.err)
		code = failed
	}
	os.Exit(code)
}

// keeping keeps the first error of a writer: a report that nobody got is no success.
type keeping struct {
	w   io.Writer
	err error
}

// Write writes, and keeps the error.
func (k *keeping) Write(p []byte) (int, error) {
	n, err := k.w.Write(p)
	if err != nil && k.err == nil {
		k.err = err
	}
	return n, err
}

// run runs the command that the arguments name.
func run(args []string, out, errs io.Writer) int {
	if len(args) == 0 {
		help(errs)
		return misuse
	}
	switch args[0] {
	case "help", "-h", "-help", "--help":
		help(out)
		return done
	case "-version", "--version":
		return versionCommand.run(nil, out, errs)
	}
	for _, c := range commands() {
		if c.name != args[0] {
			continue
		}
		for _, a := range args[1:] {
			if a == "-h" || a == "-help" || a == "--help" {
				fmt.Fprint(out, c.usage)
				return done
			}
		}
		return c.run(args[1:], out, errs)
	}
	var names []string
	for _, c := range commands() {
		names = append(names, c.name)
	}
	hint := ""
	if near := config.Closest(args[0], names); near != "" {
		hint = fmt.Sprintf("; did you mean %q?", near)
	}
	fmt.Fprintf(errs, "dimwatch: there is no command %q%s `dimwatch help` lists them\n", args[0], cmp.Or(hint, ";"))
	return misuse
}

func help(w io.Writer) {
	fmt.Fprint(w, "dimwatch watches the dimming points of a store and names the part that has failed.\nIt only reads: no command of it can write to a controller.\n\n")
	for _, c := range commands() {
		fmt.Fprintf(w, "  %-8s %s\n", c.name, c.does)
	}
	fmt.Fprint(w, "\n`dimwatch COMMAND --help` explains a command.\n")
}

// flags makes the flag set of a command; its usage is the command's own text.
func flags(name string, errs io.Writer) *flag.FlagSet {
	fs := flag.NewFlagSet(name, flag.ContinueOnError)
	fs.SetOutput(errs)
	fs.Usage = func() { fmt.Fprintf(errs, "`dimwatch %s --help` explains the command\n", name) }
	return fs
}

func configFlag(fs *flag.FlagSet) *string { return fs.String("config", "", "the configuration file") }

// parseFlags parses flags, and says what is wrong with them as everything else is said.
func parseFlags(fs *flag.FlagSet, args []string) bool {
	out, usage := fs.Output(), fs.Usage
	fs.SetOutput(io.Discard)
	fs.Usage = func() {}
	err := fs.Parse(args)
	fs.SetOutput(out)
	fs.Usage = usage
	if err == nil {
		return true
	}
	text := err.Error()
	if name, unknown := strings.CutPrefix(text, "flag provided but not defined: -"); unknown {
		text = fmt.Sprintf("there is no flag -%s", name)
		var names []string
		fs.VisitAll(func(f *flag.Flag) { names = append(names, f.Name) })
		if near := config.Closest(name, names); near != "" {
			text += ", did you mean -" + near + "?"
		}
	}
	fmt.Fprintf(out, "dimwatch: %s: %s\n", fs.Name(), text)
	usage()
	return false
}

// parse parses the flags and refuses what is left over; not ok comes with the exit code.
func parse(fs *flag.FlagSet, args []string) (code int, ok bool) {
	if !parseFlags(fs, args) {
		return misuse, false
	}
	if fs.NArg() > 0 {
		fmt.Fprintf(fs.Output(), "dimwatch: %s: %q is too much: flags come first and nothing follows them\n", fs.Name(), fs.Arg(0))
		fs.Usage()
		return misuse, false
	}
	if f := fs.Lookup("config"); f != nil && f.Value.String() == "" {
		fmt.Fprintf(fs.Output(), "dimwatch: %s: -config FILE is missing\n", fs.Name())
		fs.Usage()
		return misuse, false
	}
	return done, true
}
