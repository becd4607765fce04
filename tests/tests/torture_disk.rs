//! Disks that are full, cannot be written, lose the end of a log, or flip a byte. No disk is mounted for it: a limit on
//! the size of files stands for a full one (setrlimit(2), `RLIMIT_FSIZE`: the write fails with EFBIG).
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::Arc;

use daemon::clock::{Clock, SystemClock};
use daemon::desk::Desk;
use daemon::policy_set;
use daemon::records::Usage;
use daemon::store::Store;
use daemon::verify::differences;
use policies::load::PolicyFile;
use tests::harness::{Room, program};
use tests::small_service::{self, POLICIES};

/// Sizes from one page on, each of which is met by another write.
const LIMITS: [u64; 12] = [1, 4, 8, 16, 24, 32, 48, 64, 96, 128, 256, 4_096];

/// The program in a room, run by another one.
fn under(room: &Room, by: &[&str], words: &[&str]) -> Output {
    let own = room.command();
    let mut command = Command::new(by[0]);
    command.args(&by[1..]).arg(program()).args(words).current_dir(own.get_current_dir().unwrap());
    command.env_clear().env("PATH", "/usr/sbin:/usr/bin:/sbin:/bin");
    for (name, value) in own.get_envs() {
        command.env(name, value.unwrap());
    }
    command.output().unwrap()
}

