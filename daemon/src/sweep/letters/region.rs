//! The facts of the region's week.

use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::Evaluator;
use policies::facts::Fleet;
use policies::readiness::Papers;
use policies::rule::Effect;
use policies::zone::Instant;

use crate::cover;
use crate::desk::{Desk, DeskError};
use crate::doubts;
use crate::fitness::{self, Causes, Line, Words};
use crate::gear;
use crate::kept_dates;
use crate::notices::letters::{Page, Region};
use crate::records::Station;
use crate::store::outbox::Astray;
use crate::sweep::{Mail, deed};

/// How the stations stood when the region was last told.
const STOOD: &str = "region stood";
const WEEKS_AHEAD: i32 = 28;
/// Five weeks: what went astray before was told four times.
const TROUBLE_MICROS: i64 = 35 * 24 * 3_600 * 1_000_000;

/// Remembers how the stations stand, for the changes of next week.
pub(super) async fn remember(desk: &Desk) -> Result<(), DeskError> {
    let papers = fitness::papers(&desk.store, None).await?;
    let now = AsOf::Now(desk.now());
    let lines =
        desk.with_fleet(|fleet| fitness::lines(&desk.set, fleet, now, &papers.of(&desk.set, fleet))).await?;
    let stands = lines.iter().map(|line| format!("{}={}", line.station, line.readiness));
    let stands = stands.collect::<Vec<_>>().join(";");
    Ok(desk.store.note(deed(desk.now()), STOOD, &stands).await?)
}

pub(super) async fn page(desk: &Desk, mail: &Mail, number: &str) -> Result<Page, DeskError> {
    let papers = fitness::papers(&desk.store, None).await?;
    let stations: HashMap<String, Station> = desk.store.newest::<Station>().await?;
    let before = desk.store.remembered(STOOD).await?;
    let causes = Causes::now(desk).await?;
    let as_of = desk.today();
    let found = desk
        .with_fleet(|fleet| {
            let papers = papers.of(&desk.set, fleet);
            facts(desk, fleet, (&papers, &causes), &stations, as_of)
        })
        .await?;
    let (lines, mut region) = found;
    let stood = lines.iter().map(|line| (line.station.as_str(), line.readiness)).collect();
    region.changed = changed(before.as_deref(), &stood);
    let fleet = desk.store.fleet(&desk.set, None).await?.fleet;
    let waiting = kept_dates::waiting(&desk.store, &desk.set, &fleet, as_of).await?;
    region.decide.extend(waiting.iter().map(|waits| {
        format!("{} {}: stands at {}, corrected to {}", waits.item, waits.rule, waits.stands, waits.corrected)
    }));
    region.trouble = trouble(desk).await?;
    let zone = desk.set.service.home_zone.time_zone().clone();
    region.as_known =
        desk.now().timestamp().to_zoned_datetime(zone).strftime("%-d %b %Y %H:%M (%Z)").to_string();
    number.clone_into(&mut region.number);
    region.pages_url.clone_from(&mail.pages_url);
    Ok(region.page())
}

fn facts(
    desk: &Desk,
    fleet: &Fleet,
    (papers, causes): (&Papers, &Causes),
    stations: &HashMap<String, Station>,
    as_of: Date,
) -> (Vec<Line>, Region) {
    let now = AsOf::Now(desk.now());
    let evaluator = Evaluator::without_forecasts(&desk.set, fleet, now);
    let words = Words { set: &desk.set, fleet, as_of: now, evaluator: &evaluator, papers, causes };
    let judged = evaluator.readiness(papers);
    let lines = words.lines(&judged);
    let of = |state: &str| {
        let here = lines.iter().filter(|line| line.readiness == state);
        here.map(|line| match line.reasons.as_slice() {
            [] => line.name.clone(),
            [only] => format!("{}: {only}", line.name),
            [first, more @ ..] => format!("{}: {first} (and {} more)", line.name, more.len()),
        })
        .collect::<Vec<String>>()
    };
    let cover = cover::lines(&words, stations.values(), &judged);
    let doubts = doubts::told(&evaluator, &desk.set, fleet, None);
    let region = Region {
        off: of("not ready"),
        limits: of("ready with limits"),
        unknown: of("unknown"),
        ready: lines.iter().filter(|line| line.readiness == "ready").count(),
        cover: cover::summary(&cover),
        ahead: ahead(desk, fleet, as_of),
        decide: decide(papers, fleet, as_of),
        doubts: doubts.into_iter().map(|doubt| doubt.says).collect(),
        ..Region::default()
    };
    (lines, region)
}

fn changed(before: Option<&str>, stood: &BTreeMap<&str, &str>) -> Vec<String> {
    let before: BTreeMap<&str, &str> =
        before.into_iter().flat_map(|kept| kept.split(';')).filter_map(|pair| pair.split_once('=')).collect();
    let moved = stood.iter().filter_map(|(station, now)| {
        let was = before.get(station)?;
        (was != now).then(|| format!("{}: {was}, now {now}", station.to_uppercase()))
    });
    moved.collect()
}

/// Launch-stopping work by a day of the calendar within four weeks, the earliest first.
fn ahead(desk: &Desk, fleet: &Fleet, as_of: Date) -> Vec<String> {
    let evaluator = Evaluator::during(&desk.set, fleet, as_of);
    let mut rows: Vec<(Date, String)> = Vec::new();
    for row in evaluator.standing_table() {
        let rule = desk.set.rule(row.rule);
        let Some(due) = row.due_on.filter(|_| rule.overdue == Effect::StopsLaunch) else { continue };
        let near = (due - as_of).get_days() <= WEEKS_AHEAD && !Evaluator::bites(&row);
        if near && fleet.station_of(fleet.item(row.item)).is_some() {
            let cutoff = evaluator.cutoff(fleet.item(row.item));
            let place = gear::place(&desk.set, fleet, row.item, cutoff);
            rows.push((due, format!("{due}: {} {} · {}", fleet.item(row.item).tag, rule.title, place)));
        }
    }
    rows.sort();
    rows.into_iter().map(|(_, line)| line).collect()
}

/// Concessions that end within a fortnight, and defects whose day comes within four weeks.
fn decide(papers: &Papers, fleet: &Fleet, as_of: Date) -> Vec<String> {
    let left = |day: Date| (day - as_of).get_days();
    let concessions = papers.concessions.iter().filter(|paper| (0..=14).contains(&left(paper.until)));
    let concessions = concessions.map(|paper| {
        format!("concession {} on {} ends {}", paper.number, fleet.item(paper.item).tag, paper.until)
    });
    let defects = papers.defects.iter().filter_map(|defect| {
        let policies::readiness::Danger::By(day) = defect.danger else { return None };
        let near = defect.is_open(as_of) && left(day) <= WEEKS_AHEAD;
        near.then(|| format!("{}: {} by {day}", fleet.item(defect.item).tag, defect.what))
    });
    concessions.chain(defects).collect()
}

/// Notices of the last weeks that failed, came back or were set aside.
async fn trouble(desk: &Desk) -> Result<Vec<String>, DeskError> {
    let lost = desk.store.astray(Instant(desk.now().0 - TROUBLE_MICROS)).await?;
    let said = |notice: Astray| {
        let why = notice.why.as_deref().unwrap_or("no reason is known");
        format!("{} to {}: {}, {why}", notice.number, notice.recipient, notice.state)
    };
    Ok(lost.into_iter().map(said).collect())
}
