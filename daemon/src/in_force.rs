//! The policy set in force: of those that were taken up the last to have come into force, else the first that was
//! kept with the store. A set comes into force at the local midnight of its own home zone.

use std::path::Path;

use anyhow::Context;
use jiff::civil::Date;
use policies::load::{PolicyFile, PolicySet};
use policies::zone::{Instant, Zone};

use crate::policy_set::{self, PolicyError};
use crate::store::policy_sets::Approval;
use crate::store::write::Deed;
use crate::store::{Store, StoreError, Writer};

const FIRST: &str = "policy set in force";
/// Who keeps the first set, as its link of the chain says; the link's action names the set's hash.
const KEEPER: &str = "policy set";

/// When a set is asked for.
#[derive(Clone, Copy, Debug)]
pub enum When {
    /// At this moment, wherever the set's home zone has its midnight.
    At(Instant),
    /// On this day.
    On(Date),
}

/// The set in force then; the folder's, or else the shipped one, where none is kept yet.
///
/// # Errors
/// The store's failure, a kept set that this version cannot read, or a broken folder.
pub async fn chosen(store: &Store, folder: Option<&Path>, when: When) -> anyhow::Result<PolicySet> {
    let kept = kept(store, when, None).await?;
    Ok(kept.map_or_else(|| policy_set::read(folder), Ok)?)
}

/// The set on a replayed day: what was taken up after `known_on` was not known then.
///
/// # Errors
/// Those of [`chosen`].
pub async fn replayed(
    store: &Store,
    folder: Option<&Path>,
    as_of: Option<Date>,
    known_on: Option<Date>,
    now: Instant,
) -> anyhow::Result<PolicySet> {
    let present = chosen(store, folder, When::At(now)).await?;
    let known_before = known_on.map(|day| present.service.home_zone.end_of(day));
    let then = kept(store, as_of.map_or(When::At(now), When::On), known_before).await?;
    Ok(then.unwrap_or(present))
}

/// The set a daemon serves under. The folder's is kept at a first start; later it says what the folder holds, and
/// what is in force stays in force until another set is taken up.
///
/// # Errors
/// The folder's set is broken and none is kept, or the store fails.
pub async fn serving(store: &Store, folder: Option<&Path>, now: Instant) -> anyhow::Result<PolicySet> {
    let kept = kept(store, When::At(now), None).await?;
    let Some(folder) = folder else {
        let Some(set) = kept else {
            let shipped = policy_set::read(None)?;
            same_as_signed(store, &shipped.hash).await?;
            return Ok(shipped);
        };
        return Ok(set);
    };
    if let Some(set) = kept {
        weigh(store, folder, &set.hash).await?.tell(&set.hash);
        return Ok(set);
    }
    let read = policy_set::files(Some(folder)).and_then(|files| Ok((policy_set::check(&files)?, files)));
    let (set, files) = read.inspect_err(alarm)?;
    keep(store, &files, now).await?;
    Ok(set)
}

/// Refuses another first set than the one that the chain says was kept first: a store that has lost it would go on under
/// rules that nobody took up.
async fn same_as_signed(store: &Store, hash: &str) -> anyhow::Result<()> {
    let signed = store.actions_of(KEEPER).await?;
    let Some(signed) = signed.first().filter(|signed| **signed != kept_action(hash)) else { return Ok(()) };
    anyhow::bail!(
        "the set that was kept first is gone from the store, and this is another one: the record chain says \"{signed}\", \
         the set at hand is {hash}. Give --policies the folder of the first set, or restore a backup; rules change by \
         tallow policy take-up"
    )
}

/// Whether another set has come into force since one of this hash. One that this version cannot read never does.
///
/// # Errors
/// The store's failure.
pub async fn is_succeeded(store: &Store, hash: &str, now: Instant) -> anyhow::Result<bool> {
    let Some(approval) = approval(store, When::At(now), None).await? else { return Ok(false) };
    if approval.hash == hash {
        return Ok(false);
    }
    let read = of_approval(store, &approval).await;
    if let Err(error) = &read {
        tracing::error!(
            error = format!("{error:#}"),
            "a set taken up cannot be read; the one in force stays in force"
        );
    }
    Ok(read.is_ok())
}

/// Keeps the folder's set with the store, unless one is kept already: the first import brings its rules along.
///
/// # Errors
/// The folder cannot be read, or the store fails.
pub async fn keep_first(store: &Store, folder: &Path, now: Instant) -> anyhow::Result<()> {
    if store.remembered(FIRST).await?.is_none() && store.approvals(None).await?.is_empty() {
        keep(store, &policy_set::files(Some(folder))?, now).await?;
    }
    Ok(())
}

/// The hash of the set that will be in force last of all that were taken up; none where none was.
///
/// # Errors
/// The store's failure.
pub async fn last(store: &Store) -> Result<Option<String>, StoreError> {
    Ok(store.approvals(None).await?.pop().map(|approval| approval.hash))
}

/// The set that was kept first, before any was taken up.
///
/// # Errors
/// The store's failure, or a set that this version cannot read.
pub async fn first(store: &Store) -> anyhow::Result<Option<PolicySet>> {
    let Some(text) = store.remembered(FIRST).await? else { return Ok(None) };
    Ok(Some(policy_set::check(&unpacked(&text)?)?))
}

/// What is wrong with the set that was kept first: no record holds its files, but a link of the chain their hash.
///
/// # Errors
/// The store's failure.
pub async fn first_differs(store: &Store) -> Result<Option<String>, StoreError> {
    let signed = store.actions_of(KEEPER).await?;
    let Some(signed) = signed.first() else { return Ok(None) };
    let found = match first(store).await {
        Ok(Some(set)) => kept_action(&set.hash),
        Ok(None) => "none is there".to_owned(),
        Err(error) => format!("{error:#}"),
    };
    Ok((found != *signed).then(|| format!("policy set kept first: the chain says \"{signed}\", but {found}")))
}

