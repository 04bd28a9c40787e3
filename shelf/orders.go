package shelf

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
)

// The states an order can be in.
var orderStates = []string{"draft", "sent", "received"}

// OrderStates lists the states an order can be in, as it goes through them.
func OrderStates() []string { return slices.Clone(orderStates) }

// SaveOrder keeps an order sheet. An empty UID makes a new order; a UID that
// is there already replaces that order as a whole. It returns the order as
// stored.
func (s *Shelf) SaveOrder(ctx context.Context, o Order) (Order, error) {
	if o.State == "" {
		o.State = "draft"
	}
	if !slices.Contains(orderStates, o.State) {
		return Order{}, badValue("it is draft, sent or received", "an order cannot be %q", o.State)
	}
	if err := checkText("order", o.UID, o.Title); err != nil {
		return Order{}, err
	}
	if o.UID == "" {
		uid, err := newUID()
		if err != nil {
			return Order{}, err
		}
		o.UID = uid
	}
	facts, err := compactJSON("order", o.Facts)
	if err != nil {
		return Order{}, err
	}
	at := s.stamp()
	err = s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.Exec(`INSERT INTO orders (uid, title, state, facts, at) VALUES (?,?,?,?,?)
			ON CONFLICT (uid) DO UPDATE SET title = excluded.title, state = excluded.state, facts = excluded.facts, at = excluded.at`,
			o.UID, o.Title, o.State, facts, at); err != nil {
			return err
		}
		if _, err := tx.Exec(`DELETE FROM order_lines WHERE order_uid = ?`, o.UID); err != nil {
			return err
		}
		for i, l := range o.Lines {
			if l.Quantity < 1 {
				return badValue("order at least one", "line %d of the order has the quantity %d", i+1, l.Quantity)
			}
			if err := checkText("order line", l.Words); err != nil {
				return err
			}
			facts, err := compactJSON("order line", l.Facts)
			if err != nil {
				return err
			}
			if l.Part != "" {
				if _, err := readPart(tx, l.Part); err != nil {
					return err
				}
			}
			if _, err := tx.Exec(`INSERT INTO order_lines (order_uid, line, part_id, quantity, words, facts) VALUES (?,?,nullif(?,''),?,?,?)`,
				o.UID, i+1, string(l.Part), l.Quantity, l.Words, facts); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return Order{}, err
	}
	return s.Order(ctx, o.UID)
}

// Order finds an order; ErrNoOrder where there is none.
func (s *Shelf) Order(ctx context.Context, uid string) (Order, error) {
	q := s.reader(ctx)
	o, err := scanOrder(q.QueryRow(`SELECT uid, title, state, facts, at FROM orders WHERE uid = ?`, uid).Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return Order{}, &Error{Kind: ErrNoOrder, Problem: fmt.Sprintf("there is no order %q on the shelf", uid)}
	}
	if err != nil {
		return Order{}, s.explain(err)
	}
	rows, err := q.Query(`SELECT coalesce(part_id,''), quantity, words, facts FROM order_lines WHERE order_uid = ? ORDER BY line`, uid)
	if err != nil {
		return Order{}, s.explain(err)
	}
	defer rows.Close()
	for rows.Next() {
		var l OrderLine
		var facts string
		if err := rows.Scan(&l.Part, &l.Quantity, &l.Words, &facts); err != nil {
			return Order{}, s.explain(err)
		}
		l.Facts = rawOrNil(facts)
		o.Lines = append(o.Lines, l)
	}
	return o, s.explain(rows.Err())
}

// Orders lists all orders without their lines, the newest first.
func (s *Shelf) Orders(ctx context.Context) ([]Order, error) {
	rows, err := s.reader(ctx).Query(`SELECT uid, title, state, facts, at FROM orders ORDER BY at DESC, uid`)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []Order
	for rows.Next() {
		o, err := scanOrder(rows.Scan)
		if err != nil {
			return nil, s.explain(err)
		}
		out = append(out, o)
	}
	return out, s.explain(rows.Err())
}

func scanOrder(scan func(...any) error) (Order, error) {
	var o Order
	var facts string
	var at int64
	if err := scan(&o.UID, &o.Title, &o.State, &facts, &at); err != nil {
		return Order{}, err
	}
	o.Facts, o.At = rawOrNil(facts), fromStamp(at)
	return o, nil
}

func rawOrNil(s string) json.RawMessage {
	if s == "" {
		return nil
	}
	return json.RawMessage(s)
}
