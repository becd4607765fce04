//! What arrived, held against what was owed and what each crash left in doubt.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use entities::notice;
use mail_parser::MessageParser;
use tests::scripted_mail::Accepted;

use crate::point::SORTS;

/// A crash may double no more than there are connections.
pub const MOST_A_CRASH: usize = 2;

/// One crash, by Message-ID.
pub struct Crash {
    /// What the outbox says had begun.
    pub begun: BTreeSet<String>,
    /// What the mail server took between this start and this crash.
    pub accepted: BTreeSet<String>,
}

impl Crash {
    /// What was past its dot and not yet noted as sent.
    fn in_doubt(&self) -> BTreeSet<&String> {
        self.begun.intersection(&self.accepted).collect()
    }
}

/// The Message-ID as the notice's row has it.
pub fn message_id(bytes: &[u8]) -> String {
    format!("<{}>", MessageParser::new().parse(bytes).unwrap().message_id().unwrap())
}

/// How many arrived twice; all else ends the test.
pub fn judge(notices: &[notice::Model], accepted: &[Accepted], crashes: &[Crash]) -> usize {
    let mut copies: BTreeMap<String, Vec<&Accepted>> = BTreeMap::new();
    for mail in accepted {
        copies.entry(message_id(&mail.bytes)).or_default().push(mail);
    }
    for notice in notices {
        assert_eq!(notice.state, "sent", "{}: {:?}", notice.number, notice.last_error);
        let there = copies.get(&notice.message_id).map_or(0, Vec::len);
        assert!(there > 0, "{} to {} is missing", notice.number, notice.recipient);
    }
    let known: BTreeSet<&String> = notices.iter().map(|notice| &notice.message_id).collect();
    let mut doubles = 0;
    for (id, copies) in &copies {
        assert!(known.contains(id), "{id} arrived, but is in no outbox");
        let same = copies.iter().all(|copy| copy.bytes == copies[0].bytes && copy.to == copies[0].to);
        assert!(same, "{id}: its copies differ");
        let doubts = crashes.iter().filter(|crash| crash.in_doubt().contains(id)).count();
        assert!(copies.len() <= 1 + doubts, "{id}: {} copies, {doubts} doubts", copies.len());
        doubles += copies.len() - 1;
    }
    let most = crashes.iter().map(|crash| crash.in_doubt().len()).max().unwrap_or(0);
    assert!(most <= MOST_A_CRASH, "{most} in doubt after one crash");
    doubles
}

/// What a campaign did.
#[derive(Default)]
pub struct Figures {
    pub seed: u64,
    pub kills: BTreeMap<&'static str, usize>,
    /// Kills whose step did not come in time.
    pub elsewhere: usize,
    pub launches: usize,
    pub commands_killed: usize,
    pub notices: usize,
    pub in_doubt: usize,
    pub doubles: usize,
    pub retried: usize,
}

impl Figures {
    fn points(&self) -> usize {
        self.kills.values().sum()
    }

    fn of_sort(&self, sort: &str) -> usize {
        self.kills.get(sort).copied().unwrap_or(0)
    }

    pub fn count_doubts(&mut self, crashes: &[Crash]) {
        self.in_doubt = crashes.iter().map(|crash| crash.in_doubt().len()).sum();
    }

    /// For the results file: seed, points, points by sort, elsewhere, launches, commands killed, notices, in doubt,
    /// doubles, retried by a person, verdict.
    pub fn line(&self) -> String {
        let sorts = SORTS.map(|sort| self.of_sort(sort).to_string()).join(",");
        let Figures {
            seed, elsewhere, launches, commands_killed, notices, in_doubt, doubles, retried, ..
        } = self;
        let points = self.points();
        format!(
            "{seed},{points},{sorts},{elsewhere},{launches},{commands_killed},{notices},{in_doubt},{doubles},{retried},kept"
        )
    }
}

impl fmt::Display for Figures {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sorts = SORTS.map(|sort| format!("{sort} {}", self.of_sort(sort))).join(", ");
        writeln!(
            f,
            "seed {}: {} kills ({sorts}; of these {} elsewhere)",
            self.seed,
            self.points(),
            self.elsewhere
        )?;
        writeln!(
            f,
            "{} launches acknowledged, {} of their commands killed; {} notices, {} in doubt, {} let go again by a person",
            self.launches, self.commands_killed, self.notices, self.in_doubt, self.retried
        )?;
        write!(
            f,
            "verdict: kept: 0 launches lost, 0 notices missing, {} doubled, all past their dot and byte-identical, at most {MOST_A_CRASH} a crash",
            self.doubles
        )
    }
}

/// The judge itself: what it must not let pass.
mod itself {
    use std::time::Instant;

    use super::*;

    const ID: &str = "<1.v1@service.example>";

    fn notice(state: &str) -> notice::Model {
        notice::Model {
            id: 1,
            number: "N-2026-0001".into(),
            kind: "due work".into(),
            occasion: "test".into(),
            person: "a@bay.example".into(),
            recipient: "a@bay.example".into(),
            urgent: false,
            subject: "s".into(),
            message_id: ID.into(),
            token: "t".into(),
            supersedes: None,
            composed_at: 0,
            state: state.into(),
            attempts: 1,
            crashes: 0,
            doubts: 0,
            holder: None,
            due_at: 0,
            next_attempt_at: 0,
            last_error: None,
            sent_at: None,
            reply: None,
            dropped_at: None,
        }
    }

    fn mail(body: &str) -> Accepted {
        Accepted {
            connection: 0,
            from: "tallow@service.example".into(),
            to: "a@bay.example".into(),
            bytes: format!("Message-ID: {ID}\r\n\r\n{body}\r\n").into_bytes(),
            at: Instant::now(),
        }
    }

    fn crash(begun: bool, accepted: bool) -> Crash {
        let one = |there: bool| there.then(|| ID.to_owned()).into_iter().collect();
        Crash { begun: one(begun), accepted: one(accepted) }
    }

    #[test]
    fn torture_05_a_double_past_its_dot_passes() {
        assert_eq!(judge(&[notice("sent")], &[mail("a"), mail("a")], &[crash(true, true)]), 1);
    }

    #[test]
    #[should_panic(expected = "2 copies, 0 doubts")]
    fn torture_04_a_double_from_before_the_dot_is_found() {
        judge(&[notice("sent")], &[mail("a"), mail("a")], &[crash(true, false), crash(false, true)]);
    }

    #[test]
    #[should_panic(expected = "copies differ")]
    fn torture_05_a_changed_copy_is_found() {
        judge(&[notice("sent")], &[mail("a"), mail("b")], &[crash(true, true)]);
    }

    #[test]
    #[should_panic(expected = "is missing")]
    fn torture_05_a_missing_notice_is_found() {
        judge(&[notice("sent")], &[], &[crash(true, true)]);
    }
}
