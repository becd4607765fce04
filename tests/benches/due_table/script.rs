//! The due dates as one SQL script, in two ways: with running totals stored, and as a plain range join.

use super::machine::{cpu_seconds, median};
use super::{Answer, Failure};
use jiff::Timestamp;
use jiff::civil::{Date, date};
use jiff::tz::TimeZone;
use policies::zone::When;
use sea_orm::{
    ConnectOptions, ConnectionTrait, Database, DatabaseConnection, DbBackend, QueryResult, Statement,
};
use std::collections::HashMap;
use std::fmt::Write;
use tests::large_fleet::{AS_OF, RULES, RawTables, RuleSpec, Size, WorkRow, raw};

const TABLES: &str = include_str!("tables.sql");
const INDEXES: &str = include_str!("indexes.sql");
const SCRIPT: &str = include_str!("answer.sql");
/// The pieces in which the two ways differ; `METER` and `LIMIT` are columns.
const TOTALS: (&str, &str) = (include_str!("used_by_totals.sql"), include_str!("reached_by_totals.sql"));
const RANGES: (&str, &str) = (include_str!("used_by_range.sql"), include_str!("reached_by_range.sql"));

/// Rows of one insert.
const BATCH: usize = 4_000;
const RUNS: usize = 3;

/// The faster way's CPU seconds, and its rows.
pub struct Outcome {
    pub seconds: f64,
    pub answers: Vec<Answer>,
}

pub async fn run(size: &Size) -> Result<Outcome, Failure> {
    let mut options = ConnectOptions::new("sqlite::memory:");
    options.max_connections(1).min_connections(1).sqlx_logging(false);
    // One connection needs no shared cache, whose locks would only slow it down.
    options.map_sqlx_sqlite_opts(|options| options.shared_cache(false));
    let db = Database::connect(options).await?;
    println!("SQLite {}", version(&db).await?);
    db.execute_unprepared("pragma temp_store = memory; pragma cache_size = -2000000").await?;
    load(&db, &raw(size)).await?;
    let by_range = measure(&db, "plain range join", RANGES).await?;
    let first = answers(&db).await?;
    let by_totals = measure(&db, "running totals stored", TOTALS).await?;
    let answers = answers(&db).await?;
    if first != answers {
        return Err("the two ways of the script differ".into());
    }
    Ok(Outcome { seconds: by_range.min(by_totals), answers })
}

async fn version(db: &DatabaseConnection) -> Result<String, Failure> {
    let row = db.query_one_raw(sql("select sqlite_version()")).await?;
    Ok(row.ok_or("no version")?.try_get_by_index(0)?)
}

fn sql(text: &str) -> Statement {
    Statement::from_string(DbBackend::Sqlite, text)
}

/// Median CPU seconds of drawing up the table inside the store.
async fn measure(db: &DatabaseConnection, name: &str, (used, reached): (&str, &str)) -> Result<f64, Failure> {
    let script = assemble(used, reached);
    let mut runs = Vec::with_capacity(RUNS);
    for _ in 0..RUNS {
        db.execute_unprepared("drop table if exists answer").await?;
        let before = cpu_seconds();
        db.execute_unprepared(&script).await?;
        runs.push(cpu_seconds() - before);
    }
    let seconds = median(&mut runs);
    println!("script, {name}: {seconds:.3} s (of {runs:.3?})");
    Ok(seconds)
}

fn assemble(used: &str, reached: &str) -> String {
    let clause = |piece: &str, side: &str| {
        piece.replace("METER", &format!("meter_{side}")).replace("LIMIT", &format!("limit_{side}"))
    };
    SCRIPT
        .replace("USED_A", &clause(used, "a"))
        .replace("USED_B", &clause(used, "b"))
        .replace("REACHED_A", &clause(reached, "a"))
        .replace("REACHED_B", &clause(reached, "b"))
}

async fn answers(db: &DatabaseConnection) -> Result<Vec<Answer>, Failure> {
    let text = "select item, rule, calendar_due, after_due, meter, used, usage_due, due_on from answer \
                order by item, rule";
    db.query_all_raw(sql(text)).await?.iter().map(answer).collect()
}

