-- Records name their link without a foreign key: a link comes last in its transaction, and the database would look
-- through every record to see which had waited for it. The check of the chain finds records without their link.

CREATE TABLE link (
    seq INTEGER PRIMARY KEY,
    at INTEGER NOT NULL,
    actor TEXT NOT NULL,
    action TEXT NOT NULL,
    digest TEXT NOT NULL CHECK (length(digest) = 64),
    prev TEXT NOT NULL CHECK (length(prev) = 64),
    hash TEXT NOT NULL UNIQUE CHECK (length(hash) = 64)
) STRICT;

CREATE TABLE station (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    name TEXT NOT NULL,
    time_zone TEXT NOT NULL,
    latitude TEXT,
    longitude TEXT,
    flanks TEXT,
    UNIQUE (key, version)
) STRICT;

CREATE TABLE person (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    name TEXT NOT NULL,
    role TEXT NOT NULL,
    station TEXT,
    competence TEXT,
    deputy TEXT,
    second_address TEXT,
    away_from TEXT,
    away_until TEXT,
    UNIQUE (key, version),
    CHECK ((away_from IS NULL) = (away_until IS NULL))
) STRICT;

CREATE TABLE item (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    kind TEXT NOT NULL,
    station TEXT,
    set_name TEXT,
    manufactured_on TEXT,
    entered_service_on TEXT,
    serial TEXT,
    certificate TEXT,
    part TEXT,
    cut_from TEXT,
    quantity INTEGER,
    opening_use TEXT,
    attributes TEXT,
    UNIQUE (key, version)
) STRICT;

CREATE TABLE fitting (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    item TEXT NOT NULL,
    at INTEGER NOT NULL,
    day TEXT,
    host TEXT NOT NULL,
    position TEXT NOT NULL,
    removed_at INTEGER,
    removed_day TEXT,
    UNIQUE (key, version)
) STRICT;

CREATE TABLE usage (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    host TEXT NOT NULL,
    at INTEGER NOT NULL,
    day TEXT,
    meter TEXT NOT NULL,
    count INTEGER CHECK (count > 0),
    reading INTEGER,
    note TEXT,
    UNIQUE (key, version),
    CHECK ((count IS NULL) <> (reading IS NULL))
) STRICT;

CREATE TABLE work (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    item TEXT NOT NULL,
    rule TEXT NOT NULL,
    at INTEGER NOT NULL,
    day TEXT,
    outcome TEXT NOT NULL CHECK (outcome IN ('passed', 'failed', 'done')),
    by TEXT,
    certificate TEXT,
    measurements TEXT,
    note TEXT,
    UNIQUE (key, version)
) STRICT;

CREATE TABLE state (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    item TEXT NOT NULL,
    at INTEGER NOT NULL,
    day TEXT,
    state TEXT NOT NULL CHECK (state IN ('quarantined', 'released', 'withdrawn', 'laid up', 'returned')),
    by TEXT,
    reason TEXT,
    UNIQUE (key, version)
) STRICT;

CREATE TABLE concession (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    item TEXT NOT NULL,
    rule TEXT NOT NULL,
    from_date TEXT NOT NULL,
    until_date TEXT NOT NULL,
    conditions TEXT NOT NULL,
    by TEXT NOT NULL,
    second TEXT,
    UNIQUE (key, version)
) STRICT;

CREATE TABLE certificate (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    item TEXT NOT NULL,
    number TEXT NOT NULL,
    issuer TEXT NOT NULL,
    issued_on TEXT NOT NULL,
    valid_until TEXT,
    file TEXT,
    UNIQUE (key, version)
) STRICT;

CREATE TABLE part (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    description TEXT NOT NULL,
    kind TEXT NOT NULL,
    lead_time TEXT NOT NULL,
    shelf_life TEXT,
    unit TEXT NOT NULL,
    pack TEXT,
    price TEXT,
    currency TEXT,
    UNIQUE (key, version)
) STRICT;

CREATE TABLE stock (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    link INTEGER NOT NULL,
    known_at INTEGER NOT NULL,
    key TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version > 0),
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    part TEXT NOT NULL,
    place TEXT NOT NULL,
    at INTEGER NOT NULL,
    day TEXT,
    quantity INTEGER NOT NULL,
    reason TEXT NOT NULL CHECK (reason IN ('receipt', 'issue', 'count', 'scrap')),
    UNIQUE (key, version)
) STRICT;

CREATE INDEX usage_corrected ON usage (key, version) WHERE version > 1;

CREATE INDEX fitting_host ON fitting (host)
