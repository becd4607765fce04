//! The policy set in force: the folder's, or the last one that was taken into force over this store.

use std::path::Path;

use anyhow::Context;
use policies::load::{PolicyFile, PolicySet};
use policies::zone::Instant;

use crate::policy_set::{self, PolicyError};
use crate::store::write::Deed;
use crate::store::{Store, Writer};

const IN_FORCE: &str = "policy set in force";

/// The set of the folder; without a folder the one kept with the store, else the shipped one.
///
/// # Errors
/// The folder's set is broken or cannot be read, or the store fails.
pub async fn chosen(store: &Store, folder: Option<&Path>) -> anyhow::Result<PolicySet> {
    if folder.is_none()
        && let Some(kept) = kept(store).await?
    {
        return Ok(kept);
    }
    Ok(policy_set::read(folder)?)
}

/// The set a daemon serves under. It is kept with the store; where the folder's is broken, the one kept stays in
/// force, with an alarm.
///
/// # Errors
/// The folder's set is broken and none is kept, or the store fails.
pub async fn serving(store: &Store, folder: Option<&Path>, now: Instant) -> anyhow::Result<PolicySet> {
    let Some(folder) = folder else { return chosen(store, None).await };
    let read = policy_set::files(Some(folder)).and_then(|files| Ok((policy_set::check(&files)?, files)));
    match read {
        Ok((set, files)) => {
            keep(store, &files, now).await?;
            Ok(set)
        }
        Err(broken) => {
            alarm(&broken);
            let Some(set) = kept(store).await? else { return Err(broken.into()) };
            tracing::error!("the policy set last in force stays in force");
            Ok(set)
        }
    }
}

/// Keeps the folder's set with the store, unless one is kept already: the first import brings its rules along.
///
/// # Errors
/// The folder cannot be read, or the store fails.
pub async fn keep_first(store: &Store, folder: &Path, now: Instant) -> anyhow::Result<()> {
    if store.remembered(IN_FORCE).await?.is_none() {
        keep(store, &policy_set::files(Some(folder))?, now).await?;
    }
    Ok(())
}

async fn kept(store: &Store) -> anyhow::Result<Option<PolicySet>> {
    let Some(text) = store.remembered(IN_FORCE).await? else { return Ok(None) };
    let pairs: Vec<(String, String)> =
        serde_json::from_str(&text).context("reading the policy set kept with the store")?;
    let files: Vec<PolicyFile> = pairs.into_iter().map(|(name, text)| PolicyFile { name, text }).collect();
    Ok(Some(policy_set::check(&files)?))
}

async fn keep(store: &Store, files: &[PolicyFile], now: Instant) -> anyhow::Result<()> {
    let pairs: Vec<(&str, &str)> =
        files.iter().map(|file| (file.name.as_str(), file.text.as_str())).collect();
    let text = serde_json::to_string(&pairs)?;
    if store.remembered(IN_FORCE).await?.as_deref() != Some(&text) {
        let deed = Deed { actor: "policy set".to_owned(), action: "keep".to_owned(), at: now };
        store.write(deed, async |tx: &mut Writer| tx.remember(IN_FORCE, &text).await).await?;
    }
    Ok(())
}

/// Says every fault with its file, line and column.
pub fn alarm(broken: &PolicyError) {
    match broken {
        PolicyError::Faults { faults, .. } => {
            for fault in faults {
                tracing::error!(
                    file = %fault.file,
                    line = fault.line,
                    column = fault.column,
                    "policy fault: {}; {}",
                    fault.message,
                    fault.help
                );
            }
        }
        other => tracing::error!(error = %other, "the policy set cannot be read"),
    }
}
