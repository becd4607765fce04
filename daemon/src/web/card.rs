//! The before-use card of a station: what is looked at before each launch, around carriage and tractor, with the
//! limits; as a list on the station's page, and as a sheet of its own to be printed and initialled.

use askama::Template;
use axum::response::Response;
use policies::due::{Because, Evaluator};
use policies::facts::{Fleet, ItemId, StationId};
use policies::rule::{Effect, RuleId};

use super::asked::Asked;
use super::entry::{Tap, taps};
use super::fault::Fault;
use super::judged::Judged;
use super::links::encoded;
use super::outfit::Told;
use super::place::View;
use super::shell::Shell;
use super::source::Source;
use super::station::{self, Station};
use super::visit::{Visit, html};
use super::{Web, caution, filters, replay, words};
use crate::accounts::{Seen, random_word};
use crate::gear::is_at;
use crate::records::{Concession, Work};
use crate::rights::{self, Act, Place};
use policies::zone::Instant;
use std::sync::Arc;

/// What one rule looks at on one host.
struct Look {
    task: String,
    /// `F-0416 port fall, 16 mm`, one for each thing.
    gear: Vec<String>,
    limits: Vec<String>,
    by: String,
    effect: &'static str,
    authority: &'static str,
    source: Option<String>,
    tap: Tap,
}

/// A carriage, a tractor or a station set, with what is looked at on it.
struct Round {
    host: String,
    looks: Vec<Look>,
}

#[derive(Template)]
#[template(path = "card.html")]
struct Page {
    shell: Shell,
    name: String,
    answer: String,
    shut: Vec<String>,
    holds: Vec<String>,
    conceded: Vec<String>,
    few: Vec<String>,
    rounds: Vec<Round>,
    first: &'static str,
    cautions: [&'static str; 4],
    /// Where it is tapped, and the word of its forms; empty where it is only read.
    action: String,
    word: String,
    back: String,
}

/// The page.
///
/// # Errors
/// An unknown station, a date that is none, or records that cannot be read.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let source = Source::open(&visit.web, &asked).await?;
    let concessions = source.records(|_: &Concession| true).await?;
    let slug = visit.name();
    let told = Told::read(visit, &asked, &source, Some(slug)).await?;
    let set = &visit.web.desk.set;
    let before_use = |rule: &str| set.find_rule(rule).is_some_and(|id| set.rule(id).before_use);
    let here = |fleet: &Fleet| {
        let evaluator = Evaluator::without_forecasts(set, fleet, asked.judged);
        let own = fleet.ids().filter(|id| is_at(&evaluator, fleet, *id, slug));
        Ok(own.map(|id| fleet.item(id).tag.to_string()).collect())
    };
    let mut looked = source.of_items::<Work>(&source.fleet(here).await?).await?;
    looked.retain(|work| before_use(&work.rule));
    let made = |fleet: &Fleet| make(&visit.web, &asked, fleet, slug, &concessions, &told, &looked);
    let mut page = source.fleet(made).await?;
    let may = |seen: &Arc<Seen>| rights::may(&seen.who, Act::RecordWork, Place::Of(Some(slug))).is_ok();
    if visit.presence.seen().is_some_and(may) && !asked.replays {
        page.action = format!("/station/{}/card", encoded(slug, false));
        page.word = visit.word()?.text;
        page.shell = page.shell.scripted();
        for look in page.rounds.iter_mut().flat_map(|round| &mut round.looks) {
            random_word()?[..32].clone_into(&mut look.tap.key);
        }
    }
    html(&page)
}

fn make(
    web: &Web,
    asked: &Asked,
    fleet: &Fleet,
    slug: &str,
    concessions: &[Concession],
    told: &Told,
    looked: &[Work],
) -> Result<Page, Fault> {
    let view = View::new(web, asked, fleet);
    let id = view.find_station(slug).ok_or_else(|| station::unknown(&view, slug))?;
    let name = view.station(id).name.to_string();
    let known = replay::known_at(web, asked, fleet, id);
    let station = Station::of(view, id, concessions, told);
    let view = &station.view;
    let title = format!("Before-use card: {name}");
    Ok(Page {
        shell: Shell::of(web, asked, &title, known),
        answer: station.answer(),
        shut: view.not_to_be_used(id, told),
        holds: view.holds(id).into_iter().map(|hold| hold.says).collect(),
        conceded: conceded(&station.judged),
        few: station.judged.iter().filter_map(|judged| view.few_left(judged)).collect(),
        rounds: view.rounds(id, looked, web.desk.now()),
        action: String::new(),
        word: String::new(),
        back: asked.links.station(slug),
        first: caution::IF_IN_DOUBT,
        cautions: [caution::BIGHT, caution::LOAD_OFF, caution::AFTER_SHOCK, caution::HOUSE_FIGURES],
        name,
    })
}

