//! Rows into facts: the fleet that `policies` judges.

use std::collections::HashMap;
use std::sync::Arc;

use futures_util::TryStreamExt;
use jiff::civil::Date;
use policies::amount::Amount;
use policies::assess::Verdict;
use policies::dial::{self, DialFall};
use policies::doubts::Answer;
use policies::facts::{Fleet, FleetBuilder, ItemId, ItemRecord, Outcome, Quantity, State as ItemState};
use policies::judge::{Judged, SEVERITY, judge};
use policies::kinds::{AttributeType, MeterId};
use policies::load::PolicySet;
use policies::odds::Learnt;
use policies::rule::Value;
use policies::zone::{Instant, When, Zone};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder, QuerySelect,
    StreamTrait,
};

use super::chain;
use super::current::{Register, newest};
use super::write::Writer;
use super::{Store, StoreError};
use crate::kept_dates;
use crate::records::{
    self, DRUM, DoubtAnswer, Fitting, Item, KeptDate, State, Station, Stock, Usage, Work, when,
};

/// A fleet and the chain's head it was read at.
#[derive(Clone, Debug)]
pub struct Loaded {
    /// The fleet.
    pub fleet: Fleet,
    /// Number of the newest link when it was read.
    pub head: i64,
    /// What it teaches its forecasts, and the day before which it was learnt; kept while that holds.
    pub learnt: Option<(Date, Arc<Learnt>)>,
    /// Dials that run back.
    pub falls: Vec<Fall>,
}

/// A dial that runs back: its host, its meter, and where.
pub type Fall = (ItemId, MeterId, DialFall);

#[derive(FromQueryResult)]
struct UseRow {
    key: String,
    version: i64,
    void: bool,
    host: String,
    at: i64,
    day: Option<String>,
    meter: String,
    count: Option<i64>,
    reading: Option<i64>,
    note: Option<String>,
}

impl Store {
    /// The fleet under a policy set, as known before a moment.
    ///
    /// # Errors
    /// The database's own.
    pub async fn fleet(&self, set: &PolicySet, known_before: Option<Instant>) -> Result<Loaded, StoreError> {
        load(&self.db, set, known_before).await
    }
}

impl Writer {
    /// The fleet as this transaction sees it.
    ///
    /// # Errors
    /// The database's own.
    pub async fn fleet(&self, set: &PolicySet) -> Result<Loaded, StoreError> {
        self.take_time().await?;
        load(&self.tx, set, None).await
    }
}

async fn load(
    db: &(impl ConnectionTrait + StreamTrait),
    set: &PolicySet,
    known_before: Option<Instant>,
) -> Result<Loaded, StoreError> {
    let head = chain::head(db).await?.seq;
    let mut builder = FleetBuilder::new(set);
    add_stations(&mut builder, newest::<Station>(db, known_before).await?.values());
    let items = newest::<Item>(db, known_before).await?;
    add_items(&mut builder, set, items.values());
    add_fittings(&mut builder, newest::<Fitting>(db, known_before).await?.values());
    add_work(&mut builder, set, &items, newest::<Work>(db, known_before).await?.values());
    add_issues(&mut builder, &items, newest::<Stock>(db, known_before).await?.values());
    drop(items);
    add_states(&mut builder, newest::<State>(db, known_before).await?.values());
    add_kept(&mut builder, set, newest::<KeptDate>(db, known_before).await?.values());
    let answers = newest::<DoubtAnswer>(db, known_before).await?;
    let mut asked = asked_about(answers.values());
    stream_use(db, &mut builder, known_before, &mut asked).await?;
    add_answers(&mut builder, answers.values(), |key| asked.get(key)?.as_ref());
    let (fleet, falls) = finish(builder);
    Ok(Loaded { fleet, head, learnt: None, falls })
}

