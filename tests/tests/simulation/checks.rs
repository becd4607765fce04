//! What must hold: nothing lost, nothing doubled outside the window, and, once faults stop, everything told.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use daemon::records::Usage;
use daemon::store::outbox::Listed;
use daemon::{sweep, verify};

use crate::events::Stations;
use crate::service::mechanic_of;
use crate::world::{Ground, MINUTE};

/// Figures of a run, and everything that is wrong.
#[derive(Default)]
pub struct Verdict {
    pub mails: usize,
    pub doubled: usize,
    pub wrong: Vec<String>,
}

/// The due table, stock, chain and frozen mails against a fresh reckoning.
pub async fn reckoned_again(ground: &Ground) -> Vec<String> {
    verify::differences(&ground.desk("verify")).await.unwrap().differences
}

pub async fn at_the_end(ground: &Ground, stations: &Stations) -> Verdict {
    let mut verdict = Verdict { wrong: reckoned_again(ground).await, ..Verdict::default() };
    let listed = ground.store.notices(None, 1_000_000).await.unwrap();
    use_is_kept(ground, stations, &mut verdict).await;
    deliveries(ground, stations, &listed, &mut verdict).await;
    occasions(ground, &listed, &mut verdict).await;
    one_daily_a_day(&listed, &mut verdict);
    everything_is_told(ground, &listed, &mut verdict).await;
    verdict
}

async fn use_is_kept(ground: &Ground, stations: &Stations, verdict: &mut Verdict) {
    let kept = ground.store.newest::<Usage>().await.unwrap();
    for (key, count) in &stations.acknowledged {
        if kept.get(key).and_then(|row| row.count) != Some(*count) {
            verdict.wrong.push(format!("use {key} was acknowledged and is lost"));
        }
    }
    if kept.len() != stations.acknowledged.len() {
        verdict.wrong.push(format!("{} rows of use for {} keys", kept.len(), stations.acknowledged.len()));
    }
}

/// Every mail is one of the frozen ones, goes where it should, not after it was cancelled, and not more often than the
/// faults past the dot excuse.
async fn deliveries(ground: &Ground, stations: &Stations, listed: &[Listed], verdict: &mut Verdict) {
    let states: BTreeMap<&str, &Listed> = listed.iter().map(|notice| (&*notice.number, notice)).collect();
    let frozen = ground.store.frozen_notices().await.unwrap();
    let relay = ground.relay.lock().unwrap();
    let mut times: HashMap<&[u8], Vec<usize>> = HashMap::new();
    for (n, parcel) in relay.taken.iter().enumerate() {
        times.entry(&parcel.bytes).or_default().push(n);
    }
    verdict.mails = times.len();
    for (number, recipient, bytes) in &frozen {
        let taken = times.remove(&**bytes).unwrap_or_default();
        let (count, notice) = (taken.len(), states[&**number]);
        verdict.doubled += count.saturating_sub(1);
        let most = 1 + relay.excused.get(bytes).copied().unwrap_or(0);
        if count > most {
            verdict.wrong.push(format!("{number} went out {count} times; the faults excuse {most}"));
        }
        if taken.iter().any(|n| relay.taken[*n].to != *recipient) {
            verdict.wrong.push(format!("{number} went to somebody else than {recipient}"));
        }
        if count == 0 && matches!(&*notice.state, "sent" | "bounced") {
            verdict.wrong.push(format!("{number} is said to be {} and never went out", notice.state));
        }
        let cancelled = stations.cancelled.get(number);
        if cancelled.is_some_and(|before| taken.iter().any(|n| n >= before)) {
            verdict.wrong.push(format!("{number} went out after it was cancelled"));
        }
    }
    verdict.wrong.extend(times.values().map(|n| format!("mail {n:?} went out and is in no outbox")));
}

/// An occasion is told to an address in one mail, whatever it was cancelled and told anew for.
async fn occasions(ground: &Ground, listed: &[Listed], verdict: &mut Verdict) {
    let gone: BTreeSet<(String, String)> = {
        let frozen = ground.store.frozen_notices().await.unwrap();
        let relay = ground.relay.lock().unwrap();
        let taken: BTreeSet<&[u8]> = relay.taken.iter().map(|parcel| &*parcel.bytes).collect();
        let out = frozen.into_iter().filter(|(.., bytes)| taken.contains(&**bytes));
        out.map(|(number, recipient, _)| (number, recipient)).collect()
    };
    let mut told = BTreeMap::new();
    for notice in listed.iter().filter(|notice| notice.state != "cancelled") {
        if !gone.contains(&(notice.number.clone(), notice.recipient.clone())) {
            continue;
        }
        if let Some(other) = told.insert((&notice.occasion, &notice.recipient), &notice.number) {
            verdict.wrong.push(format!("{other} and {} tell the same occasion", notice.number));
        }
    }
}

/// However long it was down, whatever the clock did and wherever they were reached: one daily notice a person and day.
fn one_daily_a_day(listed: &[Listed], verdict: &mut Verdict) {
    let mut days = BTreeSet::new();
    let daily = |notice: &&Listed| notice.state == "sent" && notice.occasion.starts_with("daily ");
    for notice in listed.iter().filter(daily) {
        let run = notice.occasion.split('T').next().unwrap_or_default();
        if !days.insert(run) {
            verdict.wrong.push(format!("{} is a second one for {}", notice.number, notice.occasion));
        }
    }
}

async fn everything_is_told(ground: &Ground, listed: &[Listed], verdict: &mut Verdict) {
    let settled = ["sent", "failed", "parked", "cancelled", "bounced"];
    for notice in listed.iter().filter(|notice| !settled.contains(&&*notice.state)) {
        let (number, state) = (&notice.number, &notice.state);
        verdict.wrong.push(format!("{number} is {state} still: {:?}", notice.last_error));
    }
    let desk = ground.desk("verify");
    // As it was at the last hour of the daily notices: an answer that failed to come since is told at the next.
    let noon = ground.clock.reads();
    ground.clock.set(noon - 5 * 60 * MINUTE);
    for owed in sweep::preview(&desk, &ground.mail).await.unwrap() {
        if matches!(&*owed.kind, "due work" | "escalation") {
            verdict.wrong.push(format!("{} was not told \"{}\"", owed.person, owed.subject));
        }
    }
    ground.clock.set(noon);
    for row in desk.store.due_table().await.unwrap() {
        let mechanic = mechanic_of(&row.item);
        let tells = |notice: &&Listed| {
            notice.person == mechanic
                && matches!(&*notice.state, "sent" | "bounced")
                && notice.lines.iter().any(|line| (&line.item, &line.rule) == (&row.item, &row.rule))
        };
        if row.standing == "overdue" && !listed.iter().any(|notice| tells(&notice)) {
            verdict.wrong.push(format!("{} {}: overdue, and {mechanic} was never told", row.item, row.rule));
        }
    }
}
