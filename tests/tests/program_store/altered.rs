//! What is altered past the desk: refused by the guards, or found by the chain and by verify.

use super::*;

/// Hand-written attempts, beside an UPDATE and a DELETE of every table: 50 and more with those.
const ATTEMPTS: [&str; 26] = [
    "UPDATE work SET outcome = 'failed' WHERE key = 'W-1'",
    "UPDATE work SET note = note",
    "UPDATE OR IGNORE work SET outcome = 'failed'",
    "UPDATE OR REPLACE work SET key = 'W-2', version = 1 WHERE key = 'W-1'",
    "UPDATE OR ROLLBACK work SET void = 1",
    "UPDATE OR FAIL work SET void = 1",
    "UPDATE work SET void = 1 RETURNING *",
    "UPDATE work SET rowid = 99 WHERE key = 'W-1'",
    "UPDATE work SET (at, day) = (0, NULL)",
    "UPDATE work SET outcome = i.kind FROM item AS i WHERE i.key = work.item",
    "WITH one AS (SELECT min(id) AS id FROM work) UPDATE work SET at = 0 WHERE id = (SELECT id FROM one)",
    "UPDATE usage SET count = count + 1000000 WHERE id IN (SELECT max(id) FROM usage)",
    "UPDATE link SET hash = digest",
    "UPDATE link SET prev = (SELECT hash FROM link WHERE seq = 1) WHERE seq = 3",
    "DELETE FROM work WHERE key = 'W-1'",
    "DELETE FROM work WHERE id = (SELECT max(id) FROM work) RETURNING key",
    "WITH one AS (SELECT max(id) AS id FROM usage) DELETE FROM usage WHERE id IN one",
    "DELETE FROM link WHERE seq = (SELECT max(seq) FROM link)",
    "INSERT OR REPLACE INTO work (id, link, known_at, key, version, void, item, rule, at, outcome) \
     SELECT id, link, known_at, key, version, void, item, rule, at, 'failed' FROM work WHERE key = 'W-1'",
    "REPLACE INTO work (link, known_at, key, version, void, item, rule, at, outcome) \
     SELECT link, known_at, key, version, void, item, rule, at, 'failed' FROM work WHERE key = 'W-1'",
    "REPLACE INTO usage SELECT * FROM usage WHERE id = 1",
    "REPLACE INTO person (id, link, known_at, key, version, void, name, role) VALUES (1, 1, 0, 'x', 1, 0, 'X', 'reader')",
    "INSERT OR REPLACE INTO link SELECT seq, at, 'nobody', action, digest, prev, hash FROM link WHERE seq = 1",
    "INSERT OR REPLACE INTO link SELECT 9, at, actor, action, digest, prev, hash FROM link WHERE seq = 1",
    "INSERT INTO work SELECT * FROM work WHERE key = 'W-1' ON CONFLICT (id) DO UPDATE SET outcome = 'failed'",
    "INSERT INTO usage SELECT * FROM usage WHERE id = 1 ON CONFLICT (key, version) DO UPDATE SET count = 1",
];

#[tokio::test]
async fn every_way_to_alter_a_record_is_refused() {
    let room = full_file();
    take_a_set_up(&open(&room).await).await;
    let db = raw(&room).await;
    let before = dump(&db).await;
    let tables = || RECORDS.into_iter().chain(["link"]);
    let mut attempts: Vec<String> = ATTEMPTS.map(str::to_owned).to_vec();
    attempts.extend(tables().map(|table| format!("DELETE FROM {table}")));
    attempts.extend(RECORDS.map(|table| format!("UPDATE {table} SET known_at = 0")));
    attempts.push("UPDATE link SET actor = 'nobody'".to_owned());
    assert!(attempts.len() >= 50);
    for sql in &attempts {
        let refused = db.execute_unprepared(sql).await.expect_err(sql);
        assert!(refused.to_string().contains("is append-only"), "{sql}: {refused}");
    }
    assert_eq!(dump(&db).await, before);
    drop(db);
    assert_eq!(open(&room).await.check().await.unwrap(), Vec::<String>::new());
}

async fn guards_off(db: &DatabaseConnection) -> Vec<String> {
    if is_embedded(db) {
        let guards = texts(db, "SELECT name FROM sqlite_schema WHERE type = 'trigger'").await;
        let off = guards.iter().map(|guard| format!("DROP TRIGGER \"{guard}\""));
        return off.chain(["PRAGMA foreign_keys = OFF".to_owned()]).collect();
    }
    RECORDS.iter().chain(&["link"]).map(|table| format!("ALTER TABLE {table} DISABLE TRIGGER USER")).collect()
}

