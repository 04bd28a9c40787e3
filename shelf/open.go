package shelf

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"time"

	_ "github.com/mattn/go-sqlite3" // registers the "sqlite3" driver
)

// Settings says how a shelf is opened. The zero value is right for most.
type Settings struct {
	// Wait is how long to wait for another process that writes; 0 means 60 s.
	Wait time.Duration
	// Waiting is told, once per wait, that another process holds the shelf
	// and that this one waits; nil: nobody is told.
	Waiting func(path string)
	// Now gives the time for new records; nil means time.Now.
	Now func() time.Time
}

// Shelf is an open shelf. It may be used from several goroutines at once.
type Shelf struct {
	db      *sql.DB
	writing sync.Mutex // one writer of this process at a time: only others are waited for in SQLite
	path    string
	wait    time.Duration
	waiting func(path string)
	now     func() time.Time
}

// quietWait is how long SQLite itself waits for another writer before the
// wait is long enough to be told about.
const quietWait = 300 * time.Millisecond

// DefaultPath is where the shelf is kept when no file is named: in the user's
// data folder, by the XDG Base Directory rules ($XDG_DATA_HOME, else
// ~/.local/share; a relative XDG_DATA_HOME is to be ignored).
func DefaultPath(getenv func(string) string) (string, error) {
	dir := getenv("XDG_DATA_HOME")
	if !filepath.IsAbs(dir) {
		home := getenv("HOME")
		if home == "" {
			return "", &Error{Kind: ErrLocked, Problem: "there is no home folder to keep the shelf in ($HOME is not set)", Advice: "name a file with --shelf"}
		}
		dir = filepath.Join(home, ".local", "share")
	}
	return filepath.Join(dir, "dentcount", "shelf.db"), nil
}

// OpenDefault opens the shelf at DefaultPath and makes its folder, readable
// by the user alone, where it is missing.
func OpenDefault(ctx context.Context, getenv func(string) string, set Settings) (*Shelf, error) {
	path, err := DefaultPath(getenv)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, &Error{ErrLocked, fmt.Sprintf("the folder for the shelf cannot be made (%v)", err), "mend the permissions, or name another file with --shelf", err}
	}
	return Open(ctx, path, set)
}

// Open opens the shelf in the file path, and makes it where there is none; an
// empty file counts as none. The folder must exist. What is not a shelf, is
// damaged or comes from a newer dentcount is refused (ErrNotShelf, ErrDamaged,
// ErrNewer) and stays as it was. An older shelf is brought up to date in one
// transaction. The caller closes the Shelf.
func Open(ctx context.Context, path string, set Settings) (*Shelf, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	s := &Shelf{path: path, wait: set.Wait, waiting: set.Waiting, now: set.Now}
	if s.wait <= 0 {
		s.wait = 60 * time.Second
	}
	if s.now == nil {
		s.now = time.Now
	}
	fresh, err := inspectFile(path, abs)
	if err != nil {
		return nil, err
	}
	if !fresh {
		// Looked at through a connection that changes nothing, before the one
		// below switches the journal or migrates.
		if err := s.inspectSchema(ctx, abs); err != nil {
			return nil, err
		}
	}
	s.db, err = sql.Open("sqlite3", dsn(abs, "rwc")+"&_journal_mode=WAL&_synchronous=FULL&_txlock=immediate")
	if err != nil {
		return nil, err
	}
	// A few connections let readers go on while one writes.
	s.db.SetMaxOpenConns(4)
	s.db.SetMaxIdleConns(4)
	if err := s.patiently(ctx, func() error { return s.db.PingContext(ctx) }); err != nil {
		s.db.Close()
		return nil, s.explain(err)
	}
	if err := s.migrate(ctx); err != nil {
		s.db.Close()
		return nil, err
	}
	return s, nil
}

// Path is the file as it was named.
func (s *Shelf) Path() string { return s.path }

// Close closes the file.
func (s *Shelf) Close() error { return s.explain(s.db.Close()) }

// dsn names the file to SQLite as a URI, so that '?', '#' and '%' in a file
// name stay part of the name.
func dsn(abs, mode string) string {
	u := url.URL{Scheme: "file", Path: abs}
	return u.String() + fmt.Sprintf("?mode=%s&_busy_timeout=%d&_foreign_keys=1", mode, quietWait.Milliseconds())
}

