CREATE TABLE doubt_answers (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    item TEXT NOT NULL,
    answer TEXT NOT NULL CHECK (answer IN ('twin', 'both', 'logged', 'other-work')),
    by TEXT NOT NULL,
    first TEXT,
    second TEXT,
    read_on TEXT,
    voided TEXT,
    note TEXT,
    UNIQUE (key, version),
    CHECK ((first IS NULL) = (second IS NULL)),
    CHECK ((first IS NULL) <> (read_on IS NULL))
) STRICT