/// The conditions under which concessions let gear be used, each once.
fn conceded(judged: &[Judged]) -> Vec<String> {
    let live = judged.iter().filter_map(|judged| judged.concession);
    let said = live.map(|concession| {
        let until = concession.until_date.parse().map(words::full_day).unwrap_or_default();
        format!("{} to 24:00 on {until}: {}", concession.key, concession.conditions)
    });
    let mut found: Vec<String> = Vec::new();
    for text in said {
        if !found.contains(&text) {
            found.push(text);
        }
    }
    found
}

impl View<'_> {
    /// What is looked at before a launch, rule by rule, in the order in which gear stands around carriage and tractor.
    pub(super) fn looked_at(&self, station: StationId) -> Vec<(RuleId, Vec<ItemId>)> {
        by_rule(self, self.used_here(station))
    }

    fn used_here(&self, station: StationId) -> Vec<ItemId> {
        let here = self.fleet.ids().filter(|item| self.counts_for(*item) == Some(station));
        let mut items: Vec<ItemId> = here.filter(|item| self.shut(*item).is_none()).collect();
        items.sort_by_key(|item| self.walk(*item));
        items
    }

    fn before_use(&self, item: ItemId) -> impl Iterator<Item = RuleId> {
        let facts = self.item(item);
        let station = self.fleet.station_of(facts).map(|station| &*station.slug);
        let rules = (0u16..).zip(&self.set.rules);
        rules
            .filter(move |(_, rule)| rule.before_use && rule.is_for(facts, station))
            .map(|(index, _)| RuleId(index))
    }

    /// Outermost host by kind, then position by position.
    fn walk(&self, item: ItemId) -> (u16, ItemId, Vec<u16>) {
        let outermost = self.outermost(item);
        let chain = self.fleet.chain(item, self.cutoff(item));
        let positions = chain.iter().rev().filter_map(|id| self.fitting(*id)?.position);
        (self.item(outermost).kind.0, outermost, positions.collect())
    }

    /// The same, host by host.
    fn rounds(&self, station: StationId, looked: &[Work], now: Instant) -> Vec<Round> {
        let items = self.used_here(station);
        let hosts = items.chunk_by(|a, b| self.outermost(*a) == self.outermost(*b));
        let rounds = hosts.map(|items| {
            let host = self.outermost(items[0]);
            let looks = by_rule(self, items.to_vec());
            Round {
                host: format!("{} {}", words::upper_first(&self.kind(host).name), self.tag(host)),
                looks: looks.into_iter().map(|(rule, items)| self.look(rule, &items, looked, now)).collect(),
            }
        });
        rounds.filter(|round| !round.looks.is_empty()).collect()
    }

    fn look(&self, rule: RuleId, items: &[ItemId], looked: &[Work], now: Instant) -> Look {
        let rule = self.set.rule(rule);
        Look {
            task: rule.title.clone(),
            gear: items.iter().map(|id| format!("{} {}", self.tag(*id), self.what(*id))).collect(),
            limits: rule.records.iter().map(words::reading).collect(),
            by: rule.by.clone().unwrap_or_default(),
            effect: rule.overdue.word(),
            authority: rule.authority.word(),
            source: rule.source.clone(),
            tap: taps(self, rule, items, looked, now),
        }
    }

    /// Gear that is fitted here and yet out of use.
    fn not_to_be_used(&self, station: StationId, told: &Told) -> Vec<String> {
        let here = self.fleet.ids().filter(|item| self.counts_for(*item) == Some(station));
        let said = here.filter_map(|id| {
            let shut = self.shut(id)?;
            let why = self.shut_words(id, &shut, told.reason(self, id, &shut));
            Some(format!("{} {}: {why}", self.tag(id), self.what(id)))
        });
        said.collect()
    }

    /// `F-0417 starboard fall, 16 mm: 8 launches left of 250, …`, once a count that stops a launch runs out.
    fn few_left(&self, judged: &Judged) -> Option<String> {
        let row = &judged.row;
        let near = judged.station.is_some() && judged.effect == Effect::StopsLaunch;
        let counted =
            row.because == Some(Because::Usage) && row.standing > policies::standing::Standing::InDate;
        if !near || !counted || row.used_up {
            return None;
        }
        let found = self.evaluator.derive(row.item, row.rule);
        let task = words::lower_first(&self.set.rule(row.rule).title);
        let by = self.when(&found).by;
        Some(format!("{} {}, {task}: {by}", self.tag(row.item), self.what(row.item)))
    }
}

fn by_rule(view: &View, items: Vec<ItemId>) -> Vec<(RuleId, Vec<ItemId>)> {
    let mut checks: Vec<(RuleId, Vec<ItemId>)> = Vec::new();
    for item in items {
        for rule in view.before_use(item) {
            match checks.iter_mut().find(|(have, _)| *have == rule) {
                Some((_, looked_at)) => looked_at.push(item),
                None => checks.push((rule, vec![item])),
            }
        }
    }
    checks
}