/// The fleet of a register in memory, as an import sees it before it is written.
pub fn of_register(set: &PolicySet, register: &Register) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    add_stations(&mut builder, register.stations.values());
    add_items(&mut builder, set, register.items.values());
    add_fittings(&mut builder, register.fittings.values());
    add_work(&mut builder, set, &register.items, register.work.values());
    add_states(&mut builder, register.states.values());
    add_issues(&mut builder, &register.items, register.stock.values());
    for row in register.usage.values().filter(|row| !row.void) {
        add_use(&mut builder, row);
    }
    let entry = |key: &str| register.usage.get(key).filter(|row| !row.void);
    add_answers(&mut builder, register.doubts.values(), entry);
    finish(builder).0
}

fn finish(builder: FleetBuilder) -> (Fleet, Vec<Fall>) {
    let (fleet, falls) = builder.finish();
    for (host, _, fall) in &falls {
        tracing::warn!(host = %fleet.item(*host).tag, %fall, "a dial runs back; readings from there on do not count");
    }
    (fleet, falls)
}

/// Rows in the order of their keys: whatever order they were read in, the fleet is the same.
fn sorted<'r, R: super::tables::Stored>(rows: impl Iterator<Item = &'r R>) -> Vec<&'r R> {
    let mut rows: Vec<&R> = rows.filter(|row| !row.is_void()).collect();
    rows.sort_unstable_by(|a, b| a.key().cmp(b.key()));
    rows
}

fn add_stations<'r>(builder: &mut FleetBuilder, rows: impl Iterator<Item = &'r Station>) {
    for row in sorted(rows) {
        let southern = row.latitude.as_deref().is_some_and(|latitude| latitude.starts_with('-'));
        match Zone::parse(&row.time_zone) {
            Ok(zone) => builder.station(&row.key, &row.name, zone, southern),
            Err(error) => tracing::error!(station = %row.key, %error, "station left out"),
        }
    }
}

fn add_items<'r>(builder: &mut FleetBuilder, set: &PolicySet, rows: impl Iterator<Item = &'r Item>) {
    for row in sorted(rows) {
        let added = builder.item(&ItemRecord {
            tag: &row.key,
            kind: &row.kind,
            station: row.station.as_deref(),
            set: row.set_name.as_deref(),
            manufactured_on: row.manufactured_on.as_deref().and_then(|date| date.parse().ok()),
            entered_service_on: row.entered_service_on.as_deref().and_then(|date| date.parse().ok()),
            cut_from: row.cut_from.as_deref(),
            taken: taken(row),
            opening: opening(row),
            attributes: attributes(set, row),
        });
        if !added {
            tracing::warn!(item = %row.key, kind = %row.kind, "the policy set no longer knows this kind: item left out");
        }
    }
}

/// What a row says it was taken out of, and when.
fn taken(row: &Item) -> Option<(&str, When)> {
    Some((row.taken_from.as_deref()?, when(row.taken_at?, row.taken_day.as_deref())))
}

/// `meter=value;…` of a checked row.
fn opening(row: &Item) -> Vec<(&str, Amount)> {
    pairs(row.opening_use.as_deref())
        .filter_map(|(meter, value)| Some((meter, value.parse().ok()?)))
        .collect()
}

fn attributes<'r>(set: &PolicySet, row: &'r Item) -> Vec<(&'r str, Value)> {
    let Some(kind) = set.kinds.find(&row.kind) else { return Vec::new() };
    let typed = |(column, value): (&'r str, &'r str)| {
        let holds = &set.kinds.kind(kind).attribute(column)?.holds;
        let value = match holds {
            AttributeType::Number { .. } => Value::Number(value.parse().ok()?),
            AttributeType::Text { .. } => Value::Text(value.to_owned()),
        };
        Some((column, value))
    };
    records::attributes(row.attributes.as_deref()).filter_map(typed).collect()
}

pub fn pairs(text: Option<&str>) -> impl Iterator<Item = (&str, &str)> {
    let pairs = text.into_iter().flat_map(|text| text.split(';')).filter_map(|pair| pair.split_once('='));
    pairs.map(|(name, value)| (name.trim(), value.trim()))
}

fn add_fittings<'r>(builder: &mut FleetBuilder, rows: impl Iterator<Item = &'r Fitting>) {
    for row in sorted(rows) {
        let removed = row.removed_at.map(|at| when(at, row.removed_day.as_deref()));
        builder.fitting(&row.item, &row.host, &row.position, when(row.at, row.day.as_deref()), removed);
    }
}

