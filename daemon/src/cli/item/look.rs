//! `tallow item show` and `tallow item loans`.

use super::super::say::say;
use super::super::setting::Replay;
use super::super::{Answer, Format, Settings, TextFormat};
use crate::items::Look;
use crate::items::history::{history, text};
use crate::items::loans::{Loan, loans as found};
use crate::records;

pub(super) async fn show(
    settings: &Settings,
    tag: &str,
    replay: Replay,
    format: TextFormat,
) -> anyhow::Result<Answer> {
    let desk = settings.desk_of(&replay).await?;
    let (as_of, known_before) = replay.of(&desk);
    let register = desk.store.register(known_before).await?;
    let look = Look::of(&desk.set, &register, desk.now());
    let item = look.item(tag, None)?;
    let Some(sheet) = history(&look, item, as_of) else {
        anyhow::bail!("{tag} is a {}, a kind that the policy set no longer knows", item.kind);
    };
    match format {
        TextFormat::Text => say(format_args!("{}", text(&sheet)))?,
        TextFormat::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&sheet)?))?,
    }
    Ok(Answer::Done)
}

pub(super) async fn loans(
    settings: &Settings,
    station: Option<&str>,
    replay: Replay,
    format: Format,
) -> anyhow::Result<Answer> {
    let desk = settings.desk_of(&replay).await?;
    let (as_of, known_before) = replay.of(&desk);
    let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
    if let Some(slug) = station.filter(|slug| !fleet.stations.iter().any(|here| *here.slug == **slug)) {
        anyhow::bail!("no station is called \"{slug}\"");
    }
    let agreed = desk.store.newest_known::<records::Loan>(known_before).await?;
    let rows = found(&desk.set, &fleet, agreed.values(), as_of, station);
    match format {
        Format::Table if rows.is_empty() => say(format_args!("{}", replay.nothing("nothing is on loan")))?,
        Format::Table => rows.iter().try_for_each(|loan| say(format_args!("{}\n", line(loan))))?,
        Format::Csv => say(format_args!("{}", csv(&rows)?))?,
        Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&rows)?))?,
    }
    Ok(Answer::Done)
}

fn line(loan: &Loan) -> String {
    let used = if loan.used.is_empty() { "no use".to_owned() } else { loan.used.join(", ") };
    let until = match loan.standing {
        "" => String::new(),
        "over" => format!("; to be back by {}, OVER", loan.until),
        _ => format!("; to be back by {}", loan.until),
    };
    let lender = if loan.lender.is_empty() { "central stores" } else { &loan.lender };
    format!(
        "{} ({}): {lender} lends it to {}, on {} since {}: {used}{until}",
        loan.item, loan.kind, loan.user, loan.host, loan.since
    )
}

fn csv(rows: &[Loan]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record(["item", "kind", "lender", "user", "host", "since", "used", "until", "standing"])?;
    for loan in rows {
        let used = loan.used.join("; ");
        let Loan { item, kind, lender, user, host, since, until, .. } = loan;
        csv.write_record([item, kind, lender, user, host, since, &used, until, loan.standing])?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}