fn answer(row: &QueryResult) -> Result<Answer, Failure> {
    let day = |column: usize| -> Result<Option<Date>, Failure> {
        let text: Option<String> = row.try_get_by_index(column)?;
        Ok(text.map(|text| text.parse()).transpose()?)
    };
    let meter: Option<i64> = row.try_get_by_index(4)?;
    let used: Option<i64> = row.try_get_by_index(5)?;
    Ok(Answer {
        item: u32::try_from(row.try_get_by_index::<i64>(0)?)?,
        rule: usize::try_from(row.try_get_by_index::<i64>(1)?)?,
        calendar_due: day(2)?,
        after_due: day(3)?,
        meter: meter.map(usize::try_from).transpose()?,
        used: used.unwrap_or_default(),
        usage_due: day(6)?,
        due_on: day(7)?,
    })
}

/// Gathers rows into multi-row inserts.
struct Insert<'d> {
    db: &'d DatabaseConnection,
    table: &'static str,
    rows: usize,
    text: String,
}

impl<'d> Insert<'d> {
    fn new(db: &'d DatabaseConnection, table: &'static str) -> Insert<'d> {
        Insert { db, table, rows: 0, text: String::new() }
    }

    async fn row(&mut self, values: std::fmt::Arguments<'_>) -> Result<(), Failure> {
        let lead = if self.rows == 0 { format!("insert into {} values", self.table) } else { ",".to_owned() };
        write!(self.text, "{lead}({values})")?;
        self.rows += 1;
        if self.rows == BATCH { self.flush().await } else { Ok(()) }
    }

    async fn flush(&mut self) -> Result<(), Failure> {
        if self.rows > 0 {
            self.db.execute_unprepared(&self.text).await?;
            self.text.clear();
            self.rows = 0;
        }
        Ok(())
    }
}

async fn load(db: &DatabaseConnection, raw: &RawTables) -> Result<(), Failure> {
    let before = cpu_seconds();
    db.execute_unprepared(TABLES).await?;
    db.execute_unprepared("begin").await?;
    let zones = zones(raw)?;
    load_gear(db, raw, &zones).await?;
    load_rules(db).await?;
    load_item_rules(db, raw, &zones).await?;
    load_uses(db, raw, &zones).await?;
    load_fittings(db, raw).await?;
    db.execute_unprepared("commit").await?;
    db.execute_unprepared(INDEXES).await?;
    println!("rows and indexes of the script: {:.1} s", cpu_seconds() - before);
    Ok(())
}

fn zones(raw: &RawTables) -> Result<Vec<TimeZone>, Failure> {
    let zone = |name: &str| TimeZone::get(name).or_else(|_| TimeZone::posix(name));
    Ok(raw.stations.iter().map(|station| zone(station.zone)).collect::<Result<_, _>>()?)
}

async fn load_gear(db: &DatabaseConnection, raw: &RawTables, zones: &[TimeZone]) -> Result<(), Failure> {
    let mut stations = Insert::new(db, "station");
    for (id, zone) in zones.iter().enumerate() {
        let cutoff = midnight(AS_OF.tomorrow()?, zone)?;
        stations.row(format_args!("{id},{cutoff}")).await?;
    }
    stations.flush().await?;
    let mut items = Insert::new(db, "item");
    for (id, item) in raw.items.iter().enumerate() {
        items.row(format_args!("{id},{},'{}','{}'", item.station, item.made, item.entered)).await?;
    }
    items.flush().await
}

async fn load_rules(db: &DatabaseConnection) -> Result<(), Failure> {
    let mut rules = Insert::new(db, "rule");
    for (id, spec) in RULES.iter().enumerate() {
        let clause = |at: usize| {
            spec.usage.get(at).map_or("null,null".to_owned(), |clause| {
                format!("{},{}", clause.meter, clause.every * 1_000_000)
            })
        };
        let within = spec.after_shock.map_or("null".to_owned(), |days| format!("'+{days} days'"));
        let (life, every) = calendar(spec);
        rules.row(format_args!("{id},{life},{every},{},{},{within}", clause(0), clause(1))).await?;
    }
    rules.flush().await
}