/// Takes the guards away, tampers, and says what the chain makes of it.
async fn faults_after(room: &Room, tampering: &[&str]) -> Vec<String> {
    let mut options = ConnectOptions::new(room.address().replace("allow_unsafe_database=true&", ""));
    // One connection, so that what is switched off stays off.
    options.max_connections(1);
    let db = Database::connect(options).await.unwrap();
    for sql in guards_off(&db).await {
        run(&db, &sql).await;
    }
    for sql in tampering {
        let changed = db.execute_unprepared(sql).await.unwrap_or_else(|error| panic!("{sql}: {error}"));
        assert!(changed.rows_affected() > 0, "{sql} changed nothing");
    }
    db.close().await.unwrap();
    let found = open(room).await.check_chain().await.unwrap();
    found.into_iter().map(|fault| fault.0).collect()
}

/// Each tampering, and the words in which it is found.
const TAMPERINGS: [(&str, &[&str], &str); 14] = [
    (
        "an edited row",
        &["UPDATE work SET outcome = 'failed' WHERE key = 'W-1'"],
        "link 1: its records digest to",
    ),
    (
        "an emptied cell",
        &["UPDATE work SET measurements = NULL WHERE key = 'W-1'"],
        "link 1: its records digest to",
    ),
    ("a voided row", &["UPDATE usage SET void = TRUE WHERE version = 1"], "link 1: its records digest to"),
    (
        "another moment of knowing",
        &["UPDATE work SET known_at = known_at - 1 WHERE key = 'W-1'"],
        "link 1: its records digest to",
    ),
    (
        "another version number",
        &["UPDATE usage SET version = 7 WHERE version = 2"],
        "link 4: its records digest to",
    ),
    ("a deleted row", &["DELETE FROM work WHERE key = 'W-1'"], "link 1: its records digest to"),
    ("a deleted correction", &["DELETE FROM usage WHERE version = 2"], "link 4: its records digest to"),
    (
        "an added row",
        &["INSERT INTO usage (link, known_at, key, version, void, host, at, meter, count) \
           SELECT 4, known_at, 'U-9', 1, FALSE, host, at, meter, count FROM usage WHERE version = 2"],
        "link 4: its records digest to",
    ),
    ("a row moved to another link", &["UPDATE stock SET link = 4"], "link 3: its records digest to"),
    (
        "an old version put after the new",
        &["UPDATE usage SET id = 99 WHERE version = 1"],
        "usage \"U-1\" of link 1 stands after link 4",
    ),
    ("another actor", &["UPDATE link SET actor = 'nobody' WHERE seq = 3"], "link 3: it hashes to"),
    ("another hash", &["UPDATE link SET hash = digest WHERE seq = 3"], "link 4 does not follow link 3"),
    (
        "two links that changed places",
        &[
            "UPDATE link SET seq = 99 WHERE seq = 1",
            "UPDATE link SET seq = 1 WHERE seq = 3",
            "UPDATE link SET seq = 3 WHERE seq = 99",
        ],
        "link 1 does not follow link 0",
    ),
    (
        "a link copied behind the last",
        &[
            "INSERT INTO link SELECT 5, at, actor, action, digest, prev, substr(hash, 2) || substr(hash, 1, 1) FROM link WHERE seq = 4",
        ],
        "link 5 does not follow link 4",
    ),
];

#[tokio::test]
async fn the_chain_finds_what_was_altered_past_the_guards() {
    for (what, tampering, words) in TAMPERINGS {
        let room = full_room();
        let faults = faults_after(&room, tampering).await;
        assert!(faults.iter().any(|fault| fault.contains(words)), "{what}: {faults:?}");
        let verified = room.tallow("verify").no();
        assert!(verified.contains(&format!("record chain: {}", faults[0])), "{what}: {verified}");
    }
}

#[tokio::test]
async fn records_without_their_link_are_found() {
    let room = full_room();
    let faults = faults_after(&room, &["DELETE FROM link WHERE seq = 4"]).await;
    assert_eq!(faults, ["records belong to link 4, which is missing"]);
    let room = full_room();
    let faults = faults_after(&room, &["DELETE FROM link WHERE seq = 3"]).await;
    assert!(faults.contains(&"link 4 does not follow link 2".to_owned()), "{faults:?}");
    assert!(faults.contains(&"records belong to link 3, which is missing".to_owned()), "{faults:?}");
    let room = full_room();
    let added = "INSERT INTO usage (link, known_at, key, version, void, host, at, meter, count) VALUES (0, 0, 'U-0', 1, FALSE, 'LC-1', 0, 'launches', 1)";
    let faults = faults_after(&room, &[added]).await;
    assert!(faults.contains(&"records belong to link 0, which is missing".to_owned()), "{faults:?}");
}

