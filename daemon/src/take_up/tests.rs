use std::path::PathBuf;

use jiff::civil::date;

use super::*;
use crate::demo;
use crate::desk::Desk;
use crate::in_force::{first_differs, is_succeeded, keep_first, replayed, serving};

const ENGINEER: &str = "engineer.region@mcbs.example";
const HEAD: &str = "head.engineering@mcbs.example";

/// A moment in summer time at the demo's home.
fn at(text: &str) -> Instant {
    text.parse::<jiff::Timestamp>().unwrap().into()
}

/// Monday 12 Oct 2026, 07:00 at home.
fn monday() -> Instant {
    at("2026-10-12T06:00:00Z")
}

/// A folder that is gone with its test.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Folder {
        let folder = std::env::temp_dir().join(format!("tallow-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        Folder(folder)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// The demo, its set kept with the store as an import keeps it.
async fn demo_desk(folder: &Folder) -> Desk {
    let desk = demo::load(&folder.0).await.unwrap();
    keep_first(&desk.store, &folder.0.join("policies"), monday()).await.unwrap();
    desk
}

fn planned() -> Request {
    Request { files: demo::planned::files(), by: ENGINEER.to_owned(), ..Request::default() }
}

/// The planned set with another day, and more changes of its text.
fn planned_for(day: &str, changes: &[(&str, &str)]) -> Request {
    let mut request = planned();
    for file in &mut request.files {
        file.text = file.text.replace("2026-11-01", day);
        for (old, new) in changes {
            file.text = file.text.replace(old, new);
        }
    }
    request
}

async fn refused(store: &Store, request: &Request) -> String {
    rehearse(store, request, monday()).await.unwrap_err().to_string()
}

/// More than ten, or more than 5 %: on both sides of each edge; and any date of law.
#[test]
fn a_second_word_is_wanted_beyond_ten_beyond_five_in_a_hundred_and_for_law() {
    let wanted = |later, stopping, law| second_word(later, stopping, law).is_some();
    assert!(!wanted(10, 1_000, 0) && wanted(11, 1_000, 0));
    assert!(!wanted(5, 100, 0) && wanted(6, 100, 0));
    assert!(!wanted(1, 20, 0) && wanted(1, 19, 0));
    assert!(!wanted(0, 0, 0) && wanted(0, 1_000, 1));
}

#[tokio::test]
async fn what_the_demo_plans_is_rehearsed_taken_up_and_in_force_on_its_day() {
    let folder = Folder::new("take-up");
    let desk = demo_desk(&folder).await;
    let store = &desk.store;
    let alone = rehearse(store, &planned(), monday()).await.unwrap();
    let moved = |what: &str, rule: &str| {
        alone.compared.moves.iter().filter(|one| one.what == what && one.rule == rule).count()
    };
    // Twelve hauling chains fitted, one in store: their test moves six months later.
    let later: Vec<&str> =
        alone.compared.moves.iter().filter(|one| one.later).map(|one| one.rule.as_str()).collect();
    assert!(later.len() > MOST_LATER);
    assert!(later.iter().all(|rule| *rule == "hauling-chain-magnetic-particle-test"), "{later:?}");
    for what in ["due date", "notice"] {
        assert!(moved(what, "winch-wire-measurement") > 0, "{what}");
    }
    assert!(alone.compared.moves.iter().any(|one| one.what == "spare"));
    assert!(alone.compared.moves.iter().all(|one| one.effect_on.as_str() >= "2026-11-01"));
    assert!(alone.compared.moves.is_sorted_by(|a, b| a.effect_on <= b.effect_on));
    assert_eq!(alone.objections.len(), 1, "{:?}", alone.objections);
    assert!(keep(store, &planned(), &alone, monday()).await.is_err());
    let request = Request { second: Some(HEAD.to_owned()), ..planned() };
    let both = rehearse(store, &request, monday()).await.unwrap();
    assert_eq!(both.objections, Vec::<String>::new());
    keep(store, &request, &both, monday()).await.unwrap();
    assert_eq!(store.check().await.unwrap(), Vec::<String>::new());
    let twice = keep(store, &request, &both, monday()).await.unwrap_err().to_string();
    assert!(twice.contains("already"), "{twice}");
    days(store, &both.old.hash, &both.new.hash).await;
}

/// The set in force round its day, as known then and later.
async fn days(store: &Store, old: &str, new: &str) {
    let on = async |as_of, known| replayed(store, None, Some(as_of), known, monday()).await.unwrap().hash;
    assert_eq!(on(date(2026, 10, 31), None).await, old);
    assert_eq!(on(date(2026, 11, 1), None).await, new);
    assert_eq!(on(date(2026, 11, 1), Some(date(2026, 10, 11))).await, old);
    assert_eq!(on(date(2026, 11, 1), Some(date(2026, 10, 12))).await, new);
    // Summer time has ended: midnight at home is midnight UTC.
    let (before, after) = (at("2026-10-31T23:59:59Z"), at("2026-11-01T00:00:00Z"));
    assert!(!is_succeeded(store, old, before).await.unwrap());
    assert!(is_succeeded(store, old, after).await.unwrap());
    assert!(!is_succeeded(store, new, after).await.unwrap());
    assert_eq!(serving(store, None, before).await.unwrap().hash, old);
    assert_eq!(serving(store, None, after).await.unwrap().hash, new);
}

#[tokio::test]
async fn what_stands_against_a_set_is_said_and_nothing_is_kept() {
    let folder = Folder::new("refused");
    let desk = demo_desk(&folder).await;
    what_cannot_be_taken_up_is_refused_in_words(&desk.store).await;
    nothing_is_overdue_at_once_without_fourteen_days(&desk.store).await;
    one_date_of_law_that_moves_later_wants_a_second_word(&desk.store).await;
    assert_eq!(desk.store.approvals(None).await.unwrap(), []);
}

async fn what_cannot_be_taken_up_is_refused_in_words(store: &Store) {
    let undated = Request { files: demo::policy_files(), ..planned() };
    assert!(refused(store, &undated).await.contains("effective_from = \"2026-10-12\" or later"));
    assert!(refused(store, &planned_for("2026-10-11", &[])).await.contains("has gone by"));
    let broken = planned_for("2026-11-01", &[("every = \"21 days\"", "every = \"0 days\"")]);
    assert!(refused(store, &broken).await.contains("winch-wires.toml"));
    for (by, words) in [
        ("nobody@mcbs.example", "is not in people.csv"),
        ("stores@mcbs.example", "is clerk"),
        ("mechanic.qua@mcbs.example", "is mechanic"),
    ] {
        let told = refused(store, &Request { by: by.to_owned(), ..planned() }).await;
        assert!(told.contains(words), "{told}");
        let told = refused(store, &Request { second: Some(by.to_owned()), ..planned() }).await;
        assert!(told.contains(words), "{told}");
    }
    let own = Request { second: Some(ENGINEER.to_owned()), ..planned() };
    assert!(refused(store, &own).await.contains("another person"));
}

/// The wire at Senloe was measured on 21 Sep: with 21 days and 5 of tolerance it is overdue on 25 Oct, with a month
/// it is not. So it is given 14 days, unless safety asks for less.
async fn nothing_is_overdue_at_once_without_fourteen_days(store: &Store) {
    let wire = ("sen".to_owned(), "W-0445".to_owned(), "winch-wire-measurement".to_owned());
    let rehearsed = async |day: &str, safety| {
        let second = Some(HEAD.to_owned());
        let request = Request { second, safety, ..planned_for(day, &[]) };
        rehearse(store, &request, monday()).await.unwrap()
    };
    let soon = rehearsed("2026-10-25", false).await;
    assert!(soon.overdue_at_once.contains(&wire), "{:?}", soon.overdue_at_once);
    assert!(soon.objections.len() == 1 && soon.objections[0].contains("2026-10-26"), "{:?}", soon.objections);
    assert_eq!(rehearsed("2026-10-25", true).await.objections, Vec::<String>::new());
    let later = rehearsed("2026-10-26", false).await;
    assert!(later.overdue_at_once.contains(&wire) && later.objections.is_empty(), "{:?}", later.objections);
}

/// A date of law that moves later wants a second word, were it the only one.
async fn one_date_of_law_that_moves_later_wants_a_second_word(store: &Store) {
    let mut request = planned();
    request.files = demo::policy_files();
    for file in &mut request.files {
        let dated = "effective_from = \"2026-11-01\"\nhome_zone ";
        file.text = file.text.replacen("home_zone ", dated, 1);
        if let Some(at) = file.text.find("\"winch-thorough-examination\"") {
            let tail = file.text.split_off(at);
            file.text += &tail.replacen("every = \"12 months\"", "every = \"13 months\"", 1);
        }
    }
    let found = rehearse(store, &request, monday()).await.unwrap();
    assert!(found.compared.moves.iter().any(|one| one.law_later), "{:?}", found.compared.moves);
    assert!(
        found
            .compared
            .moves
            .iter()
            .all(|one| one.rule.is_empty() || one.rule == "winch-thorough-examination")
    );
    assert_eq!(found.objections.len(), 1);
}

/// The kept set is lost, and the folder holds another one: only the set that the chain names is kept again.
#[tokio::test]
async fn a_store_that_lost_its_first_set_keeps_no_other_as_the_first() {
    let (folder, other) = (Folder::new("lost-set"), Folder::new("other-set"));
    let desk = demo_desk(&folder).await;
    let (store, own) = (&desk.store, folder.0.join("policies"));
    for file in planned().files {
        std::fs::write(other.0.join(&file.name), file.text).unwrap();
    }
    let hash = serving(store, Some(&other.0), monday()).await.unwrap().hash;
    store.forget("policy set in force").await.unwrap();
    for refused in [
        serving(store, Some(&other.0), monday()).await.map(drop),
        serving(store, None, monday()).await.map(drop),
        keep_first(store, &other.0, monday()).await,
    ] {
        let said = refused.unwrap_err().to_string();
        assert!(said.contains("is gone from the store") && said.contains(&hash), "{said}");
    }
    assert!(first_differs(store).await.unwrap().unwrap().contains("none is there"));
    assert_eq!(serving(store, Some(&own), monday()).await.unwrap().hash, hash);
    assert_eq!(first_differs(store).await.unwrap(), None);
    assert_eq!(serving(store, Some(&other.0), monday()).await.unwrap().hash, hash);
}
