CREATE TABLE part_order (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    part TEXT NOT NULL,
    quantity INTEGER NOT NULL CHECK (quantity > 0),
    place TEXT NOT NULL,
    ordered_on TEXT NOT NULL,
    needed_by TEXT NOT NULL,
    received_on TEXT,
    certificate TEXT,
    by TEXT NOT NULL,
    UNIQUE (key, version)
) STRICT;
ALTER TABLE part ADD COLUMN serves INTEGER
