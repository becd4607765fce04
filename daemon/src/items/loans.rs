//! Gear that one station has from another, and until when.

use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::Evaluator;
use policies::facts::{Fleet, StationId};
use policies::kinds::MeterId;
use policies::load::PolicySet;
use policies::loans as lasting;
use policies::usage::{Period, used};
use policies::zone::Instant;
use serde::Serialize;

use crate::records;
use crate::why::day;

/// A loan that lasts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Loan {
    /// Tag.
    pub item: String,
    /// Kind.
    pub kind: String,
    /// Slug of the owner; empty for central stores.
    pub lender: String,
    /// Slug of the station that has it.
    pub user: String,
    /// Host it is fitted to.
    pub host: String,
    /// First local day.
    pub since: String,
    /// Use it bore there, such as `12 launches`.
    pub used: Vec<String>,
    /// Last day agreed; empty where none was.
    pub until: String,
    /// `over` once that day is gone, `agreed` until then, empty where no day was agreed.
    pub standing: &'static str,
}

/// What was agreed, of items and stations that are known.
pub fn agreed<'r>(fleet: &Fleet, rows: impl IntoIterator<Item = &'r records::Loan>) -> Vec<lasting::Agreed> {
    let station = |slug: &str| {
        let at = fleet.stations.iter().position(|station| *station.slug == *slug)?;
        u32::try_from(at).ok().map(StationId)
    };
    let agreed = |row: &records::Loan| {
        Some(lasting::Agreed {
            key: row.key.clone(),
            item: fleet.find(&row.item)?,
            station: station(&row.station)?,
            from: row.from_date.parse().ok()?,
            until: row.until_date.parse().ok()?,
        })
    };
    rows.into_iter().filter(|row| !row.void).filter_map(agreed).collect()
}

/// Every loan that lasts at the end of a day, to or from a station where one is named.
pub fn loans<'r>(
    set: &PolicySet,
    fleet: &Fleet,
    rows: impl IntoIterator<Item = &'r records::Loan>,
    as_of: impl Into<AsOf>,
    station: Option<&str>,
) -> Vec<Loan> {
    let agreed = agreed(fleet, rows);
    let evaluator = Evaluator::without_forecasts(set, fleet, as_of);
    let mut found: Vec<Loan> =
        evaluator.loans(&agreed).iter().map(|loan| line(set, fleet, &evaluator, loan)).collect();
    found.retain(|loan| station.is_none_or(|slug| loan.lender == slug || loan.user == slug));
    found.sort_by(|a, b| (&a.user, &a.item).cmp(&(&b.user, &b.item)));
    found
}

fn line(set: &PolicySet, fleet: &Fleet, evaluator: &Evaluator, loan: &lasting::Loan) -> Loan {
    let item = fleet.item(loan.item);
    let as_of = evaluator.day(item);
    let slug = |id: StationId| fleet.stations[id.0 as usize].slug.to_string();
    Loan {
        item: item.tag.to_string(),
        kind: set.kinds.kind(item.kind).name.clone(),
        lender: loan.lender.map(slug).unwrap_or_default(),
        user: slug(loan.user),
        host: fleet.item(loan.host).tag.to_string(),
        since: fleet.zone_of(item).date_of(loan.since).to_string(),
        used: used_there(set, fleet, evaluator, loan),
        until: loan.until().map(|until| until.to_string()).unwrap_or_default(),
        standing: match loan.until() {
            None => "",
            Some(_) if loan.is_over(as_of) => "over",
            Some(_) => "agreed",
        },
    }
}

/// Use it bore since it was lent, such as `12 launches`.
pub fn used_there(
    set: &PolicySet,
    fleet: &Fleet,
    evaluator: &Evaluator,
    loan: &lasting::Loan,
) -> Vec<String> {
    let before = evaluator.cutoff(fleet.item(loan.item));
    let period = Period { after: Some(Instant(loan.since.0 - 1)), before };
    let meters = (0u16..).map(MeterId).take(set.kinds.meters.len());
    let counted = meters.map(|meter| (meter, used(fleet, loan.item, meter, period)));
    let counted = counted.filter(|(_, amount)| amount.is_positive());
    counted.map(|(meter, amount)| format!("{amount} {}", set.kinds.meter_name(meter))).collect()
}

/// `to go back by 3 Oct 2026`, or once that day is gone `loan ended 3 Oct 2026, still at Low Bay`.
pub fn end_words(fleet: &Fleet, loan: &lasting::Loan, as_of: Date) -> String {
    let Some(until) = loan.until() else { return "no last day agreed".to_owned() };
    if loan.is_over(as_of) {
        let user = &fleet.stations[loan.user.0 as usize].name;
        return format!("loan ended {}, still at {user}", day(until));
    }
    if until == as_of { "to go back today".to_owned() } else { format!("to go back by {}", day(until)) }
}
