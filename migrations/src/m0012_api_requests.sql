-- Beside the record chain: requests of other programs by their keys, so that one sent again is done once and answered
-- the same.
CREATE TABLE api_request (
    person TEXT NOT NULL,
    name TEXT NOT NULL,
    digest TEXT NOT NULL,
    at INTEGER NOT NULL,
    answer TEXT,
    PRIMARY KEY (person, name)
) STRICT, WITHOUT ROWID
