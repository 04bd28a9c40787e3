package main

import (
	"context"
	"path/filepath"
	"strings"
	"testing"

	"dentcount/measure"
	"dentcount/shelf"
)

func TestShelfOrders(t *testing.T) {
	ctx := context.Background()
	file := filepath.Join(t.TempDir(), "s.db")
	s, err := shelf.Open(ctx, file, shelf.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	part, err := s.AddPart(ctx, shelf.Part{Kind: "reed"})
	if err != nil {
		t.Fatal(err)
	}
	o, err := s.SaveOrder(ctx, shelf.Order{Title: "for the\nblue loom", Lines: []shelf.OrderLine{{Quantity: 2, Words: "reed, 12 per inch, 27 in", Part: part.ID}, {Quantity: 1, Words: "heddles, 10 1/2 in, 400"}}})
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	run := func(want int, args ...string) (string, string) {
		t.Helper()
		b := withData(t, answering(measure.Answered))
		if got := b.run(ctx, append([]string{"shelf", "orders", "--shelf", file}, args...)); got != want {
			t.Errorf("%v: status %d, want %d: %s", args, got, want, b.err.String())
		}
		return b.out.String(), b.err.String()
	}
	if out, _ := run(statusOK); strings.Count(out, "\n") != 2 || !strings.Contains(out, o.UID) || !strings.Contains(out, `for the\nblue loom`) || !strings.Contains(out, "draft") {
		t.Errorf("list:\n%s", out)
	}
	if out, _ := run(statusOK, o.UID, "--state", "sent"); !strings.Contains(out, "2 × reed, 12 per inch, 27 in ("+part.ID.String()+")") || !strings.Contains(out, ", sent,") {
		t.Errorf("show:\n%s", out)
	}
	if out, _ := run(statusOK, "--json"); strings.Count(out, "\n") != 1 || !strings.Contains(out, `"state":"sent"`) || !strings.Contains(out, `"quantity":2,"words":"reed, 12 per inch, 27 in"`) {
		t.Errorf("json:\n%s", out)
	}
	if _, err := run(statusFault, "0000"); !strings.Contains(err, `no order "0000"`) {
		t.Error(err)
	}
	run(statusUsage, "--state", "sent")
	run(statusUsage, o.UID, "--state", "lost")
	run(statusUsage, "a", "b")
	empty := filepath.Join(t.TempDir(), "none.db")
	b := withData(t, answering(measure.Answered))
	if got := b.run(ctx, []string{"shelf", "orders", "--shelf", empty}); got != statusFault {
		t.Errorf("a shelf that is not there: status %d", got)
	}
}
