CREATE TABLE substitution (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    item TEXT NOT NULL,
    host TEXT NOT NULL,
    position TEXT NOT NULL,
    by TEXT NOT NULL,
    reason TEXT NOT NULL CHECK (reason <> ''),
    until_date TEXT,
    UNIQUE (key, version)
) STRICT
