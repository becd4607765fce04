-- Beside the record chain: how people sign in. Secrets are kept as digests only; the seed of a second factor cannot be.
CREATE TABLE account (
    email TEXT PRIMARY KEY,
    password TEXT,
    password_set_at INTEGER,
    secret TEXT,
    secret_offered TEXT,
    last_step INTEGER,
    disabled INTEGER NOT NULL CHECK (disabled IN (0, 1)),
    made_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE session (
    digest TEXT PRIMARY KEY,
    email TEXT NOT NULL,
    csrf TEXT NOT NULL,
    device TEXT NOT NULL,
    made_at INTEGER NOT NULL,
    seen_at INTEGER NOT NULL,
    ends_at INTEGER NOT NULL,
    signed_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE INDEX session_email ON session (email);

CREATE TABLE api_token (
    digest TEXT PRIMARY KEY,
    label TEXT NOT NULL,
    email TEXT NOT NULL,
    made_at INTEGER NOT NULL,
    expires_at INTEGER,
    revoked_at INTEGER
) STRICT, WITHOUT ROWID;

CREATE UNIQUE INDEX api_token_label ON api_token (email, label) WHERE revoked_at IS NULL;

CREATE TABLE view_link (
    digest TEXT PRIMARY KEY,
    opens TEXT NOT NULL,
    person TEXT NOT NULL,
    made_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    revoked_at INTEGER
) STRICT, WITHOUT ROWID;

CREATE TABLE sign_in_code (
    digest TEXT PRIMARY KEY,
    email TEXT NOT NULL,
    made_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    used_at INTEGER
) STRICT, WITHOUT ROWID;

CREATE TABLE throttle (
    name TEXT PRIMARY KEY,
    failures INTEGER NOT NULL,
    next_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID
