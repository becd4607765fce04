CREATE TABLE policy_set (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    hash TEXT NOT NULL CHECK (length(hash) = 64),
    files TEXT NOT NULL,
    effective_from TEXT NOT NULL,
    by TEXT NOT NULL,
    second TEXT,
    reason TEXT,
    safety INTEGER NOT NULL CHECK (safety IN (0, 1)),
    UNIQUE (key, version)
) STRICT