/// 1 from manufacture, 2 from entry into service, 0 from the last work; and a modifier of `date()`, which knows no
/// weeks.
fn calendar(spec: &RuleSpec) -> (u8, String) {
    let Some(calendar) = &spec.calendar else { return (0, "null".to_owned()) };
    let life = match calendar.from {
        "manufacture" => 1,
        "entry into service" => 2,
        _ => 0,
    };
    let every = match calendar.every.split_once(" weeks") {
        Some((weeks, _)) => format!("{} days", weeks.parse::<u32>().unwrap_or_default() * 7),
        None => calendar.every.to_owned(),
    };
    (life, format!("'+{every}'"))
}

async fn load_item_rules(
    db: &DatabaseConnection,
    raw: &RawTables,
    zones: &[TimeZone],
) -> Result<(), Failure> {
    let mut last: HashMap<(u32, usize), (i64, Date)> = HashMap::new();
    for work in raw.works.iter().filter(|work| work.passed) {
        let zone = &zones[raw.items[work.item as usize].station as usize];
        let cutoff = midnight(AS_OF.tomorrow()?, zone)?;
        let done = done(work, zone)?;
        if done.0 < cutoff {
            let known = last.entry((work.item, work.rule)).or_insert(done);
            *known = done.max(*known);
        }
    }
    let mut rows = Insert::new(db, "item_rule");
    let mut id = 0;
    for (item, gear) in (0u32..).zip(&raw.items) {
        for (rule, spec) in RULES.iter().enumerate() {
            if gear.gear == Some(spec.gear) && spec.is_for(gear.wll_tenths) {
                id += 1;
                match last.get(&(item, rule)) {
                    Some((at, on)) => rows.row(format_args!("{id},{item},{rule},{at},'{on}'")).await?,
                    None => rows.row(format_args!("{id},{item},{rule},null,null")).await?,
                }
            }
        }
    }
    rows.flush().await
}

/// The first second of a local day.
fn midnight(day: Date, zone: &TimeZone) -> Result<i64, Failure> {
    Ok(zone.to_timestamp(day.at(0, 0, 0, 0))?.as_second())
}

/// The moment work counts from, and its local date.
fn done(work: &WorkRow, zone: &TimeZone) -> Result<(i64, Date), Failure> {
    Ok(match work.when {
        When::Day(day) => (midnight(day, zone)?, day),
        When::At(at) => {
            let at = Timestamp::from_microsecond(at.0)?;
            (at.as_second(), zone.to_datetime(at).date())
        }
    })
}

/// Items stay at their own station, so a use falls on the same local day for its host and for what is fitted to it.
async fn load_uses(db: &DatabaseConnection, raw: &RawTables, zones: &[TimeZone]) -> Result<(), Failure> {
    let mut rows = Insert::new(db, "use_row");
    let mut totals: HashMap<u64, i64> = HashMap::new();
    for (number, row) in raw.uses.iter().enumerate() {
        let zone = &zones[raw.items[row.host as usize].station as usize];
        let day = zone.to_datetime(Timestamp::from_second(row.at)?).date();
        let day = (day - date(1970, 1, 1)).get_days();
        let log = u64::from(row.host) * 8 + row.meter as u64;
        let total = totals.entry(log).or_default();
        *total += row.amount;
        rows.row(format_args!("{log},{},{number},{},{total},{day}", row.at, row.amount)).await?;
    }
    rows.flush().await
}

async fn load_fittings(db: &DatabaseConnection, raw: &RawTables) -> Result<(), Failure> {
    let mut rows = Insert::new(db, "fitting");
    for row in &raw.fittings {
        let removed = row.removed.unwrap_or(i64::from(u32::MAX) * 2);
        rows.row(format_args!("{},{},{},{removed}", row.item, row.host, row.fitted)).await?;
    }
    rows.flush().await
}