fn add_work<'r>(
    builder: &mut FleetBuilder,
    set: &PolicySet,
    items: &HashMap<String, Item>,
    rows: impl Iterator<Item = &'r Work>,
) {
    for row in sorted(rows) {
        let Some(outcome) = Outcome::from_word(&row.outcome) else { continue };
        let at = when(row.at, row.day.as_deref());
        builder.work_with(&row.item, &row.rule, at, outcome, row.certificate.is_some());
        if row.measurements.is_some() {
            add_readings(builder, set, items.get(&row.item), row, at);
        }
    }
}

/// Readings as recorded, what the discard criteria say of them, and the greater severity of the one written down and
/// the one they come to.
fn add_readings(builder: &mut FleetBuilder, set: &PolicySet, item: Option<&Item>, row: &Work, at: When) {
    let readings: Vec<(&str, Amount)> = pairs(row.measurements.as_deref())
        .filter_map(|(name, value)| Some((name, value.parse().ok()?)))
        .collect();
    let judged = item.and_then(|item| judged(set, item, row));
    let reckoned = judged.as_ref().and_then(Judged::severity);
    for (name, value) in &readings {
        let value = reckoned.filter(|_| *name == SEVERITY).map_or(*value, |least| least.max(*value));
        builder.reading(&row.item, &row.rule, at, name, value);
    }
    if judged.and_then(|judged| judged.verdict()) == Some(Verdict::Discard) {
        builder.condemn(&row.item, &row.rule, at);
    }
    let severity = reckoned.filter(|_| !readings.iter().any(|(name, _)| *name == SEVERITY));
    if let Some(severity) = severity {
        builder.reading(&row.item, &row.rule, at, SEVERITY, severity);
    }
}

/// What the discard criteria say of the readings of a piece of work.
pub fn judged(set: &PolicySet, item: &Item, work: &Work) -> Option<Judged> {
    let rule = set.rule(set.find_rule(&work.rule)?);
    let attributes: Vec<(&str, &str)> = records::attributes(item.attributes.as_deref()).collect();
    let readings: Vec<(&str, &str)> = pairs(work.measurements.as_deref()).collect();
    judge(&item.kind, set.service.regime, rule, &attributes, &readings)
}

fn add_states<'r>(builder: &mut FleetBuilder, rows: impl Iterator<Item = &'r State>) {
    for row in sorted(rows) {
        if let Some(state) = ItemState::from_word(&row.state) {
            builder.state(&row.item, when(row.at, row.day.as_deref()), state);
        }
    }
}

/// What left a shelf by its tag; part of a batch, or metres of a drum, leave the rest where it was.
fn add_issues<'r>(
    builder: &mut FleetBuilder,
    items: &HashMap<String, Item>,
    rows: impl Iterator<Item = &'r Stock>,
) {
    let is_whole = |item: &Item| item.kind != DRUM && item.quantity.is_none_or(|count| count <= 1);
    let whole = |tag: &str| items.get(tag).is_some_and(is_whole);
    for row in sorted(rows).into_iter().filter(|row| row.quantity < 0) {
        let tags = row.items.iter().flat_map(|tags| tags.split(';')).map(str::trim);
        for tag in tags.filter(|tag| whole(tag)) {
            builder.issued(tag, Instant(row.at));
        }
    }
}

fn add_kept<'r>(builder: &mut FleetBuilder, set: &PolicySet, rows: impl Iterator<Item = &'r KeptDate>) {
    for row in sorted(rows).into_iter().filter(|row| row.acknowledged_by.is_none()) {
        if let Some(kept) = kept_dates::of_row(set, row) {
            builder.keep(&row.item, kept);
        }
    }
}

fn add_use(builder: &mut FleetBuilder, row: &Usage) {
    let replaced = row.note.as_deref().is_some_and(is_replacement);
    let quantity = match (row.count, row.reading) {
        (Some(count), _) => Quantity::Count(Amount::from_millionths(count)),
        (None, Some(reading)) => Quantity::Reading(Amount::from_millionths(reading), replaced),
        (None, None) => return,
    };
    let at = when(row.at, row.day.as_deref());
    builder.used(&row.host, &row.meter, at, quantity);
    if let Some(note) = &row.note {
        builder.noted(&row.host, &row.meter, at, note);
    }
}

