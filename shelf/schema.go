package shelf

// applicationID marks a SQLite file as a shelf (PRAGMA application_id, "DENT"
// in ASCII), so that another program's database is never taken for one.
const applicationID = 0x44454E54

// migrations bring a shelf from version i to i+1 (PRAGMA user_version). They
// are never edited once released, only added to.
var migrations = []string{
	`
CREATE TABLE parts (
	id              TEXT PRIMARY KEY,
	kind_added      TEXT NOT NULL,              -- reed, rigid-heddle, …, as it came here
	name            TEXT NOT NULL DEFAULT '',   -- what its owner calls it
	place           TEXT NOT NULL DEFAULT '',   -- where it hangs
	note            TEXT NOT NULL DEFAULT '',
	origin          TEXT NOT NULL DEFAULT '',   -- how it came here: by hand, or the group of a sorted folder
	added_at        INTEGER NOT NULL,           -- microseconds since 1970, UTC

	-- What is believed, worked out from decisions and measurements (believe.go).
	kind            TEXT NOT NULL,
	size_label      TEXT NOT NULL DEFAULT '',
	size_system     TEXT NOT NULL DEFAULT '',
	size_per_inch   REAL,
	size_u          REAL,
	size_confidence REAL,
	size_by         TEXT NOT NULL DEFAULT '',   -- person, photo, or nobody yet
	doubtful        INTEGER NOT NULL DEFAULT 1,
	doubt           TEXT NOT NULL DEFAULT '',
	advice          TEXT NOT NULL DEFAULT '',
	length_in       REAL,
	length_u        REAL,
	length_by       TEXT NOT NULL DEFAULT '',
	sley_in         REAL,
	sley_u          REAL,
	sley_by         TEXT NOT NULL DEFAULT '',
	height_in       REAL,
	height_u        REAL,
	height_by       TEXT NOT NULL DEFAULT '',
	gone            INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX parts_in_order  ON parts (gone, doubtful DESC, size_per_inch, id);
CREATE INDEX parts_by_size   ON parts (gone, size_per_inch, id);
CREATE INDEX parts_by_length ON parts (gone, length_in, id);
CREATE INDEX parts_by_loom   ON parts (gone, kind, doubtful, size_per_inch, size_label, size_system, length_in, height_in);
CREATE INDEX parts_by_age    ON parts (gone, added_at, id);

CREATE TABLE photos (
	sha256  TEXT PRIMARY KEY,                   -- hex digest of the file's bytes
	path    TEXT NOT NULL,                      -- where it was last seen
	bytes   INTEGER NOT NULL,
	part_id TEXT REFERENCES parts (id),
	tag     TEXT NOT NULL DEFAULT '',           -- id read from a tag lying in the picture
	seen_at INTEGER NOT NULL
) STRICT;
CREATE INDEX photos_by_part ON photos (part_id);

CREATE TABLE measurements (
	photo      TEXT NOT NULL REFERENCES photos (sha256),
	what       TEXT NOT NULL,                   -- dent-size, reed-length, …
	version    TEXT NOT NULL,                   -- of the measuring, with the facts it was told
	status     TEXT NOT NULL,                   -- answered, unsure, refused
	kind       TEXT NOT NULL DEFAULT '',        -- the part as the photo was read
	label      TEXT NOT NULL DEFAULT '',
	system     TEXT NOT NULL DEFAULT '',
	per_inch   REAL,
	u          REAL,                            -- standard uncertainty (k = 1) of per_inch or of length_in
	confidence REAL,
	length_in  REAL,
	reason     TEXT NOT NULL DEFAULT '',
	advice     TEXT NOT NULL DEFAULT '',
	result     TEXT NOT NULL DEFAULT '',        -- the whole result, JSON
	evidence   TEXT NOT NULL DEFAULT '',        -- the geometry behind it, JSON
	at         INTEGER NOT NULL,
	PRIMARY KEY (photo, what, version)
) STRICT;

CREATE TABLE pictures (                         -- small annotated pictures, apart so that searches stay quick
	photo   TEXT NOT NULL,
	what    TEXT NOT NULL,
	version TEXT NOT NULL,
	jpeg    BLOB NOT NULL,
	PRIMARY KEY (photo, what, version),
	FOREIGN KEY (photo, what, version) REFERENCES measurements (photo, what, version)
) STRICT;

CREATE TABLE decisions (                        -- a person's word; never changed, only followed by another
	uid       TEXT PRIMARY KEY,
	part_id   TEXT NOT NULL REFERENCES parts (id),
	field     TEXT NOT NULL,                    -- size, length, sley-width, height, kind, gone
	label     TEXT NOT NULL DEFAULT '',
	system    TEXT NOT NULL DEFAULT '',
	value     REAL,                             -- dents per inch, or inches
	withdrawn INTEGER NOT NULL DEFAULT 0,       -- takes the word before it back
	note      TEXT NOT NULL DEFAULT '',
	at        INTEGER NOT NULL
) STRICT;
CREATE INDEX decisions_by_part ON decisions (part_id, field, at);

CREATE TABLE tags (                             -- ids printed on blank tags, so that no part is given one by chance
	id         TEXT PRIMARY KEY,
	printed_at INTEGER NOT NULL
) STRICT;

CREATE TABLE looms (
	key   TEXT PRIMARY KEY,                     -- the name in lower case
	name  TEXT NOT NULL,
	facts TEXT NOT NULL,                        -- JSON
	at    INTEGER NOT NULL
) STRICT;

CREATE TABLE orders (
	uid   TEXT PRIMARY KEY,
	title TEXT NOT NULL DEFAULT '',
	state TEXT NOT NULL,                        -- draft, sent, received
	facts TEXT NOT NULL DEFAULT '',             -- JSON
	at    INTEGER NOT NULL
) STRICT;

CREATE TABLE order_lines (
	order_uid TEXT NOT NULL REFERENCES orders (uid),
	line      INTEGER NOT NULL,
	part_id   TEXT REFERENCES parts (id),
	quantity  INTEGER NOT NULL,
	words     TEXT NOT NULL,
	facts     TEXT NOT NULL DEFAULT '',         -- JSON
	PRIMARY KEY (order_uid, line)
) STRICT;
CREATE INDEX order_lines_by_part ON order_lines (part_id);
`,
}

// schemaVersion is the version this program reads and writes.
var schemaVersion = len(migrations)
