//! Recording from pages: each form does one thing, says at the field what is wrong, and is one record however often it
//! is sent. What is recorded goes through the same functions as the command line's.

mod blank;
mod card;
mod concede;
mod cutting;
mod decisions;
mod doing;
mod done;
mod examine;
mod fault_found;
mod gear;
mod hard;
mod judge;
mod later;
pub(super) mod once;
mod ordering;
mod paper;
mod rehearse;
mod release;
mod second;
mod settle;
mod stock;
mod undo;
pub(super) mod unlogged;

use axum::routing::get;
use policies::facts::{Fleet, ItemId};
use policies::rule::{Authority, RuleId, Work};

use super::fault::Fault;
use super::links::{Link, Links, encoded};
use super::posted::Form;
use super::routes::{At, Need, Row};
use super::visit::Visit;
use super::{Web, gate, item};
use crate::accounts::Seen;
use crate::rights::{self, Act, Place};

pub(super) use card::{Tap, taps};
pub(super) use decisions::{Decision, decisions};
pub(super) use doing::{Doing, asks_who};
pub(super) use later::{NotNow, not_now};

/// A page with a form.
macro_rules! shows {
    ($path:expr, $need:expr, $at:expr, $page:path) => {
        Row::get($path, $need, $at, get(async |visit: Visit| visit.answer($page(&visit).await)))
    };
}

/// Every form that records, beside the two presses of a station's log.
pub(super) fn rows() -> Vec<Row> {
    let mut rows = station_rows();
    rows.extend(gear_rows());
    rows.extend(engineers_rows());
    rows.extend(stores_rows());
    rows
}

fn station_rows() -> Vec<Row> {
    let log = Need::Does(Act::LogUse);
    let work = Need::Does(Act::RecordWork);
    vec![
        shows!("/station/{slug}/hold", log, At::Station, hard::page),
        Row::post("/station/{slug}/hold", log, At::Station, hard::take),
        Row::post("/station/{slug}/log/undo", log, At::Station, undo::take),
        shows!("/station/{slug}/judge", Need::Reads(Act::ViewStation), At::Station, judge::page),
        Row::post("/station/{slug}/card", work, At::Station, card::take),
        shows!("/work/{*what}", work, At::Page, done::page),
        Row::post("/work/{*what}", work, At::Page, done::take),
        shows!("/recorded/{*key}", Need::Reads(Act::ViewItem), At::Region, done::recorded),
        Row::post("/recorded/{*key}", Need::Does(Act::CorrectRecord), At::Page, done::undo),
        shows!("/later/{*what}", work, At::Page, later::page),
        Row::post("/later/{*what}", work, At::Page, later::take),
        shows!("/fault/{*what}", Need::Does(Act::RecordFailedWork), At::Page, fault_found::page),
        Row::post("/fault/{*what}", Need::Does(Act::RecordFailedWork), At::Page, fault_found::take),
    ]
}

fn gear_rows() -> Vec<Row> {
    let fit = Need::Does(Act::FitItem);
    vec![
        shows!("/fit/{*tag}", fit, At::Page, gear::fit_page),
        Row::post("/fit/{*tag}", fit, At::Page, gear::fit),
        shows!("/remove/{*tag}", fit, At::Page, gear::remove_page),
        Row::post("/remove/{*tag}", fit, At::Page, gear::remove),
        shows!("/state/{*tag}", Need::Does(Act::SetAside), At::Page, gear::state_page),
        Row::post("/state/{*tag}", Need::Does(Act::SetAside), At::Page, gear::state),
        shows!("/certificate/{*tag}", Need::Does(Act::AddCertificate), At::Page, paper::page),
        Row::post("/certificate/{*tag}", Need::Does(Act::AddCertificate), At::Page, paper::take)
            .up_to(paper::MOST),
        shows!("/examine/{*what}", Need::Does(Act::DraftExamination), At::Page, examine::page),
        Row::post("/examine/{*what}", Need::Does(Act::DraftExamination), At::Page, examine::take),
        shows!("/sign/{*number}", Need::Does(Act::SignExamination), At::Page, examine::sign_page),
        Row::post("/sign/{*number}", Need::Does(Act::SignExamination), At::Page, examine::sign),
    ]
}