/// Links cut off at the end together with their records leave a chain that holds: no chain alone can tell. The
/// head that `verify` prints tells, if it was noted elsewhere.
#[tokio::test]
async fn a_cut_tail_shows_only_in_the_head_that_was_noted() {
    let room = full_room();
    let head = |room: &Room| room.tallow("verify").done().split("head ").nth(1).unwrap().to_owned();
    let noted = head(&room);
    let cut = [
        "DELETE FROM usage WHERE link = 4",
        "DELETE FROM work WHERE link = 4",
        "DELETE FROM link WHERE seq = 4",
    ];
    assert_eq!(faults_after(&room, &cut).await, Vec::<String>::new());
    let stored = room.tallow("verify").no();
    assert!(!stored.contains("record chain"), "{stored}");
    assert!(stored.contains("due table: "), "the due table still remembers: {stored}");
    // A sweep, or any import, works the table out again; then only the head is left to tell.
    room.write("none/stations.csv", "station,name,time_zone\nnew,New,UTC\n");
    room.tallow("import none").done();
    assert_ne!(head(&room), noted);
}

#[tokio::test]
async fn verify_lists_what_differs_in_the_due_table() {
    let room = full_room();
    let db = raw(&room).await;
    run(&db, "UPDATE due SET due_on = '2031-01-01' WHERE item = 'F-1' AND rule = 'fall-examination'").await;
    run(&db, "DELETE FROM due WHERE item = 'S-1'").await;
    run(&db, "UPDATE due SET rule = 'no-rule' WHERE item = 'L-1'").await;
    db.close().await.unwrap();
    let listed = room.tallow("verify").no();
    for line in [
        "due table: F-1 fall-examination: due_on is 2031-01-01, reckoned 2020-07-31",
        "due table: S-1 shackle-proof-load: the records give a row, but none is stored",
        "due table: L-1 no-rule: stored, but the records give no such row",
        "due table: L-1 line-renewal: the records give a row, but none is stored",
        "4 difference(s)",
    ] {
        assert!(listed.contains(line), "{line}\n{listed}");
    }
}

/// A mail that was changed, a digest that nobody composed, and a shelf with less than nothing on it.
#[tokio::test]
async fn verify_names_notices_and_stock_that_differ() {
    let room = full_room();
    room.write("stock/parts.csv", "part,description,kind,lead_time,unit\nWR-16,Wire,fall,8 weeks,m\n");
    room.write(
        "stock/stock.csv",
        "key,part,place,at,quantity,reason\nM-1,WR-16,stores,2026-01-02,40,receipt\nM-2,WR-16,stores,2026-02-03,-46.5,issue\n",
    );
    room.tallow("import stock").done();
    let db = raw(&room).await;
    let bytes = "To: mechanic@bay.example";
    let bytes =
        if is_embedded(&db) { format!("CAST('{bytes}' AS BLOB)") } else { format!("'{bytes}'::bytea") };
    let forged = "INSERT INTO notice (id, number, kind, occasion, person, recipient, urgent, subject, message_id, token, \
         composed_at, state, attempts, due_at, next_attempt_at) VALUES (901, 'N-2026-0901', 'due work', 'digest', \
         'mechanic@bay.example', 'mechanic@bay.example', FALSE, 's', '<m@x.example>', 't', 0, 'sent', 1, 0, 0)";
    run(&db, forged).await;
    run(&db, &format!("INSERT INTO notice_mail (notice, bytes) VALUES (901, {bytes})")).await;
    run(&db, "INSERT INTO setting (name, value) VALUES ('told mechanic@bay.example', '2026-01-05T00:00:00')")
        .await;
    db.close().await.unwrap();
    let listed = room.tallow("verify").no();
    for line in [
        "stock: WR-16 at stores: -6.5 after M-2 of 3 Feb 2026, reckoned 0 or more",
        "notices: mechanic@bay.example: told up to 5 Jan 2026 00:00, reckoned ",
        "notices: N-2026-0901: its frozen mail does not carry its number N-2026-0901",
        "3 difference(s)",
    ] {
        assert!(listed.contains(line), "{line}\n{listed}");
    }
}
