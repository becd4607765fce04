//! What is owed to somebody who cannot be reached climbs to the next one, to the end of the list, and there it is an
//! alarm; and that is over once mail is taken again and a person has let it be tried.

use std::collections::BTreeSet;
use std::sync::Arc;

use daemon::alarms;
use daemon::records::{Usage, Work};
use daemon::store::Writer;
use daemon::store::outbox::Listed;
use daemon::store::write::Deed;

use crate::desk;
use crate::world::{DAY, Daemon, Ground, MINUTE, Turn};

/// Whom the gear of the bay is told to, in turn, as the register has them.
pub const LADDER: [&str; 4] =
    ["mechanic@bay.example", "second@bay.example", "engineer@service.example", "head@service.example"];

/// So many sweeps are enough for every rung, and for an alarm.
const SWEEPS: i64 = 8;

/// The first `depth` addresses of the ladder refuse all mail, a shock is logged at noon, and it is swept and sent without
/// any other fault: what is wrong then.
pub async fn what_is_refused_climbs(ground: &Arc<Ground>, daemon: &mut Daemon, depth: usize) -> Vec<String> {
    everybody_is_there(ground).await;
    // What reached nobody in the days before is an alarm of its own until then.
    tried_again(ground).await;
    let midnight = (ground.clock.reads() / DAY + 2) * DAY;
    turns(ground, daemon, midnight + 8 * 60 * MINUTE).await;
    let before = ground.store.notices(None, 1_000_000).await.unwrap().len();
    ground.relay.lock().unwrap().refused = LADDER[..depth].iter().map(|to| (*to).to_owned()).collect();
    let noon = midnight + 12 * 60 * MINUTE;
    ground.clock.set(noon);
    let shock = Usage {
        key: "climbing".to_owned(),
        host: "LC-1".to_owned(),
        at: noon - MINUTE,
        meter: "shock loads".to_owned(),
        count: Some(1_000_000),
        ..Usage::default()
    };
    ground.desk("station").log_use(&[shock]).await.unwrap();
    turns(ground, daemon, noon).await;
    let mut wrong = climbed(ground, before, depth).await;
    ground.relay.lock().unwrap().refused.clear();
    wrong.extend(over(ground, daemon, noon + 60 * MINUTE).await);
    wrong.into_iter().map(|wrong| format!("with {depth} rungs refused: {wrong}")).collect()
}

/// Nobody is away, mail comes back from no address, and no work of the bay is open: the shock is news.
async fn everybody_is_there(ground: &Arc<Ground>) {
    let people = "email,name,role,station,away_from,away_until\n\
                  mechanic@bay.example,Mechanic,mechanic,bay,,\nmechanic@bar.example,Mechanic,mechanic,bar,,\n";
    desk::taken(&ground.desk("station"), &[("people.csv", people)]).await;
    for (item, rule) in
        [("F-1", "fall-examination"), ("F-1", "fall-after-shock"), ("LC-1", "carriage-grease")]
    {
        let work = Work {
            key: format!("climbing {rule}"),
            item: item.to_owned(),
            rule: rule.to_owned(),
            at: ground.clock.reads() - MINUTE,
            outcome: "passed".to_owned(),
            ..Work::default()
        };
        ground.desk("station").record_work(work).await.unwrap();
    }
    let desk = ground.desk("engineer");
    for address in desk.store.bad_addresses().await.unwrap() {
        let (actor, action) = ("engineer".to_owned(), "clear address".to_owned());
        let deed = Deed { actor, action, at: desk.now() };
        let cleared =
            async |tx: &mut Writer| tx.clear_address(&address, "engineer@service.example", deed.at).await;
        desk.store.write(deed.clone(), cleared).await.unwrap();
    }
}

/// Sweeps and sends from a moment on, some minutes apart.
async fn turns(ground: &Ground, daemon: &mut Daemon, from: i64) {
    for turn in 0..SWEEPS {
        ground.clock.set(from + turn * 5 * MINUTE);
        assert_eq!(daemon.sweep(None).await, Turn::Done);
        assert_eq!(daemon.drain(None).await, Turn::Done);
    }
}

async fn written_since(ground: &Ground, before: usize) -> Vec<Listed> {
    let mut fresh = ground.store.notices(None, 1_000_000).await.unwrap();
    fresh.truncate(fresh.len() - before);
    fresh
}

/// Each refused rung was tried and the first other one was reached; where there is none, the alarm stands.
async fn climbed(ground: &Ground, before: usize, depth: usize) -> Vec<String> {
    let fresh = written_since(ground, before).await;
    let mut wrong = Vec::new();
    let urgent = fresh.iter().find(|notice| notice.urgent && notice.recipient == LADDER[0]);
    if urgent.is_none_or(|notice| notice.state != "failed") {
        wrong.push(format!("the mechanic's notice of the shock is {:?}", urgent.map(|one| &one.state)));
    }
    let reached = |to: &str, state: &str| {
        let letter = |notice: &&Listed| notice.kind == "undelivered" && notice.recipient == to;
        fresh.iter().filter(letter).any(|notice| notice.state == state)
    };
    for rung in &LADDER[1..depth] {
        if !reached(rung, "failed") {
            wrong.push(format!("{rung} was not tried"));
        }
    }
    if let Some(next) = LADDER.get(depth).filter(|next| !reached(next, "sent")) {
        wrong.push(format!("{next} was not told"));
    }
    let beyond: BTreeSet<&str> = LADDER.iter().skip(depth + 1).copied().collect();
    for notice in fresh.iter().filter(|notice| notice.kind == "undelivered") {
        if beyond.contains(&*notice.recipient)
            && urgent.is_some_and(|one| notice.subject.contains(&one.number))
        {
            wrong.push(format!("{} was told although somebody before was reached", notice.recipient));
        }
    }
    let alarm = alarm(ground).await;
    if alarm.is_some() != (depth == LADDER.len()) {
        wrong.push(format!("the alarm stands: {alarm:?}"));
    }
    wrong
}

/// What the alarm says of those who cannot be reached, where it stands.
async fn alarm(ground: &Ground) -> Option<String> {
    let standing = alarms::standing(&ground.store).await.unwrap();
    standing.into_iter().find(|alarm| alarm.about == "undelivered").map(|alarm| alarm.text)
}

/// Mail is taken again and somebody lets what failed be tried: the alarm is over, and nothing waits.
async fn over(ground: &Ground, daemon: &mut Daemon, from: i64) -> Vec<String> {
    ground.clock.set(from);
    tried_again(ground).await;
    turns(ground, daemon, from).await;
    let mut wrong = Vec::new();
    if let Some(text) = alarm(ground).await {
        wrong.push(format!("the alarm still stands although everything was taken: {text}"));
    }
    let waiting = ground.store.unsent().await.unwrap();
    wrong.extend(waiting.into_iter().map(|notice| format!("{} is {} still", notice.number, notice.state)));
    wrong
}

/// Somebody lets all be tried again that was refused.
async fn tried_again(ground: &Ground) {
    let desk = ground.desk("engineer");
    for notice in ground.store.notices(None, 1_000_000).await.unwrap() {
        if notice.state == "failed" && notice.kind != "undelivered" {
            assert!(ground.store.retry(&notice.number, desk.now()).await.unwrap().is_some());
        }
    }
}