fn kept_action(hash: &str) -> String {
    format!("keep {hash}")
}

async fn kept(store: &Store, when: When, known_before: Option<Instant>) -> anyhow::Result<Option<PolicySet>> {
    match approval(store, when, known_before).await? {
        Some(approval) => Ok(Some(of_approval(store, &approval).await?)),
        None => first(store).await,
    }
}

/// The newest approval that has come into force.
async fn approval(
    store: &Store,
    when: When,
    known_before: Option<Instant>,
) -> anyhow::Result<Option<Approval>> {
    for approval in store.approvals(known_before).await?.into_iter().rev() {
        let from: Date = approval.effective_from.parse().context("reading the day of a set taken up")?;
        let today = match when {
            When::On(day) => day,
            When::At(now) => today_under(store, &approval, from, now).await?,
        };
        if from <= today {
            return Ok(Some(approval));
        }
    }
    Ok(None)
}

/// Today at the home of a set. Its files are read only where clocks round the world disagree whether `from` has come.
async fn today_under(store: &Store, approval: &Approval, from: Date, now: Instant) -> anyhow::Result<Date> {
    let today = Zone::utc().date_of(now);
    if (from - today).get_days().abs() > 1 {
        return Ok(today);
    }
    Ok(of_approval(store, approval).await?.service.home_zone.date_of(now))
}

async fn of_approval(store: &Store, approval: &Approval) -> anyhow::Result<PolicySet> {
    let text = store.approved_files(approval).await?.unwrap_or_default();
    let files = unpacked(&text)?;
    let short = &approval.hash[..12];
    policy_set::check(&files)
        .with_context(|| format!("reading the set {short} in force from {}", approval.effective_from))
}

/// The files of a set as one text.
///
/// # Errors
/// Never for texts; serde's own.
pub fn packed(files: &[PolicyFile]) -> anyhow::Result<String> {
    let pairs: Vec<(&str, &str)> =
        files.iter().map(|file| (file.name.as_str(), file.text.as_str())).collect();
    Ok(serde_json::to_string(&pairs)?)
}

fn unpacked(text: &str) -> anyhow::Result<Vec<PolicyFile>> {
    let pairs: Vec<(String, String)> =
        serde_json::from_str(text).context("reading a policy set kept with the store")?;
    Ok(pairs.into_iter().map(|(name, text)| PolicyFile { name, text }).collect())
}

/// The files of the set with that hash, as they are kept with the store; the shipped ones where it is theirs.
///
/// # Errors
/// No such set is kept, or the store's failure.
pub async fn files(store: &Store, hash: &str) -> anyhow::Result<Vec<PolicyFile>> {
    let approvals = store.approvals(None).await?;
    if let Some(approval) = approvals.iter().rev().find(|approval| approval.hash == hash) {
        return unpacked(&store.approved_files(approval).await?.unwrap_or_default());
    }
    let first = store.remembered(FIRST).await?.map(|text| unpacked(&text)).transpose()?;
    for files in first.into_iter().chain([policies::shipped::files()]) {
        if policy_set::check(&files)?.hash == hash {
            return Ok(files);
        }
    }
    anyhow::bail!("no set with the hash {} is kept", hash.get(..12).unwrap_or(hash))
}

async fn keep(store: &Store, files: &[PolicyFile], now: Instant) -> anyhow::Result<()> {
    let text = packed(files)?;
    let hash = policy_set::check(files)?.hash;
    same_as_signed(store, &hash).await?;
    let action = kept_action(&hash);
    let deed = Deed { actor: KEEPER.to_owned(), action, at: now };
    let keep = async |tx: &mut Writer| {
        tx.attest();
        tx.remember(FIRST, &text).await
    };
    Ok(store.write(deed, keep).await?)
}

/// What a daemon's policy folder holds, seen from the set in force.
#[derive(Debug)]
pub enum Folder {
    /// The set in force.
    InForce,
    /// A set that was taken up, for this day.
    TakenUp(String),
    /// A set that was not taken up, by its hash.
    Other(String),
    /// No sound set.
    Broken(PolicyError),
}

/// Looks at the folder.
///
/// # Errors
/// The store's failure.
pub async fn weigh(store: &Store, folder: &Path, in_force: &str) -> Result<Folder, StoreError> {
    let hash = match policy_set::read(Some(folder)) {
        Ok(set) => set.hash,
        Err(broken) => return Ok(Folder::Broken(broken)),
    };
    if hash == in_force {
        return Ok(Folder::InForce);
    }
    let same = store.approvals(None).await?.into_iter().rev().find(|approval| approval.hash == hash);
    Ok(same.map_or(Folder::Other(hash), |approval| Folder::TakenUp(approval.effective_from)))
}

impl Folder {
    /// Says it in the log, loudly where a person has something to do.
    pub fn tell(&self, in_force: &str) {
        match self {
            Folder::InForce => {}
            Folder::TakenUp(from) => {
                tracing::info!(
                    from,
                    in_force,
                    "the policy folder holds a set that was taken up for that day"
                );
            }
            Folder::Other(hash) => tracing::error!(
                hash,
                in_force,
                "the policy folder holds another set, which was not taken up: rehearse it with tallow policy \
                 compare, and take it up with tallow policy take-up; the set in force stays in force"
            ),
            Folder::Broken(broken) => {
                alarm(broken);
                tracing::error!(in_force, "the policy folder is broken; the set in force stays in force");
            }
        }
    }
}

/// Says every fault with its file, line and column.
fn alarm(broken: &PolicyError) {
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
