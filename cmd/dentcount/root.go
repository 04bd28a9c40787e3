package main

import (
	"context"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"dentcount/measure"
	"dentcount/photo"
)

// app is what a subcommand may touch of the outside world. Tests fill it with
// buffers and run commands in the same process. One app serves one run.
type app struct {
	stdin          io.Reader
	stdout, stderr io.Writer // written to through print.go only
	getenv         func(string) string
	measure        measureFunc // measure.Photo; tests put hand-made answers here

	tally    tally // what went wrong so far; decides the exit status
	writeErr error // the first failed write to standard output
}

// measureFunc is the pipeline's one call.
type measureFunc func(context.Context, *photo.Photo, measure.Options) (measure.Result, error)

// subcommands lists the constructors of all subcommands. To add one: a new
// file with a newXxxCmd(*app) *cobra.Command, and a line here. Its RunE
// returns a usageError for a wrong call, any other error for a fault, and
// tells a.fault and a.doubt about single photos that went wrong.
func subcommands() []func(*app) *cobra.Command {
	return []func(*app) *cobra.Command{
		newMeasureCmd,
		newLengthCmd,
		newPracticeCmd,
		newSortCmd,
		newLabelCmd,
		newShelfCmd,
		newLoomsCmd,
		newOrderCmd,
		newServeCmd,
		newSettCmd,
		newCountsCmd,
		newVersionCmd,
	}
}

// newRootCmd builds the command tree around a.
func newRootCmd(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:   "dentcount",
		Short: "Read the dent size of a reed or rigid heddle from a photo",
		Long: `dentcount reads the dent size of a reed or a rigid heddle from a photo with a
ruler in it, and says how sure it is.

Lay the ruler across the wires, take the photo from straight above, then:

  dentcount measure reed.jpg`,
		SilenceErrors: true, // run prints them, once
		SilenceUsage:  true,
		RunE: func(cmd *cobra.Command, args []string) error {
			return usagef("say what to do, for example: dentcount measure reed.jpg").
				withHint("dentcount --help lists the commands")
		},
	}
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetIn(a.stdin)
	root.SetOut(a.answers())
	root.SetErr(a.stderr)
	for _, newCmd := range subcommands() {
		root.AddCommand(newCmd(a))
	}
	markRuns(root)
	return root
}

// markRuns wraps every RunE below cmd so that run can tell the errors of a
// command's work from those of cobra's own reading of the arguments.
func markRuns(cmd *cobra.Command) {
	if work := cmd.RunE; work != nil {
		cmd.RunE = func(cmd *cobra.Command, args []string) error {
			if err := work(cmd, args); err != nil {
				return workError{err}
			}
			return nil
		}
	}
	for _, sub := range cmd.Commands() {
		markRuns(sub)
	}
}

// run executes one command line and returns the exit status.
func (a *app) run(ctx context.Context, args []string) int {
	root := newRootCmd(a)
	// cobra reads os.Args when it is handed nil.
	root.SetArgs(append([]string{}, args...))
	err := root.ExecuteContext(ctx)
	if err != nil && len(args) > 0 && strings.HasPrefix(err.Error(), "unknown command") {
		if _, statErr := os.Stat(args[0]); statErr == nil {
			err = usagef("%q is a file, not a command", args[0]).withHint("dentcount measure %s", args[0])
		}
	}
	return a.finish(ctx, err)
}
