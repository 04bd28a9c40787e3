package shelf

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/mattn/go-sqlite3"
)

// Backup copies the shelf, as it is at one moment, into a new file, with
// SQLite's online backup: others may read and write meanwhile. The copy is
// checked before it gets its name; a file that is there already is not
// replaced (ErrExists).
func (s *Shelf) Backup(ctx context.Context, to string) (err error) {
	if _, err := os.Lstat(to); err == nil {
		return &Error{Kind: ErrExists, Problem: to + " is there already", Advice: "it was left as it is; give the backup another name"}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	tmp, err := os.CreateTemp(filepath.Dir(to), ".shelf-backup-*")
	if err != nil {
		return &Error{ErrLocked, fmt.Sprintf("the backup cannot be written (%v)", err), "give a folder that is there and can be written", err}
	}
	tmp.Close()
	defer os.Remove(tmp.Name())
	abs, err := filepath.Abs(tmp.Name())
	if err != nil {
		return err
	}
	// The copy has no second user: a plain journal leaves one file and no more.
	dest, err := sql.Open("sqlite3", dsn(abs, "rw"))
	if err != nil {
		return err
	}
	defer dest.Close()
	if err := s.copyInto(ctx, dest); err != nil {
		return explain(to, err)
	}
	var mode, verdict string
	if err := dest.QueryRowContext(ctx, "PRAGMA journal_mode=DELETE").Scan(&mode); err != nil {
		return explain(to, err)
	}
	if err := dest.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&verdict); err != nil {
		return explain(to, err)
	}
	if verdict != "ok" {
		return damaged(s.path, errors.New(verdict))
	}
	if err := dest.Close(); err != nil {
		return explain(to, err)
	}
	if err := syncFile(tmp.Name()); err != nil {
		return err
	}
	// Link, unlike rename, fails where somebody made the file meanwhile.
	if err := os.Link(tmp.Name(), to); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return &Error{Kind: ErrExists, Problem: to + " is there already", Advice: "it was left as it is; give the backup another name"}
		}
		return os.Rename(tmp.Name(), to) // a file system without links
	}
	return nil
}

func (s *Shelf) copyInto(ctx context.Context, dest *sql.DB) error {
	from, err := s.db.Conn(ctx)
	if err != nil {
		return err
	}
	defer from.Close()
	into, err := dest.Conn(ctx)
	if err != nil {
		return err
	}
	defer into.Close()
	return into.Raw(func(d any) error {
		return from.Raw(func(f any) error {
			b, err := d.(*sqlite3.SQLiteConn).Backup("main", f.(*sqlite3.SQLiteConn), "main")
			if err != nil {
				return err
			}
			for {
				if err := ctx.Err(); err != nil {
					b.Finish()
					return err
				}
				done, err := b.Step(1024)
				if err != nil {
					b.Finish()
					return err
				}
				if done {
					return b.Finish()
				}
			}
		})
	})
}

func syncFile(name string) error {
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
