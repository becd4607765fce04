CREATE TABLE loan (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    item TEXT NOT NULL,
    station TEXT NOT NULL,
    from_date TEXT NOT NULL,
    until_date TEXT NOT NULL CHECK (until_date >= from_date),
    by TEXT NOT NULL,
    note TEXT,
    UNIQUE (key, version)
) STRICT