/// Where no file may grow beyond so many KiB. Without the trap the program would be ended instead of told.
fn limited(room: &Room, kib: u64, words: &[&str]) -> Output {
    let bytes = (kib * 1_024).to_string();
    under(room, &["bash", "-c", "trap '' XFSZ; exec prlimit --fsize=\"$0\" \"$@\"", &bytes], words)
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn stocked() -> Room {
    small_service::imported_in(Room::in_file())
}

fn is_kept(room: &Room, key: &str) -> bool {
    let out = format!("out-{key}");
    room.tallow_words(&["export", &out]).done();
    room.read(&format!("{out}/usage.csv")).lines().any(|line| line.starts_with(key))
}

#[test]
fn torture_20_no_room_for_a_launch() {
    let room = stocked();
    let mut refused = 0;
    for (number, kib) in LIMITS.into_iter().enumerate() {
        let key = format!("K{number}");
        let at = SystemClock.now().timestamp().to_string();
        let words = ["log", "launch", "--station", "bay", "--key", &key, "--at", &at];
        let ended = limited(&room, kib, &words);
        room.tallow("verify").done();
        let acknowledged = ended.status.success();
        assert!(!said(&ended).contains("panicked"), "{kib} KiB: {}", said(&ended));
        assert!(acknowledged || !said(&ended).is_empty(), "{kib} KiB: no word of why");
        assert_eq!(is_kept(&room, &key), acknowledged, "{kib} KiB: {}", said(&ended));
        if !acknowledged {
            refused += 1;
            // There is room again: the same launch goes in.
            room.tallow_words(&words).done();
            assert!(
                std::fs::remove_dir_all(room.path(&format!("out-{key}"))).is_ok() && is_kept(&room, &key)
            );
        }
    }
    assert!((1..LIMITS.len()).contains(&refused), "{refused} refused");
}

#[test]
fn torture_20_no_room_for_a_new_store() {
    let mut refused = 0;
    for kib in LIMITS {
        let room = Room::in_file();
        small_service::fill(&room);
        let ended = limited(&room, kib, &["import", "register"]);
        assert!(!said(&ended).contains("panicked"), "{kib} KiB: {}", said(&ended));
        refused += usize::from(!ended.status.success());
        // Whatever of the schema was made is gone on with.
        room.tallow("verify").done();
        let again = room.tallow("import register").done();
        assert_eq!(again == "nothing new\n", ended.status.success(), "{kib} KiB: {again}");
        room.tallow("verify").done();
    }
    assert!((1..LIMITS.len()).contains(&refused), "{refused} refused");
}

#[test]
fn torture_21_no_room_for_a_backup() {
    let room = stocked();
    room.tallow("backup first.db").done();
    let first = std::fs::read(room.path("first.db")).unwrap();
    for kib in [1, 16, 64] {
        let ended = limited(&room, kib, &["backup", "second.db"]);
        assert!(!ended.status.success() && !said(&ended).is_empty(), "{kib} KiB");
        let folder = std::fs::read_dir(room.path(".")).unwrap();
        let names: Vec<String> =
            folder.map(|file| file.unwrap().file_name().into_string().unwrap()).collect();
        assert!(names.iter().all(|name| !name.contains("second")), "{kib} KiB: {names:?}");
        assert_eq!(std::fs::read(room.path("first.db")).unwrap(), first);
        room.tallow("verify").done();
    }
    room.tallow("backup second.db").done();
}

fn set_mode(path: &Path, mode: u32) {
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
}

/// The folder and the file cannot be written: for root, which may write anything, they belong to another user; for
/// everybody else they are read only.
#[test]
fn torture_22_nothing_can_be_written() {
    let room = stocked();
    let own = std::fs::metadata("/proc/self").map(|own| std::os::unix::fs::MetadataExt::uid(&own)).unwrap();
    let before = std::fs::read(room.path("tallow.db")).unwrap();
    let nobody: &[&str] = if own == 0 {
        set_mode(&room.path("tallow.db"), 0o644);
        set_mode(&room.path("."), 0o755);
        &["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"]
    } else {
        set_mode(&room.path("tallow.db"), 0o444);
        set_mode(&room.path("."), 0o555);
        &["env"]
    };
    let at = SystemClock.now().timestamp().to_string();
    let ended = under(&room, nobody, &["log", "launch", "--station", "bay", "--key", "K", "--at", &at]);
    assert_eq!(ended.status.code(), Some(2), "{}", said(&ended));
    assert!(!said(&ended).is_empty() && !said(&ended).contains("panicked"), "{}", said(&ended));
    let served = under(&room, nobody, &["serve", "--listen", "127.0.0.1:0"]);
    assert!(!served.status.success() && !said(&served).contains("panicked"), "{}", said(&served));
    set_mode(&room.path("."), 0o755);
    set_mode(&room.path("tallow.db"), 0o644);
    assert_eq!(std::fs::read(room.path("tallow.db")).unwrap(), before);
    room.tallow("verify").done();
    assert!(!is_kept(&room, "K"));
}

async fn desk(path: &Path) -> Option<Desk> {
    let file =
        |(name, text): &(&str, &str)| PolicyFile { name: (*name).to_owned(), text: (*text).to_owned() };
    let set = policy_set::check(&POLICIES.iter().map(file).collect::<Vec<_>>()).unwrap();
    let opened = Store::open(&format!("sqlite:{}", path.display())).await;
    let store = opened.inspect_err(|error| println!("{}: {error:?}", path.display())).ok()?;
    Some(Desk::new(store, Arc::new(set), Arc::new(SystemClock), "test".to_owned()))
}

fn launch(number: usize) -> Usage {
    Usage {
        key: format!("torn {number}"),
        host: "LC-1".to_owned(),
        at: SystemClock.now().0 - 3_600_000_000,
        meter: "launches".to_owned(),
        count: Some(1_000_000),
        ..Usage::default()
    }
}

/// The power fails: the log ends anywhere. Launches are lost from the last one on, never one in the middle; what the
/// log held whole is there.
#[tokio::test]
async fn torture_24_a_torn_log() {
    let room = stocked();
    let path = room.path("tallow.db");
    let running = desk(&path).await.unwrap();
    let mut whole_from = Vec::new();
    let log = room.path("tallow.db-wal");
    for number in 0..5 {
        running.log_use(&[launch(number)]).await.unwrap();
        whole_from.push(usize::try_from(std::fs::metadata(&log).unwrap().len()).unwrap());
    }
    let (main, log) = (std::fs::read(&path).unwrap(), std::fs::read(&log).unwrap());
    let torn = room.path("torn.db");
    let mut cuts: Vec<usize> = (0..=30).map(|part| log.len() * part / 30).collect();
    cuts.extend(whole_from.iter().flat_map(|end| [*end, end - 1]));
    for cut in cuts {
        std::fs::write(&torn, &main).unwrap();
        let mut end = log[..cut].to_vec();
        // What was not synced may hold anything.
        end.extend(std::iter::repeat_n(0xA5, 4_096));
        std::fs::write(room.path("torn.db-wal"), end).unwrap();
        let _ = std::fs::remove_file(room.path("torn.db-shm"));
        let found = desk(&torn).await.unwrap();
        assert_eq!(found.store.check().await.unwrap(), [""; 0], "cut at {cut}");
        let kept = found.store.newest::<Usage>().await.unwrap();
        let there: Vec<bool> = (0..5).map(|number| kept.contains_key(&format!("torn {number}"))).collect();
        let count = there.iter().filter(|there| **there).count();
        assert!(there[..count].iter().all(|there| *there), "cut at {cut}: {there:?}");
        let acknowledged = whole_from.iter().filter(|end| **end <= cut).count();
        assert!(count >= acknowledged, "cut at {cut}: {count} of {acknowledged}");
        found.store.close().await.unwrap();
    }
}

/// One byte at the head of a page. It is found when the file is opened, by its check, or by the reckoning.
#[tokio::test]
async fn torture_25_a_flipped_byte() {
    let room = stocked();
    // A backup is one file: nothing of it waits in a write-ahead log.
    room.tallow("backup whole.db").done();
    let bytes = std::fs::read(room.path("whole.db")).unwrap();
    let flipped = room.path("flipped.db");
    let pages = bytes.len() / 4_096;
    assert!(pages > 30, "{pages} pages");
    for page in (1..pages).step_by(3) {
        let mut copy = bytes.clone();
        copy[page * 4_096] ^= 0x55;
        std::fs::write(&flipped, copy).unwrap();
        for beside in ["flipped.db-wal", "flipped.db-shm"] {
            let _ = std::fs::remove_file(room.path(beside));
        }
        let Some(desk) = desk(&flipped).await else { continue };
        let checked = desk.store.check().await;
        let found = match &checked {
            Ok(wrong) if wrong.is_empty() => {
                differences(&desk).await.map_or(true, |found| !found.differences.is_empty())
            }
            _ => true,
        };
        assert!(found, "page {page} of {pages}");
        let _ = desk.store.close().await;
    }
    assert_eq!(
        differences(&desk(&room.path("tallow.db")).await.unwrap()).await.unwrap().differences,
        [""; 0]
    );
}

/// A file has one daemon; another one says whose it is, and touches nothing.
#[test]
fn torture_26_a_second_daemon() {
    let room = stocked();
    room.write("tallow.toml", "");
    let first = room.serve();
    let second = room.tallow("serve --listen 127.0.0.1:0");
    assert_eq!(second.code, Some(2), "{}", second.err);
    assert!(second.err.contains(&format!("process {}", first.id())), "{}", second.err);
    assert_eq!(first.stop(), (Some(0), true));
    room.tallow("verify").done();
}

/// A file and its log that were copied at different times, while launches were logged and the log was emptied now and
/// then: such a mixture is refused, or is a whole earlier state. The program does not serve it either.
#[tokio::test]
async fn torture_28_a_file_copied_while_it_is_written() {
    use sea_orm::ConnectionTrait;
    const MANY: usize = 120;
    let room = stocked();
    let (path, mixed) = (room.path("tallow.db"), room.path("mixed.db"));
    let running = desk(&path).await.unwrap();
    let raw = sea_orm::Database::connect(format!("sqlite:{}", path.display())).await.unwrap();
    let (mut files, mut logs) = (Vec::new(), Vec::new());
    for number in 0..8 {
        // Enough of them to split pages: a log alone then does not hold all that it builds on.
        let rows: Vec<Usage> = (0..MANY).map(|row| launch(number * MANY + row)).collect();
        running.log_use(&rows).await.unwrap();
        if number % 3 == 1 {
            raw.execute_unprepared("PRAGMA wal_checkpoint(TRUNCATE)").await.unwrap();
        }
        files.push(std::fs::read(&path).unwrap());
        logs.push(std::fs::read(room.path("tallow.db-wal")).unwrap());
    }
    let (mut refused, mut whole) = (0, 0);
    for (file, log) in files.iter().flat_map(|file| logs.iter().map(move |log| (file, log))) {
        std::fs::write(&mixed, file).unwrap();
        std::fs::write(room.path("mixed.db-wal"), log).unwrap();
        let _ = std::fs::remove_file(room.path("mixed.db-shm"));
        let Some(found) = desk(&mixed).await else {
            refused += 1;
            continue;
        };
        let damage = found.store.damage().await.unwrap_or_else(|error| vec![error.to_string()]);
        if damage.is_empty() && found.store.check().await.is_ok_and(|wrong| wrong.is_empty()) {
            let kept = found.store.newest::<Usage>().await.unwrap();
            let there = (0..8 * MANY).map(|number| kept.contains_key(&format!("torn {number}")));
            assert!(there.is_sorted_by(|a, b| a >= b), "launches are missing in the middle");
            whole += 1;
            found.store.close().await.unwrap();
            continue;
        }
        let _ = found.store.close().await;
        if damage.is_empty() {
            continue;
        }
        refused += 1;
        if refused == 1 {
            std::fs::write(&mixed, file).unwrap();
            std::fs::write(room.path("mixed.db-wal"), log).unwrap();
            let _ = std::fs::remove_file(room.path("mixed.db-shm"));
            let serve = ["--database", "sqlite:mixed.db", "serve", "--listen", "127.0.0.1:0"];
            let ended = under(&room, &["timeout", "60"], &serve);
            assert_eq!(ended.status.code(), Some(2), "{}", said(&ended));
            assert!(said(&ended).contains("is damaged"), "{}", said(&ended));
        }
    }
    println!("row 28: of {} mixtures {refused} are refused and {whole} are whole", files.len() * logs.len());
    assert!(refused > 0 && whole >= files.len(), "{refused} refused, {whole} whole");
}