// inspectFile looks at the file itself: is it there, is it SQLite, is it whole.
func inspectFile(path, abs string) (fresh bool, err error) {
	info, err := os.Stat(abs)
	if errors.Is(err, fs.ErrNotExist) {
		if _, err := os.Stat(filepath.Dir(abs)); err != nil {
			return false, &Error{ErrLocked, "the folder of the shelf " + path + " is not there", "make the folder, or name another file with --shelf", err}
		}
		return true, nil
	}
	if err != nil {
		return false, &Error{ErrLocked, fmt.Sprintf("the shelf %s cannot be opened (%v)", path, err), "name another file with --shelf", err}
	}
	if info.IsDir() {
		return false, &Error{Kind: ErrNotShelf, Problem: path + " is a folder, not a shelf", Advice: "name a file with --shelf, for example " + filepath.Join(path, "shelf.db")}
	}
	if !info.Mode().IsRegular() {
		return false, &Error{Kind: ErrNotShelf, Problem: path + " is not a regular file", Advice: "name another file with --shelf"}
	}
	if info.Size() == 0 {
		return true, nil
	}
	f, err := os.Open(abs)
	if err != nil {
		return false, &Error{ErrLocked, fmt.Sprintf("the shelf %s cannot be opened (%v)", path, err), "mend the permissions, or name another file with --shelf", err}
	}
	defer f.Close()
	// The database header is documented at sqlite.org/fileformat2.html#the_database_header.
	var head [100]byte
	if _, err := io.ReadFull(f, head[:]); err != nil || string(head[:16]) != "SQLite format 3\x00" {
		return false, notShelf(path)
	}
	pageSize := int64(binary.BigEndian.Uint16(head[16:]))
	if pageSize == 1 {
		pageSize = 65536
	}
	pages := int64(binary.BigEndian.Uint32(head[28:]))
	// While a write-ahead log waits to be folded in, the file may rightly be
	// shorter than its header says.
	if wal, err := os.Stat(abs + "-wal"); err != nil || wal.Size() == 0 {
		if info.Size() < pages*pageSize {
			return false, damaged(path, fmt.Errorf("it is cut off after %d of %d bytes", info.Size(), pages*pageSize))
		}
	}
	return false, nil
}

func notShelf(path string) error {
	return &Error{Kind: ErrNotShelf, Problem: path + " is some other file, not a shelf", Advice: "it was left as it is; name another file with --shelf"}
}

// inspectSchema reads what kind of database it is without changing it.
func (s *Shelf) inspectSchema(ctx context.Context, abs string) error {
	db, err := sql.Open("sqlite3", dsn(abs, "rw"))
	if err != nil {
		return err
	}
	defer db.Close()
	var app, version, tables int
	err = s.patiently(ctx, func() error {
		if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&app); err != nil {
			return err
		}
		if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
			return err
		}
		return db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema").Scan(&tables)
	})
	switch {
	case err != nil:
		return s.explain(err)
	case app == 0 && version == 0 && tables == 0:
		return nil // made, and stopped before its first transaction
	case app != applicationID:
		return notShelf(s.path)
	case version > schemaVersion:
		return &Error{Kind: ErrNewer, Problem: fmt.Sprintf("the shelf %s was written by a newer dentcount (its version is %d, this one knows %d)", s.path, version, schemaVersion),
			Advice: "it was left as it is; use the newer dentcount, or name another file with --shelf"}
	case version < 0:
		return damaged(s.path, fmt.Errorf("its version is %d", version))
	}
	return nil
}

// migrate brings the schema to this program's version, in one transaction.
func (s *Shelf) migrate(ctx context.Context) error {
	var version int
	if err := s.db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return s.explain(err)
	}
	if version == schemaVersion {
		return nil
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		// Read again under the lock: another process may have been quicker.
		if err := tx.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
			return err
		}
		for v := version; v < schemaVersion; v++ {
			if _, err := tx.Exec(migrations[v]); err != nil {
				return fmt.Errorf("bringing the shelf from version %d to %d: %w", v, v+1, err)
			}
		}
		// Both live in the database header and are part of the transaction.
		_, err := tx.Exec(fmt.Sprintf("PRAGMA application_id=%d; PRAGMA user_version=%d", applicationID, schemaVersion))
		return err
	})
}

// write runs one transaction that may change the shelf. It waits for another
// process that writes, and says so. do may be called only once per write.
func (s *Shelf) write(ctx context.Context, do func(*sql.Tx) error) error {
	s.writing.Lock()
	defer s.writing.Unlock()
	var tx *sql.Tx
	err := s.patiently(ctx, func() (err error) {
		tx, err = s.db.BeginTx(ctx, nil) // BEGIN IMMEDIATE: the wait is here and nowhere later
		return err
	})
	if err != nil {
		return s.explain(err)
	}
	if err := do(tx); err != nil {
		tx.Rollback()
		return s.explain(err)
	}
	return s.explain(tx.Commit())
}

// patiently tries again while another process holds the shelf, up to s.wait.
func (s *Shelf) patiently(ctx context.Context, try func() error) error {
	start := time.Now()
	told := false
	for {
		err := try()
		if !isBusy(err) {
			return err
		}
		if !told && s.waiting != nil {
			s.waiting(s.path)
		}
		told = true
		if time.Since(start) > s.wait {
			return &Error{ErrBusy, fmt.Sprintf("another program has held the shelf %s for more than %v", s.path, s.wait), "let it finish and run the same again", err}
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// stamp gives the present time as it is stored.
func (s *Shelf) stamp() int64 { return s.now().UnixMicro() }

func fromStamp(us int64) time.Time { return time.UnixMicro(us).UTC() }
