// Command dentcount reads the dent size of a reed or a rigid heddle from a
// photo with a ruler in it.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"dentcount/measure"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// The first Ctrl-C asks the work to stop; with the handler gone, a second
	// one ends the process at once.
	context.AfterFunc(ctx, stop)

	a := &app{stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr, getenv: os.Getenv, measure: measure.Photo}
	status := a.run(ctx, os.Args[1:])
	stop()
	os.Exit(status)
}
