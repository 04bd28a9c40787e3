package main

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"dentcount/report"
	"dentcount/shelf"
)

func newShelfOrdersCmd(a *app, f *shelfFlag) *cobra.Command {
	var state string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "orders [UID]",
		Short: "List the orders that were made out, or show one and say how far it is",
		Example: `  dentcount shelf orders
  dentcount shelf orders 3f9c2a51b07d --state sent`,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) > 1:
				return usagef("one order at a time: %q is too much", args[1])
			case len(args) == 0 && state != "":
				return usagef("--state %s of which order?", state).withHint("dentcount shelf orders lists them; dentcount shelf orders UID --state %s", state)
			case state != "" && !slices.Contains(shelf.OrderStates(), state):
				return usagef("--state %s: an order is draft, sent or received", state)
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := f.openThere(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			if len(args) == 0 {
				return a.listOrders(cmd.Context(), s, asJSON)
			}
			o, err := s.Order(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			if state != "" && state != o.State {
				o.State = state
				if o, err = s.SaveOrder(cmd.Context(), o); err != nil {
					return err
				}
			}
			return a.showOrder(o, asJSON)
		},
	}
	cmd.Flags().StringVar(&state, "state", "", "how far it is, `STATE`: draft, sent or received")
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON object an order, one per line")
	return cmd
}

// orderJSON is the stable form of an order.
type orderJSON struct {
	UID   string          `json:"uid"`
	Title string          `json:"title"`
	State string          `json:"state"`
	At    string          `json:"at"` // RFC 3339, UTC
	Facts json.RawMessage `json:"facts,omitempty"`
	Lines []orderLineJSON `json:"lines"`
}

type orderLineJSON struct {
	Part     string          `json:"part"`
	Quantity int             `json:"quantity"`
	Words    string          `json:"words"`
	Facts    json.RawMessage `json:"facts,omitempty"`
}

func orderForScripts(o shelf.Order) orderJSON {
	j := orderJSON{UID: o.UID, Title: o.Title, State: o.State, At: o.At.UTC().Format("2006-01-02T15:04:05Z"), Facts: o.Facts, Lines: []orderLineJSON{}}
	for _, l := range o.Lines {
		j.Lines = append(j.Lines, orderLineJSON{l.Part.String(), l.Quantity, l.Words, l.Facts})
	}
	return j
}

func (a *app) listOrders(ctx context.Context, s *shelf.Shelf, asJSON bool) error {
	orders, err := s.Orders(ctx)
	if err != nil {
		return err
	}
	if asJSON {
		for _, o := range orders {
			if o, err = s.Order(ctx, o.UID); err != nil { // with its lines
				return err
			}
			if err := a.jsonLine(orderForScripts(o)); err != nil {
				return err
			}
		}
		return nil
	}
	if len(orders) == 0 {
		a.answerf("There is no order on the shelf.\n")
		return a.writeErr
	}
	w := tabwriter.NewWriter(a.answers(), 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "ORDER\tSTATE\tDAY\tTITLE")
	for _, o := range orders {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", report.Printable(o.UID), o.State, o.At.Format("2006-01-02"), report.Printable(o.Title))
	}
	return w.Flush()
}

func (a *app) showOrder(o shelf.Order, asJSON bool) error {
	if asJSON {
		return a.jsonLine(orderForScripts(o))
	}
	a.answerf("%s\n", report.Printable(fmt.Sprintf("%s  %s, %s, %s", o.UID, orElse(o.Title, "no title"), o.State, o.At.Format("2006-01-02"))))
	for _, l := range o.Lines {
		line := fmt.Sprintf("  %d × %s", l.Quantity, l.Words)
		if l.Part != "" {
			line += " (" + l.Part.String() + ")"
		}
		a.answerf("%s\n", report.Printable(line))
	}
	return a.writeErr
}
