//! What a test house is asked, and who is sent a copy: through desk and sweep, with a clock that is moved by hand.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[allow(dead_code, reason = "each test file uses its own part")]
#[path = "register_in/desk.rs"]
mod desk;

use daemon::desk::Desk;
use daemon::notices::templates::Templates;
use daemon::records::Person;
use daemon::store::Writer;
use daemon::store::outbox::Listed;
use daemon::store::write::Deed;
use daemon::sweep::{Mail, sweep};
use desk::{Files, later, taken};

const POLICIES: &[(&str, &str)] = &[
    (
        "rules.toml",
        r#"
[[kind]]
name       = "launching fall"
attributes = [
  { name = "wll", unit = "t" },
  { name = "minimum breaking force", unit = "kN" },
  { name = "termination factor" , min = 0.5, max = 1 },
  { name = "outer termination" },
  { name = "inner termination" },
]
proof      = { gear = "fall", load = "wll_t" }

[[rule]]
id         = "fall-proof-load"
title      = "Prove a fall"
applies_to = { kind = "launching fall" }
work       = "proof load test"
calendar   = { every = "60 months" }
notice     = { lead = "70 days", remind = ["35 days", "3 days"] }
overdue    = "stops launch"
by         = "test house"
authority  = "house"
records    = [
  { name = "proof load", unit = "kN", plausible = [5, 500] },
  { name = "time held", unit = "min", min = 3 },
]
"#,
    ),
    ("service.toml", "home_zone = \"UTC\"\noldest_log_hours = 900000\n[odds]\nlearn = false\n"),
];

/// The worked example of the trade: WLL 3.2 t, MBF 161.3 kN, K 0.9; last proved with 62.8 kN, due on 1 October 2026.
const REGISTER: Files<'static> = &[
    ("stations.csv", "station,name,time_zone\nbay,Low Bay,UTC\nbar,Outer Bar,UTC\n"),
    (
        "people.csv",
        "email,name,role,station\n\
         booking@house.example,Booking,test house,\n\
         engineer@service.example,Engineer,engineer,\n\
         other@service.example,Other Engineer,engineer,bar\n\
         stores@service.example,Clerk,clerk,\n\
         mechanic@bay.example,Mechanic,mechanic,bay\n",
    ),
    (
        "items.csv",
        "item,kind,station,entered_service_on,certificate,wll_t,minimum_breaking_force_kN,termination_factor,\
         outer_termination,inner_termination\n\
         F-1,launching fall,bay,2020-01-01,DC-7741,3.2,161.3,0.9,ferrule and thimble,seized\n",
    ),
    (
        "work.csv",
        "key,item,rule,done_at,outcome,measurements\n\
         W-1,F-1,fall-proof-load,2021-10-01,passed,proof load=62.8;time held=3\n",
    ),
];

const HOUSE: &str = "booking@house.example";

struct Service {
    desk: Desk,
}

impl Service {
    async fn begun() -> Service {
        let desk = desk::desk(POLICIES, "2026-06-30T15:00:00Z").await;
        taken(&desk, REGISTER).await;
        let service = Service { desk };
        service.swept("2026-06-30T15:00:00Z").await;
        service
    }

    /// Proof-load notices and their copies of one sweep, oldest first.
    async fn swept(&self, now: &str) -> Vec<Listed> {
        let before = self.desk.store.notices(None, 1_000).await.unwrap().len();
        let mail = Mail {
            from: "tallow@service.example".to_owned(),
            reply_to: None,
            pages_url: None,
            templates: Templates::embedded().unwrap(),
        };
        sweep(&later(&self.desk, now), &mail).await.unwrap();
        let mut all = self.desk.store.notices(None, 1_000).await.unwrap();
        all.truncate(all.len() - before);
        all.retain(|notice| notice.kind.starts_with("proof load"));
        all.reverse();
        all
    }

