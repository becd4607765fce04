//! What happens at the stations: launches, shocks, work, corrections, people away, mail that comes back.

use std::collections::BTreeMap;
use std::sync::Arc;

use daemon::answers;
use daemon::records::{Usage, Work};
use daemon::store::outbox::Listed;

use crate::desk;
use crate::dice::Dice;
use crate::service::SIDES;
use crate::world::{DAY, Ground, MINUTE, fused};

/// The people at the stations, and what they were told was recorded.
pub struct Stations {
    ground: Arc<Ground>,
    folder: tempfile::TempDir,
    next: u32,
    /// Acknowledged use: launches and shocks by key.
    pub acknowledged: BTreeMap<String, i64>,
    /// Notices seen cancelled, and how many mails had gone out by then.
    pub cancelled: BTreeMap<String, usize>,
    /// Examinations recorded, by key: the fall and when.
    works: BTreeMap<String, (String, i64)>,
    pub downs: u32,
}

impl Stations {
    pub fn new(ground: &Arc<Ground>) -> Stations {
        let folder = tempfile::tempdir().unwrap();
        for name in ["new", "cur", "tmp"] {
            std::fs::create_dir_all(folder.path().join(name)).unwrap();
        }
        Stations {
            ground: Arc::clone(ground),
            folder,
            next: 10,
            acknowledged: BTreeMap::new(),
            cancelled: BTreeMap::new(),
            works: BTreeMap::new(),
            downs: 0,
        }
    }

    fn key(&mut self, letter: &str) -> String {
        self.next += 1;
        format!("{letter}-{}", self.next)
    }

    /// Whatever the dice bring about at this moment; false for nothing.
    pub async fn something(&mut self, dice: &mut Dice) -> bool {
        let side = *dice.pick(&SIDES);
        match dice.between(1, 100) {
            1..=40 => self.logs(dice, side.0, "launches").await,
            41..=42 => self.logs(dice, side.0, "shock loads").await,
            43..=52 => self.works(dice, side.1, "fall-examination").await,
            53..=54 => self.works(dice, side.1, "fall-after-shock").await,
            55..=60 => self.works(dice, side.0, "carriage-grease").await,
            61..=64 => self.corrects(dice).await,
            65..=67 => self.goes_away(dice, side).await,
            68..=69 => self.bounces().await,
            70..=72 => self.mends_addresses().await,
            _ => return false,
        }
        true
    }

    /// Sent again under its key until it is acknowledged, as every client does.
    async fn logs(&mut self, dice: &mut Dice, host: &str, meter: &str) {
        let key = self.key("U");
        let count = i64::from(dice.between(1, 5)) * 1_000_000;
        let at = self.ground.clock.reads() - i64::from(dice.between(1, 300)) * MINUTE;
        let row = Usage {
            key: key.clone(),
            host: host.to_owned(),
            at,
            meter: meter.to_owned(),
            count: Some(count),
            ..Usage::default()
        };
        loop {
            let down_at = dice.chance(10).then(|| i64::from(dice.between(1, 6)));
            let desk = self.ground.desk("station");
            if let Some(logged) = fused(&self.ground, down_at, desk.log_use(std::slice::from_ref(&row))).await
            {
                logged.unwrap();
                break;
            }
            self.downs += 1;
        }
        self.acknowledged.insert(key, count);
    }

    async fn works(&mut self, dice: &mut Dice, item: &str, rule: &str) {
        let key = self.key("W");
        let at = self.ground.clock.reads() - MINUTE;
        let outcome = if dice.chance(5) { "failed" } else { "passed" };
        let work = Work {
            key: key.clone(),
            item: item.to_owned(),
            rule: rule.to_owned(),
            at,
            outcome: outcome.to_owned(),
            ..Work::default()
        };
        self.ground.desk("station").record_work(work).await.unwrap();
        if rule == "fall-examination" && outcome == "passed" {
            self.works.insert(key, (item.to_owned(), at));
        }
        self.see_cancelled().await;
    }

    /// An examination was some days earlier than it was recorded.
    async fn corrects(&mut self, dice: &mut Dice) {
        let Some((key, (item, at))) = self.works.pop_last() else { return };
        let at = policies::zone::Instant(at - i64::from(dice.between(1, 20)) * DAY).timestamp();
        let text = format!("key,item,rule,done_at,outcome\n{key},{item},fall-examination,{at},passed\n");
        desk::taken(&self.ground.desk("station"), &[("work.csv", &text)]).await;
        self.see_cancelled().await;
    }

