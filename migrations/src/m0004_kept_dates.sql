CREATE TABLE kept_date (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    item TEXT NOT NULL,
    rule TEXT NOT NULL,
    calendar_due TEXT,
    after_due TEXT,
    held INTEGER NOT NULL CHECK (held IN (0, 1)),
    more TEXT,
    last_work_at INTEGER,
    cause TEXT NOT NULL,
    acknowledged_by TEXT,
    reason TEXT,
    UNIQUE (key, version)
) STRICT