fn engineers_rows() -> Vec<Row> {
    let does = |act| Need::Does(act);
    vec![
        shows!("/doubt/{*key}", does(Act::SettleDoubt), At::Page, settle::page),
        Row::post("/doubt/{*key}", does(Act::SettleDoubt), At::Page, settle::take),
        shows!("/acknowledge/{*what}", does(Act::AcknowledgeCorrection), At::Region, settle::waits_page),
        Row::post("/acknowledge/{*what}", does(Act::AcknowledgeCorrection), At::Region, settle::acknowledge),
        shows!("/concession/{*what}", does(Act::GrantConcession), At::Region, concede::page),
        Row::post("/concession/{*what}", does(Act::GrantConcession), At::Region, concede::take),
        shows!("/end/{*number}", does(Act::GrantConcession), At::Region, concede::end_page),
        Row::post("/end/{*number}", does(Act::GrantConcession), At::Region, concede::end),
        shows!("/release/{*tag}", does(Act::ReleaseGear), At::Region, release::page),
        Row::post("/release/{*tag}", does(Act::ReleaseGear), At::Region, release::take),
        shows!("/second/{number}", does(Act::SaySecondWord), At::Region, second::page),
        Row::post("/second/{number}", does(Act::SaySecondWord), At::Region, second::take),
        shows!("/rules/rehearse/{file}", does(Act::RehearsePolicy), At::Region, rehearse::page),
        Row::post("/rules/rehearse/{file}", does(Act::RehearsePolicy), At::Region, rehearse::take)
            .up_to(rehearse::MOST),
    ]
}

fn stores_rows() -> Vec<Row> {
    let does = |act| Need::Does(act);
    vec![
        shows!("/stores/raise/{*tag}", does(Act::RaiseOrder), At::Region, ordering::raise_page),
        Row::post("/stores/raise/{*tag}", does(Act::RaiseOrder), At::Region, ordering::raise),
        shows!("/stores/sign/{*number}", does(Act::SignOrder), At::Region, ordering::sign_page),
        Row::post("/stores/sign/{*number}", does(Act::SignOrder), At::Region, ordering::sign),
        shows!("/stores/receive/{*number}", does(Act::MoveStock), At::Region, ordering::receive_page),
        Row::post("/stores/receive/{*number}", does(Act::MoveStock), At::Region, ordering::receive),
        shows!("/stores/count/{*tag}", does(Act::MoveStock), At::Region, stock::count_page),
        Row::post("/stores/count/{*tag}", does(Act::MoveStock), At::Region, stock::count),
        shows!("/stores/move/{*tag}", does(Act::MoveStock), At::Region, stock::move_page),
        Row::post("/stores/move/{*tag}", does(Act::MoveStock), At::Region, stock::moved),
        shows!("/stores/issue/{*tag}", does(Act::MoveStock), At::Region, stock::issue_page),
        Row::post("/stores/issue/{*tag}", does(Act::MoveStock), At::Region, stock::issue),
        shows!("/stores/cut/{*tag}", does(Act::CutItem), At::Region, cutting::page),
        Row::post("/stores/cut/{*tag}", does(Act::CutItem), At::Region, cutting::take),
    ]
}

/// An item and a rule that an address names: `TAG/RULE`.
#[derive(Clone, Debug)]
struct Task {
    tag: String,
    rule: RuleId,
    id: ItemId,
    /// Station that owns the item.
    owner: Option<String>,
    /// Station that it is fitted at, or that owns it.
    station: Option<String>,
}

impl Task {
    /// What an address names.
    ///
    /// # Errors
    /// No such item, or no rule for it.
    async fn of(web: &Web, address: &str) -> Result<Task, Fault> {
        let (tag, rule) = address.rsplit_once('/').unwrap_or((address, ""));
        let set = &web.desk.set;
        let now = web.desk.now();
        web.desk
            .with_fleet(|fleet| {
                let id = item::find(fleet, &Links::default(), tag)?;
                let kind = fleet.item(id).kind;
                let found = set.find_rule(rule).filter(|found| set.rule(*found).applies_to.kind == kind);
                let Some(rule) = found else {
                    let near = vec![Links::default().to_item(tag)];
                    let wrong = format!("\"{rule}\" is no rule for {tag}.");
                    return Err(Fault::missing(wrong, "Its own page names what is due.", near));
                };
                let outermost = fleet.chain(id, now).last().copied().unwrap_or(id);
                let user = station_of(fleet, outermost).or_else(|| station_of(fleet, id));
                Ok(Task { tag: tag.to_owned(), rule, id, owner: station_of(fleet, id), station: user })
            })
            .await?
    }

    fn rule_id(&self, web: &Web) -> String {
        web.desk.set.rule(self.rule).id.clone()
    }

    fn title(&self, web: &Web) -> String {
        web.desk.set.rule(self.rule).title.clone()
    }