    async fn text(&self, notice: &Listed) -> String {
        let frozen = self.desk.store.frozen_notices().await.unwrap();
        let bytes = frozen.into_iter().find(|(number, ..)| *number == notice.number).unwrap().2;
        let parsed = mail_parser::MessageParser::new().parse(&bytes).unwrap();
        parsed.body_text(0).unwrap().split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

fn told(notices: &[Listed]) -> Vec<(&str, &str)> {
    notices.iter().map(|notice| (notice.recipient.as_str(), notice.kind.as_str())).collect()
}

/// Asked when the lead begins and ten days before, on both sides of each day, and not by the rule's other reminders.
#[tokio::test]
async fn a_test_house_is_asked_at_booking_and_ten_days_before() {
    let service = Service::begun().await;
    assert_eq!(told(&service.swept("2026-07-22T07:00:00Z").await), []);
    let booked = service.swept("2026-07-23T07:00:00Z").await;
    let all = [
        (HOUSE, "proof load"),
        ("engineer@service.example", "proof load copy"),
        ("stores@service.example", "proof load copy"),
    ];
    assert_eq!(told(&booked), all, "and not the engineer of another station");
    for quiet in ["2026-07-24T07:00:00Z", "2026-08-27T07:00:00Z", "2026-09-20T07:00:00Z"] {
        assert_eq!(told(&service.swept(quiet).await), [], "{quiet}");
    }
    let again = service.swept("2026-09-21T07:00:00Z").await;
    assert_eq!(told(&again), all);
    assert!(service.text(&again[0]).await.contains(&format!("replaces {}", booked[0].number)));
    assert_eq!(told(&service.swept("2026-09-28T07:00:00Z").await), []);
}

/// Every field that the notice is to have: 6.4 t = 62.8 kN is 43 % of 161.3 x 0.9 = 145.2 kN.
#[tokio::test]
async fn the_notice_holds_every_field_and_its_copy_says_whom_it_asks() {
    let service = Service::begun().await;
    let booked = service.swept("2026-07-23T07:00:00Z").await;
    let text = service.text(&booked[0]).await;
    for said in [
        "F-1",
        "(certificate DC-7741)",
        "WLL 3.2 t. Proof load 6.4 t = 62.8 kN (2 x WLL ",
        "Standard: ILO cargo-gear proof-load steps (from memory, check against the code).",
        "Hold 3 min.",
        "That is 43 % of 145.2 kN (MBF 161.3 kN x termination factor 0.9).",
        "Rig at: outer end, ferrule and thimble; inner end, seized.",
        "Prior proofs: 1, last 1 Oct 2021, 62.8 kN.",
        "Report needed by 1 Oct 2026.",
        "Witness: name them in the report.",
        "Return: load reached, gauge serial and calibration date",
    ] {
        assert!(text.contains(said), "missing: {said}\nin: {text}");
    }
    let copy = service.text(&booked[1]).await;
    let of = format!("A copy of {} to Booking <{HOUSE}>; nothing is asked of you.", booked[0].number);
    assert!(copy.contains(&of) && copy.contains("(certificate DC-7741)"), "{copy}");
    assert!(booked[1].lines.is_empty(), "a copy tells nobody of their own rows");
}

/// An engineer whose name cannot stand in a mail: the test house is asked all the same, and stores are sent their copy.
#[tokio::test]
async fn a_copy_that_cannot_be_written_keeps_nobody_else_waiting() {
    let service = Service::begun().await;
    let store = &service.desk.store;
    let mut engineer = store.newest::<Person>().await.unwrap().remove("engineer@service.example").unwrap();
    engineer.name = "Engineer\r\nBcc: all@service.example".to_owned();
    let at = service.desk.now();
    let deed = Deed { actor: "test".to_owned(), action: "plant".to_owned(), at };
    store.write(deed, async |tx: &mut Writer| tx.append(&[engineer]).await).await.unwrap();
    let booked = service.swept("2026-07-23T07:00:00Z").await;
    assert_eq!(told(&booked), [(HOUSE, "proof load"), ("stores@service.example", "proof load copy")]);
    let alarms = daemon::alarms::standing(store).await.unwrap();
    let text = alarms.iter().find(|alarm| alarm.about == "unwritten").map(|alarm| alarm.text.as_str());
    assert!(
        text.is_some_and(|text| text.contains("to engineer@service.example (a copy of what")),
        "{alarms:?}"
    );
}
