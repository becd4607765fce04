//! Figures for whatever watches the service (`OpenMetrics` text): counts and ages, no names, no addresses, no secrets.
//! They are read from this machine alone, or by a token of their own.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

use axum::extract::{Request, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::Web;
use super::fault::{self, Fault};
use super::gate;
use crate::accounts::same_word;
use crate::desk::DeskError;
use crate::fitness::{self, papers};
use crate::keeping;
use crate::pulse;

const MEDIA: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";
/// Readiness is reckoned again with each record, and at least so often.
const QUARTER: i64 = 15 * 60 * 1_000_000;

/// Requests of this process by address of the table and status.
static COUNTS: Mutex<BTreeMap<(&'static str, u16), u64>> = Mutex::new(BTreeMap::new());
/// Stations by readiness, and what that was reckoned of.
static READY: Mutex<Option<(String, Counted)>> = Mutex::new(None);

/// How many of each.
type Counted = Vec<(&'static str, usize)>;

/// The address of the table that an answer is of.
#[derive(Clone, Copy)]
struct OfRoute(&'static str);

pub(super) fn of_route(path: &'static str, mut answer: Response) -> Response {
    answer.extensions_mut().insert(OfRoute(path));
    answer
}

/// Counts an answer.
pub(super) fn count(answer: &Response) {
    let route = answer.extensions().get::<OfRoute>().map_or("none", |route| route.0);
    let mut counts = COUNTS.lock().unwrap_or_else(PoisonError::into_inner);
    *counts.entry((route, answer.status().as_u16())).or_default() += 1;
}

/// The figures, for whom they are.
pub(super) async fn page(State(web): State<Arc<Web>>, request: Request) -> Response {
    let (parts, _) = request.into_parts();
    let from = gate::address(&web, &parts);
    if !may(&web, &from, &parts.headers) {
        let refused = Fault::form(
            StatusCode::FORBIDDEN,
            "Figures are read from this machine alone, or by their own token.",
            "Set metrics_token_file under [pages], and send its token as Authorization: Bearer.",
        );
        return fault::answer(&web, &refused);
    }
    match figures(&web).await {
        Ok(text) => ([(header::CONTENT_TYPE, MEDIA)], text).into_response(),
        Err(error) => fault::answer(&web, &error.into()),
    }
}

fn may(web: &Web, from: &str, headers: &HeaderMap) -> bool {
    if let Some(file) = &web.door.figures {
        let wanted = std::fs::read_to_string(file).unwrap_or_default();
        let given = headers.get(header::AUTHORIZATION).and_then(|value| value.to_str().ok());
        let given = given.and_then(|value| value.strip_prefix("Bearer ")).unwrap_or_default();
        return !wanted.trim().is_empty() && same_word(given.trim(), wanted.trim());
    }
    // Behind a web server everything comes from this machine, and says so.
    let passed_on = headers.contains_key("x-forwarded-for") || headers.contains_key("forwarded");
    from.parse::<IpAddr>().is_ok_and(|address| address.is_loopback()) && !passed_on
}

/// A text of figures.
#[derive(Default)]
struct Figures(String);

impl Figures {
    /// A family of figures: each with its labels, as name and value.
    fn family<'l>(
        &mut self,
        (name, kind, says): (&str, &str, &str),
        values: impl IntoIterator<Item = (Vec<(&'l str, String)>, f64)>,
    ) {
        let _ = writeln!(self.0, "# TYPE {name} {kind}\n# HELP {name} {says}");
        let suffix = match kind {
            "counter" => "_total",
            "info" => "_info",
            _ => "",
        };
        for (labels, value) in values {
            let labels: Vec<String> =
                labels.iter().map(|(name, value)| format!("{name}=\"{}\"", escaped(value))).collect();
            let labels = if labels.is_empty() { String::new() } else { format!("{{{}}}", labels.join(",")) };
            let _ = writeln!(self.0, "{name}{suffix}{labels} {value}");
        }
    }

    fn gauge(&mut self, name: &str, says: &str, value: Option<f64>) {
        self.family((name, "gauge", says), value.map(|value| (Vec::new(), value)));
    }
}

fn escaped(value: &str) -> String {
    value.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}

/// A count as figures are written; all of them are far below what a float holds exactly.
#[expect(clippy::cast_precision_loss, reason = "counts lie far below 2^53")]
fn number(count: i64) -> f64 {
    count as f64
}

fn seconds(micros: i64) -> f64 {
    number(micros / 1_000) / 1_000.0
}

fn by(label: &str, counts: Vec<(String, i64)>) -> impl Iterator<Item = (Vec<(&str, String)>, f64)> {
    counts.into_iter().map(move |(value, count)| (vec![(label, value)], number(count)))
}

async fn figures(web: &Web) -> Result<String, DeskError> {
    let mut text = Figures::default();
    own(&mut text);
    kept(&mut text, web).await?;
    let stations = stations(web).await?;
    let stations =
        stations.into_iter().map(|(word, count)| (vec![("readiness", word.to_owned())], number_of(count)));
    text.family(("tallow_stations", "gauge", "Stations by readiness."), stations);
    Ok(text.0 + "# EOF\n")
}

fn number_of(count: usize) -> f64 {
    number(i64::try_from(count).unwrap_or(i64::MAX))
}

/// What this process knows of itself.
fn own(text: &mut Figures) {
    let version = vec![("version", env!("CARGO_PKG_VERSION").to_owned())];
    text.family(("tallow_build", "info", "What runs."), [(version, 1.0)]);
    text.gauge("tallow_uptime_seconds", "How long the process has run.", Some(pulse::uptime().as_secs_f64()));
    let sweep = pulse::last_sweep();
    let (age, took) = (sweep.map(|(age, _)| age.as_secs_f64()), sweep.map(|(_, took)| took.as_secs_f64()));
    text.gauge("tallow_sweep_age_seconds", "How long ago the last sweep ended.", age);
    text.gauge("tallow_sweep_duration_seconds", "How long the last sweep took.", took);
    let counts = COUNTS.lock().unwrap_or_else(PoisonError::into_inner).clone();
    let counts = counts.into_iter().map(|((route, status), count)| {
        let labels = vec![("route", route.to_owned()), ("status", status.to_string())];
        (labels, number(i64::try_from(count).unwrap_or(i64::MAX)))
    });
    text.family(("tallow_http_requests", "counter", "Requests by address of the table and status."), counts);
}

/// What the store knows.
async fn kept(text: &mut Figures, web: &Web) -> Result<(), DeskError> {
    let (store, now) = (&web.desk.store, web.desk.now());
    let head = store.head().await?;
    text.gauge("tallow_chain_seq", "Number of the newest link of the record chain.", Some(number(head.seq)));
    let notices = by("state", store.notices_by_state().await?);
    text.family(("tallow_notices", "gauge", "Notices by state."), notices);
    let trouble = number_of(store.in_trouble(now).await?.len());
    text.gauge("tallow_notices_in_trouble", "Notices that did not reach anybody.", Some(trouble));
    let oldest = store.oldest_unsent().await?.map(|due| seconds((now.0 - due.0).max(0)));
    text.gauge("tallow_notices_oldest_unsent_seconds", "How long the oldest unsent notice waits.", oldest);
    let due = by("standing", store.due_by_standing().await?);
    text.family(("tallow_due_rows", "gauge", "Rows of the due table by standing."), due);
    let zone = &web.desk.set.service.home_zone;
    let backup = keeping::taken(store).await?.map(|taken| seconds(now.0 - zone.instant(taken).0));
    text.gauge("tallow_backup_age_seconds", "How old the last backup by the clock is.", backup);
    Ok(())
}

/// Stations by readiness.
async fn stations(web: &Web) -> Result<Counted, DeskError> {
    let desk = &web.desk;
    let head = desk.store.head().await?;
    let mark = format!("{} {} {}", head.hash, desk.set.hash, desk.now().0.div_euclid(QUARTER));
    let kept = READY.lock().unwrap_or_else(PoisonError::into_inner).clone();
    if let Some((_, counts)) = kept.filter(|(of, _)| *of == mark) {
        return Ok(counts);
    }
    let rows = papers(&desk.store, None).await?;
    let as_of = desk.as_of();
    let lines =
        desk.with_fleet(|fleet| fitness::lines(&desk.set, fleet, as_of, &rows.of(&desk.set, fleet))).await?;
    let mut counts: BTreeMap<&'static str, usize> = BTreeMap::new();
    for line in lines {
        *counts.entry(line.readiness).or_default() += 1;
    }
    let counts: Vec<(&'static str, usize)> = counts.into_iter().collect();
    *READY.lock().unwrap_or_else(PoisonError::into_inner) = Some((mark, counts.clone()));
    Ok(counts)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_written_as_the_standard_has_them() {
        let mut text = Figures::default();
        text.family(("a", "counter", "Says."), [(vec![("x", "q\"\\\n".to_owned())], 2.0)]);
        text.gauge("b_seconds", "Says.", None);
        let wanted = "# TYPE a counter\n# HELP a Says.\na_total{x=\"q\\\"\\\\\\n\"} 2\n# TYPE b_seconds gauge\n# HELP b_seconds Says.\n";
        assert_eq!(text.0, wanted);
    }
}