    fn address(&self, web: &Web, before: &str) -> String {
        format!("/{before}/{}/{}", encoded(&self.tag, true), encoded(&self.rule_id(web), false))
    }

    /// The station's day, or the item's page where it is of none.
    fn back(&self) -> String {
        match &self.station {
            Some(slug) => format!("/station/{}", encoded(slug, false)),
            None => Links::item_path(&self.tag),
        }
    }
}

fn station_of(fleet: &Fleet, id: ItemId) -> Option<String> {
    fleet.station_of(fleet.item(id)).map(|station| station.slug.to_string())
}

/// The station that owns an item.
///
/// # Errors
/// No such item.
async fn owner(web: &Web, tag: &str) -> Result<Option<String>, Fault> {
    let found = |fleet: &Fleet| Ok(station_of(fleet, item::find(fleet, &Links::default(), tag)?));
    web.desk.with_fleet(found).await?
}

/// Lets somebody through to what they do with gear of a station.
///
/// # Errors
/// A stranger, or somebody who may not.
fn may<'v>(visit: &'v Visit, act: Act, station: Option<&str>) -> Result<&'v Seen, Fault> {
    let seen = visit.signed()?;
    gate::allowed(seen, act, Place::Of(station))?;
    Ok(seen)
}

/// Whether somebody who is signed in may.
fn may_now(visit: &Visit, act: Act, station: Option<&str>) -> bool {
    visit.presence.seen().is_some_and(|seen| rights::may(&seen.who, act, Place::Of(station)).is_ok())
}

/// What a rule asks, in its own words; its id where it is in force no more.
fn title_of(web: &Web, rule: &str) -> String {
    let set = &web.desk.set;
    set.find_rule(rule).map_or_else(|| rule.to_owned(), |id| set.rule(id).title.clone())
}

/// What stands in a field; nothing where it is empty.
fn given<'f>(form: &'f Form, name: &str) -> Option<&'f str> {
    Some(form.field(name)).filter(|text| !text.is_empty())
}

/// What may be done with an item, for its page.
pub(super) fn ways_of(visit: &Visit, tag: &str, station: Option<&str>, is_shut: bool) -> Vec<Link> {
    let ways = [
        (Act::FitItem, "Fit it", "fit"),
        (Act::FitItem, "Remove it", "remove"),
        (Act::SetAside, "Set aside, lay up, withdraw", "state"),
        (Act::AddCertificate, "Add a certificate", "certificate"),
        (Act::ReleaseGear, "Release it", "release"),
    ];
    let fits = |act: Act| act != Act::ReleaseGear || is_shut;
    let mine = ways.into_iter().filter(|(act, ..)| fits(*act) && may_now(visit, *act, station));
    mine.map(|(_, text, path)| Link {
        text: text.to_owned(),
        href: format!("/{path}/{}", encoded(tag, true)),
    })
    .collect()
}

/// Whether who is signed in may end a concession.
pub(super) fn may_end(visit: &Visit) -> bool {
    may_now(visit, Act::GrantConcession, None)
}

/// Where a rule file is rehearsed, for who may.
pub(super) fn way_to_rehearse(visit: &Visit, file: &str) -> String {
    if may_now(visit, Act::RehearsePolicy, None) {
        format!("/rules/rehearse/{}", encoded(file, false))
    } else {
        String::new()
    }
}

/// Ways from a line of gear to what records it.
pub(super) fn ways_of_task(visit: &Visit, tag: &str, rule: &str, station: Option<&str>) -> Vec<Link> {
    let ways = [
        (Act::RecordWork, "Done", "work"),
        (Act::RecordWork, "Not now", "later"),
        (Act::DraftExamination, "Report", "examine"),
        (Act::GrantConcession, "Concession", "concession"),
    ];
    let set = &visit.web.desk.set;
    let found = set.find_rule(rule).map(|id| set.rule(id));
    let examined = found.is_some_and(|rule| rule.work == Work::ThoroughExamination);
    let waived = found.is_some_and(|rule| rule.authority != Authority::Law);
    let fits = |act: Act| match act {
        Act::DraftExamination => examined,
        Act::GrantConcession => waived,
        _ => true,
    };
    let mine = ways.into_iter().filter(|(act, ..)| fits(*act) && may_now(visit, *act, station));
    mine.map(|(_, text, path)| Link {
        text: format!("{text}: {tag}"),
        href: format!("/{path}/{}/{}", encoded(tag, true), encoded(rule, false)),
    })
    .collect()
}
