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
    kind TEXT NOT NULL,
    occasion TEXT NOT NULL,
    person TEXT NOT NULL,
    recipient TEXT NOT NULL,
    urgent INTEGER NOT NULL CHECK (urgent IN (0, 1)),
    subject TEXT NOT NULL,
    message_id TEXT NOT NULL UNIQUE,
    token TEXT NOT NULL,
    supersedes TEXT,
    composed_at INTEGER NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('queued', 'claimed', 'data_begun', 'sent', 'deferred', 'failed', 'uncertain', 'parked', 'cancelled', 'bounced')),
    attempts INTEGER NOT NULL CHECK (attempts >= 0),
    crashes INTEGER NOT NULL DEFAULT 0 CHECK (crashes >= 0),
    doubts INTEGER NOT NULL DEFAULT 0 CHECK (doubts >= 0),
    holder TEXT,
    due_at INTEGER NOT NULL,
    next_attempt_at INTEGER NOT NULL,
    last_error TEXT,
    sent_at INTEGER,
    reply TEXT,
    dropped_at INTEGER,
    UNIQUE (occasion, recipient)
) STRICT;

CREATE INDEX notice_waiting ON notice (next_attempt_at) WHERE state NOT IN ('sent', 'failed', 'parked', 'cancelled', 'bounced');

CREATE INDEX notice_due ON notice (due_at);

CREATE INDEX notice_person ON notice (person);

CREATE INDEX notice_supersedes ON notice (supersedes);

CREATE TABLE notice_mail (
    notice INTEGER PRIMARY KEY REFERENCES notice (id),
    bytes BLOB NOT NULL
) STRICT;

CREATE TABLE notice_line (
    notice INTEGER NOT NULL REFERENCES notice (id),
    line INTEGER NOT NULL,
    item TEXT NOT NULL,
    rule TEXT NOT NULL,
    occurrence TEXT NOT NULL,
    stage TEXT NOT NULL,
    due_on TEXT,
    PRIMARY KEY (notice, line, item, rule)
) STRICT, WITHOUT ROWID;

CREATE INDEX notice_line_item ON notice_line (item, rule, occurrence);

CREATE TABLE notice_answer (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    notice INTEGER NOT NULL REFERENCES notice (id),
    line INTEGER,
    answer TEXT NOT NULL CHECK (answer IN ('done', 'later', 'not here', 'read')),
    sender TEXT NOT NULL,
    said_at INTEGER NOT NULL,
    noted_at INTEGER NOT NULL,
    mail TEXT NOT NULL,
    note TEXT
) STRICT;

CREATE UNIQUE INDEX notice_answer_once ON notice_answer (mail, notice, line);

CREATE INDEX notice_answer_notice ON notice_answer (notice);

CREATE TABLE bad_address (
    address TEXT PRIMARY KEY,
    since INTEGER NOT NULL,
    why TEXT NOT NULL,
    notice TEXT,
    cleared_at INTEGER,
    cleared_by TEXT
) STRICT, WITHOUT ROWID;

CREATE TABLE lease (
    name TEXT PRIMARY KEY,
    holder TEXT NOT NULL,
    fence INTEGER NOT NULL CHECK (fence > 0),
    until INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE setting (
    name TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID
