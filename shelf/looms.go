package shelf

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"dentcount/trade"
)

// loomKey makes names that differ only in case or outer spaces one name.
func loomKey(name string) string { return strings.ToLower(strings.TrimSpace(name)) }

// AddLoom keeps a loom under its name. A loom of that name that is there
// already is ErrConflict, unless replace is set. What is wrong with the loom's
// figures (trade.Loom.Validate) is the caller's to ask about; only figures
// that cannot be stored are refused here.
func (s *Shelf) AddLoom(ctx context.Context, l trade.Loom, replace bool) error {
	l.Name = strings.TrimSpace(l.Name)
	if l.Name == "" {
		return badValue("give it a name of your own, for example big-blue", "a loom without a name")
	}
	if err := checkText("loom's name", l.Name); err != nil {
		return err
	}
	if err := checkNumbers("loom's figure", l.WeavingWidthIn, l.ClearSpanIn, l.BeaterMinIn, l.BeaterMaxIn, l.HeddleBarSpanIn, float64(l.Shafts)); err != nil {
		return err
	}
	raw, err := json.Marshal(l)
	if err != nil {
		return err
	}
	facts, err := compactJSON("loom", raw)
	if err != nil {
		return err
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		var there bool
		if err := tx.QueryRow(`SELECT EXISTS (SELECT 1 FROM looms WHERE key = ?)`, loomKey(l.Name)).Scan(&there); err != nil {
			return err
		}
		if there && !replace {
			return &Error{Kind: ErrConflict, Problem: fmt.Sprintf("there is a loom %q already", l.Name), Advice: "choose another name, or change that one with --replace"}
		}
		_, err := tx.Exec(`INSERT INTO looms (key, name, facts, at) VALUES (?,?,?,?)
			ON CONFLICT (key) DO UPDATE SET name = excluded.name, facts = excluded.facts, at = excluded.at`,
			loomKey(l.Name), l.Name, facts, s.stamp())
		return err
	})
}

// Loom finds a loom by its name, in any case; ErrNoLoom where there is none.
func (s *Shelf) Loom(ctx context.Context, name string) (trade.Loom, error) {
	var facts string
	err := s.reader(ctx).QueryRow(`SELECT facts FROM looms WHERE key = ?`, loomKey(name)).Scan(&facts)
	if errors.Is(err, sql.ErrNoRows) {
		return trade.Loom{}, noLoom(name)
	}
	if err != nil {
		return trade.Loom{}, s.explain(err)
	}
	return s.readLoom(facts)
}

func noLoom(name string) error {
	return &Error{Kind: ErrNoLoom, Problem: fmt.Sprintf("there is no loom %q on the shelf", name), Advice: "dentcount looms list shows those there are; dentcount looms add puts one there"}
}

func (s *Shelf) readLoom(facts string) (trade.Loom, error) {
	var l trade.Loom
	if err := json.Unmarshal([]byte(facts), &l); err != nil {
		return trade.Loom{}, damaged(s.path, fmt.Errorf("a loom's figures cannot be read: %w", err))
	}
	return l, nil
}

// Looms lists all looms by name.
func (s *Shelf) Looms(ctx context.Context) ([]trade.Loom, error) {
	rows, err := s.reader(ctx).Query(`SELECT facts FROM looms ORDER BY key`)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []trade.Loom
	for rows.Next() {
		var facts string
		if err := rows.Scan(&facts); err != nil {
			return nil, s.explain(err)
		}
		l, err := s.readLoom(facts)
		if err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, s.explain(rows.Err())
}

// RemoveLoom takes a loom off the shelf.
func (s *Shelf) RemoveLoom(ctx context.Context, name string) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		res, err := tx.Exec(`DELETE FROM looms WHERE key = ?`, loomKey(name))
		if err != nil {
			return err
		}
		if n, err := res.RowsAffected(); err != nil || n > 0 {
			return err
		}
		return noLoom(name)
	})
}
