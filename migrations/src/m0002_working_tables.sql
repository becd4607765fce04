CREATE TABLE due (
    item TEXT NOT NULL,
    rule TEXT NOT NULL,
    as_of TEXT NOT NULL,
    standing TEXT NOT NULL,
    due_on TEXT,
    because TEXT,
    calendar_due TEXT,
    usage_due TEXT,
    p10 TEXT,
    p50 TEXT,
    p90 TEXT,
    after_due TEXT,
    meter TEXT,
    used INTEGER,
    usage_limit INTEGER,
    used_up INTEGER NOT NULL CHECK (used_up IN (0, 1)),
    held INTEGER NOT NULL CHECK (held IN (0, 1)),
    PRIMARY KEY (item, rule)
) STRICT, WITHOUT ROWID;

CREATE TABLE notice (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    number TEXT NOT NULL UNIQUE,
    occasion TEXT NOT NULL,
    recipient TEXT NOT NULL,
    subject TEXT NOT NULL,
    message_id TEXT NOT NULL UNIQUE,
    bytes BLOB NOT NULL,
    composed_at INTEGER NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('queued', 'claimed', 'data_begun', 'sent', 'deferred', 'failed', 'uncertain', 'parked')),
    attempts INTEGER NOT NULL CHECK (attempts >= 0),
    next_attempt_at INTEGER NOT NULL,
    last_error TEXT,
    sent_at INTEGER,
    reply TEXT,
    UNIQUE (occasion, recipient)
) STRICT;

CREATE INDEX notice_waiting ON notice (next_attempt_at) WHERE state NOT IN ('sent', 'failed', 'parked');

CREATE TABLE notice_line (
    notice INTEGER NOT NULL REFERENCES notice (id),
    line INTEGER NOT NULL,
    item TEXT NOT NULL,
    rule TEXT NOT NULL,
    occurrence TEXT NOT NULL,
    stage TEXT NOT NULL,
    due_on TEXT,
    PRIMARY KEY (notice, line)
) STRICT, WITHOUT ROWID;

CREATE INDEX notice_line_item ON notice_line (item, rule, occurrence);

CREATE TABLE setting (
    name TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID
