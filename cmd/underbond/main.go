// Command underbond takes custody of instrument exports, computes what they mean, and
// keeps every result under bond until the quality control that covers it has passed.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // zones of instrument PCs, also where the system has no such data

	"github.com/alecthomas/kong"
)

// Exit codes.
const (
	exitOK     = 0
	exitFailed = 1
	exitUsage  = 2
)

// commands are the program's commands; one file each.
type commands struct {
	Serve      serveCommand      `cmd:"" help:"Run the daemon: watch folders, evaluate, release."`
	Migrate    migrateCommand    `cmd:"" help:"Bring the database to this program's schema, as its owner."`
	Demo       demoCommand       `cmd:"" help:"Run the daemon on an invented survey of spirits, with its own private Postgres."`
	Inspect    inspectCommand    `cmd:"" help:"Show what export files hold. No database."`
	Evaluate   evaluateCommand   `cmd:"" help:"Compute calibrations, checks and results from files. No database."`
	Check      checkCommand      `cmd:"" help:"Check configuration, method, profile, worklist, register and standards files."`
	Profile    profileCommand    `cmd:"" help:"Propose a profile from delimited exports, or show how one reads them. No database."`
	Fit        fitCommand        `cmd:"" help:"Fit a calibration function to points and show its diagnostics. No database."`
	Strength   strengthCommand   `cmd:"" help:"Strength of a mixture of ethanol and water from its density, or the inverse. No database."`
	Health     healthCommand     `cmd:"" help:"Ask a running daemon whether it is ready."`
	Completion completionCommand `cmd:"" help:"Print a completion script for a shell."`
	Version    versionCommand    `cmd:"" help:"Print the version of the program."`
}

// streams are where a command reads and writes; tests hand in their own.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

// usageError is a mistake on the command line: exit code 2.
type usageError struct{ text string }

func (e *usageError) Error() string { return e.text }

// errSilent fails a command that has already said why.
var errSilent = errors.New("failed")

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], streams{os.Stdin, os.Stdout, os.Stderr})
	stop()
	os.Exit(code)
}

// run parses the command line, runs the command and gives the exit code.
func run(ctx context.Context, args []string, io streams) int {
	exit := -1
	parser, err := newParser(io, func(code int) { exit = code })
	if err != nil {
		fmt.Fprintln(io.err, "underbond:", err)
		return exitFailed
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(args)
	if exit >= 0 { // --help was asked for and printed
		return exit
	}
	if err != nil {
		fmt.Fprintf(io.err, "underbond: %s\nRun \"underbond --help\" or \"underbond COMMAND --help\" for what is possible.\n", err)
		return exitUsage
	}
	parsed.BindTo(ctx, (*context.Context)(nil))
	parsed.Bind(io, parser.Model)
	err = parsed.Run()
	var usage *usageError
	switch {
	case err == nil:
		return exitOK
	case errors.As(err, &usage):
		fmt.Fprintln(io.err, "underbond:", err)
		return exitUsage
	case !errors.Is(err, errSilent):
		fmt.Fprintln(io.err, "underbond:", err)
	}
	return exitFailed
}

func newParser(io streams, exit func(int)) (*kong.Kong, error) {
	return kong.New(&commands{}, kong.Name("underbond"),
		kong.Description("Takes custody of instrument exports, computes what they mean, and keeps every result under bond until the quality control that covers it has passed."),
		kong.Writers(io.out, io.err), kong.Exit(exit), kong.UsageOnError(), kong.ConfigureHelp(kong.HelpOptions{Compact: true}))
}