/// The entries that answers say were two uses: to be filled in as their rows pass by.
fn asked_about<'r>(rows: impl Iterator<Item = &'r DoubtAnswer>) -> HashMap<String, Option<Usage>> {
    let both = rows.filter(|row| !row.void && row.answer == Answer::Both.word());
    both.flat_map(|row| [&row.first, &row.second]).flatten().map(|key| (key.clone(), None)).collect()
}

/// Closes the doubts that were answered. The entries are found by their keys, so that a corrected time keeps its
/// answer; of a pair that was one use nothing is said, since one of the two is void.
fn add_answers<'r, 'u>(
    builder: &mut FleetBuilder,
    rows: impl Iterator<Item = &'r DoubtAnswer>,
    entry: impl Fn(&str) -> Option<&'u Usage>,
) {
    for row in sorted(rows) {
        let read_on = row.read_on.as_deref().and_then(|day| day.parse().ok());
        if let Some((read_on, answer)) = read_on.zip(Answer::from_word(&row.answer)) {
            builder.accounted(&row.item, read_on, answer);
        }
        if row.answer != Answer::Both.word() {
            continue;
        }
        let entries = row.first.as_deref().and_then(&entry).zip(row.second.as_deref().and_then(&entry));
        if let Some((first, second)) = entries.filter(|(a, b)| (&a.host, &a.meter) == (&b.host, &b.meter)) {
            builder.two_uses(&first.host, &first.meter, Instant(first.at), Instant(second.at));
        }
    }
}

/// Whether a note marks a new meter.
pub fn is_replacement(note: &str) -> bool {
    note.trim().eq_ignore_ascii_case(dial::REPLACED)
}

/// Streams use row by row: a large fleet's log never stands in memory as rows.
async fn stream_use(
    db: &(impl ConnectionTrait + StreamTrait),
    builder: &mut FleetBuilder<'_>,
    known_before: Option<Instant>,
    asked: &mut HashMap<String, Option<Usage>>,
) -> Result<(), StoreError> {
    use entities::usage::Column;
    let doing = StoreError::while_("reading use");
    let corrected = corrected_keys(db, known_before).await?;
    let mut query = entities::usage::Entity::find().order_by_asc(Column::Id);
    if let Some(before) = known_before {
        query = query.filter(Column::KnownAt.lt(before.0));
    }
    let mut rows = query.into_model::<UseRow>().stream(db).await.map_err(&doing)?;
    while let Some(row) = rows.try_next().await.map_err(&doing)? {
        if row.void
            || (!corrected.is_empty() && corrected.get(&row.key).is_some_and(|newest| *newest != row.version))
        {
            continue;
        }
        let row = Usage::from(row);
        add_use(builder, &row);
        if let Some(entry) = asked.get_mut(&row.key) {
            *entry = Some(row);
        }
    }
    Ok(())
}

impl From<UseRow> for Usage {
    fn from(row: UseRow) -> Usage {
        Usage {
            key: row.key,
            void: row.void,
            host: row.host,
            at: row.at,
            day: row.day,
            meter: row.meter,
            count: row.count,
            reading: row.reading,
            note: row.note,
        }
    }
}

/// Newest version of every key that was ever corrected.
async fn corrected_keys(
    db: &impl ConnectionTrait,
    known_before: Option<Instant>,
) -> Result<HashMap<String, i64>, StoreError> {
    use entities::usage::Column;
    let mut query = entities::usage::Entity::find().select_only().columns([Column::Key, Column::Version]);
    query = query.filter(Column::Version.gt(1)).order_by_asc(Column::Version);
    if let Some(before) = known_before {
        query = query.filter(Column::KnownAt.lt(before.0));
    }
    let rows = query.into_tuple::<(String, i64)>().all(db).await;
    Ok(rows.map_err(StoreError::while_("reading corrections of use"))?.into_iter().collect())
}
