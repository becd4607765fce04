//! `tallow move`: a whole store is carried into an empty other.

use std::fs::File;

use anyhow::Context;
use clap::Args;

use super::say::say;
use super::{Answer, Settings};
use crate::clock::{Clock, SystemClock};
use crate::keeping::copy_files;
use crate::lifecycle::{SWEEPING, lock};
use crate::sending;
use crate::store::address::{file, shown};
use crate::store::moving::{Carried, carry};
use crate::store::{Store, StoreError, make_folder};

#[derive(Debug, Args)]
pub(super) struct Move {
    /// Store to carry; it stays as it is
    #[arg(long, value_name = "URL")]
    from: String,
    /// Empty store to carry it into
    #[arg(long, value_name = "URL")]
    to: String,
}

impl Move {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        anyhow::ensure!(self.from != self.to, "--from and --to are the same store");
        if let Some(path) = file(&self.from).filter(|path| !path.exists()) {
            anyhow::bail!("{} does not exist; correct --from", path.display());
        }
        let _locks = (locked(&self.from)?, locked(&self.to)?);
        let (from, to) = (open(&self.from).await?, open(&self.to).await?);
        let faults = from.check().await?;
        anyhow::ensure!(
            faults.is_empty(),
            "{} is not whole, and nothing was carried:\n{}",
            shown(&self.from),
            faults.join("\n")
        );
        let carried = self.carry(&from, &to).await?;
        self.verify(&from, &to, &carried).await?;
        let (here, there) = (settings.config.files_of(&self.from), settings.config.files_of(&self.to));
        if here.root() != there.root() {
            let count = copy_files(&to, &here, &there).await?;
            say(format_args!("{count} file(s) of certificates carried to {}\n", there.root().display()))?;
        }
        say(format_args!(
            "it sends nothing until tallow adopt; let no daemon serve the old store any more\n"
        ))?;
        Ok(Answer::Done)
    }

    async fn carry(&self, from: &Store, to: &Store) -> anyhow::Result<Carried> {
        let now = SystemClock.now();
        let why = format!("this store was carried here from {}", shown(&self.from));
        let carried = carry(from, to, now, async |tx| sending::hold_copy(tx, &why, now).await).await?;
        let tables = carried.tables.iter().filter(|(_, rows)| *rows > 0).count();
        say(format_args!(
            "carried {} rows of {tables} tables from {} to {}\n",
            carried.rows(),
            shown(&self.from),
            shown(&self.to)
        ))?;
        Ok(carried)
    }

    /// What was carried is read back row by row as it is written; here the chain is reckoned again over there.
    async fn verify(&self, from: &Store, to: &Store, carried: &Carried) -> anyhow::Result<()> {
        let faults = to.check().await?;
        let (head, same) = (to.head().await?, from.head().await? == to.head().await?);
        anyhow::ensure!(
            faults.is_empty() && same,
            "{} does not verify; carry the store into another empty one:\n{}",
            shown(&self.to),
            faults.join("\n")
        );
        say(format_args!(
            "{} links of the record chain hold there, head {}; {} due rows equal those here\n",
            head.seq,
            head.hash,
            carried.rows_of("due")
        ))
    }
}

/// A file's lock, so that no daemon serves it meanwhile.
fn locked(address: &str) -> anyhow::Result<Option<File>> {
    let Some(path) = file(address) else { return Ok(None) };
    make_folder(path)?;
    Ok(Some(lock(&path.with_added_extension("lock"))?))
}

/// A server's store is served while somebody leads there.
async fn open(address: &str) -> anyhow::Result<Store> {
    let store = Store::open(address).await.with_context(|| format!("opening {}", shown(address)))?;
    match store.lease_holder(SWEEPING, SystemClock.now()).await? {
        Some(holder) if store.is_shared() => Err(StoreError::Served(holder).into()),
        _ => Ok(store),
    }
}