    async fn goes_away(&self, dice: &mut Dice, (_, _, mechanic, station): (&str, &str, &str, &str)) {
        let now = self.ground.clock.reads();
        let from = policies::zone::Instant(now).timestamp().strftime("%Y-%m-%d").to_string();
        let until = policies::zone::Instant(now + i64::from(dice.between(1, 10)) * DAY);
        let until = until.timestamp().strftime("%Y-%m-%d");
        let text = format!(
            "email,name,role,station,away_from,away_until\n{mechanic},Mechanic,mechanic,{station},{from},{until}\n"
        );
        desk::taken(&self.ground.desk("station"), &[("people.csv", &text)]).await;
    }

    /// The newest mail to a mechanic comes back.
    async fn bounces(&mut self) {
        let newest = {
            let relay = self.ground.relay.lock().unwrap();
            let own = |to: &str| SIDES.iter().any(|side| side.2 == to);
            relay.taken.iter().rfind(|parcel| own(&parcel.to)).map(|p| (p.to.clone(), p.bytes.clone()))
        };
        let Some((to, bytes)) = newest else { return };
        let parsed = mail_parser::MessageParser::new().parse(&bytes).unwrap();
        let id = parsed.message_id().unwrap();
        let report = format!(
            "From: Mail delivery <postmaster@bay.example>\r\nTo: tallow@service.example\r\nSubject: Undelivered\r\n\
             MIME-Version: 1.0\r\n\
             Content-Type: multipart/report; report-type=delivery-status; boundary=\"b1\"\r\n\r\n\
             --b1\r\nContent-Type: text/plain\r\n\r\nIt could not be delivered.\r\n\
             --b1\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; mail.bay.example\r\n\r\n\
             Final-Recipient: rfc822;{to}\r\nAction: failed\r\nStatus: 5.1.1\r\n\r\n\
             --b1\r\nContent-Type: message/rfc822\r\n\r\nMessage-ID: <{id}>\r\nSubject: x\r\n\r\nbody\r\n--b1--\r\n"
        );
        let name = self.key("new/B");
        std::fs::write(self.folder.path().join(name), report).unwrap();
        let desk = self.ground.desk("answers");
        let taken = answers::take(&desk, self.folder.path(), &self.ground.mail).await.unwrap();
        assert_eq!(taken.bounces, 1);
    }

    async fn mends_addresses(&self) {
        let desk = self.ground.desk("engineer");
        let now = desk.now();
        for address in desk.store.bad_addresses().await.unwrap() {
            let deed = daemon::store::write::Deed {
                actor: "engineer".to_owned(),
                action: "clear address".to_owned(),
                at: now,
            };
            let cleared = desk
                .store
                .write(deed, async |tx: &mut daemon::store::Writer| {
                    tx.clear_address(&address, "engineer@service.example", now).await
                })
                .await;
            cleared.unwrap();
        }
    }

    /// Notes which notices are cancelled by now: none of them may go out after this.
    pub async fn see_cancelled(&mut self) {
        let gone_out = self.ground.relay.lock().unwrap().taken.len();
        for notice in self.ground.store.notices(None, 12).await.unwrap() {
            if notice.state == "cancelled" {
                self.cancelled.entry(notice.number).or_insert(gone_out);
            }
        }
    }

    /// A person lets what was set aside be tried again, which may bring it a second time.
    pub async fn retries(&self) {
        let listed = self.ground.store.notices(None, 10_000).await.unwrap();
        let parked: Vec<&Listed> = listed.iter().filter(|notice| notice.state == "parked").collect();
        if parked.is_empty() {
            return;
        }
        let frozen = self.ground.store.frozen_notices().await.unwrap();
        for notice in parked {
            let bytes = &frozen.iter().find(|(number, ..)| *number == notice.number).unwrap().2;
            self.ground.relay.lock().unwrap().excuse(bytes);
            let now = self.ground.desk("engineer").now();
            assert!(self.ground.store.retry(&notice.number, now).await.unwrap().is_some());
        }
    }
}
