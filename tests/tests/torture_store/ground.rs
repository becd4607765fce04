//! What the tests stand on: stores, small records, and how long a campaign is.

use std::sync::Arc;

use daemon::clock::StandingClock;
use daemon::desk::Desk;
use daemon::policy_set;
use daemon::records::Usage;
use daemon::register::{Faults, read_folder};
use daemon::store::write::Deed;
use daemon::store::{Store, StoreError, Writer};
use policies::load::{PolicyFile, PolicySet};
use policies::zone::Instant;
use tests::small_service::{POLICIES, REGISTER};
use tests::stores::{self, Database};

/// A moment of the small service's life.
pub const NOW: Instant = Instant(1_790_000_000_000_000);

/// The short form's size, or the full one's where `TALLOW_CAMPAIGN=full`.
pub fn size(short: usize, full: usize) -> usize {
    if std::env::var("TALLOW_CAMPAIGN").is_ok_and(|form| form == "full") { full } else { short }
}

/// A database that several stores can be opened over, of either kind.
pub struct Shared {
    database: Database,
    _folder: tempfile::TempDir,
}

impl Shared {
    pub fn new() -> Shared {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("tallow.db").display().to_string();
        let database =
            stores::server().map_or_else(|| Database::in_file(&file), |server| Database::on(&server));
        Shared { database, _folder: folder }
    }

    pub async fn open(&self) -> Store {
        Store::open(self.database.address()).await.unwrap()
    }
}

pub fn deed(action: &str) -> Deed {
    Deed { actor: "test".to_owned(), action: action.to_owned(), at: NOW }
}

pub fn launch(key: &str, at: i64) -> Usage {
    let (host, meter) = ("LC-1".to_owned(), "launches".to_owned());
    Usage { key: key.to_owned(), host, meter, at, count: Some(1_000_000), ..Usage::default() }
}

/// Writes one record and says whether that is acknowledged.
pub async fn log(store: &Store, key: &str) -> Result<(), StoreError> {
    let row = launch(key, 0);
    store.write(deed("log"), async |tx: &mut Writer| tx.append_new(&[row]).await).await
}

/// Keys of every row of use that is kept.
pub async fn keys(store: &Store) -> std::collections::BTreeSet<String> {
    store.newest::<Usage>().await.unwrap().into_keys().collect()
}

pub fn rules() -> Arc<PolicySet> {
    let files =
        POLICIES.iter().map(|(name, text)| PolicyFile { name: (*name).to_owned(), text: (*text).to_owned() });
    Arc::new(policy_set::check(&files.collect::<Vec<_>>()).unwrap())
}

pub fn desk(store: Store, now: Instant) -> Desk {
    Desk::new(store, rules(), Arc::new(StandingClock(now)), "test".to_owned())
}

/// Takes the small service's register in.
pub async fn take_in(desk: &Desk) {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in REGISTER {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let faults = Faults::default();
    let sheets = read_folder(folder.path(), &faults).unwrap();
    desk.import(&sheets, &faults, false).await.unwrap();
}

/// Numbers that look random and are the same for the same seed.
pub struct Seeded(pub u64);

impl Seeded {
    pub fn below(&mut self, most: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % most
    }
}
