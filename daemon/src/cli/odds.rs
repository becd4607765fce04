//! `tallow odds`.

mod worn;

use std::collections::BTreeSet;

use clap::Args;
use comfy_table::{Table, presets};
use jiff::civil::Date;
use policies::facts::{Fleet, ItemId};
use policies::kinds::MeterId;
use policies::load::PolicySet;
use policies::odds::{Learnt, Pool, PoolKey};
use policies::odds_score::{MONTHS_BACK, Score, Share, scores};
use policies::wear::Wear;
use serde_json::{Value, json};

use super::say::say;
use super::setting::Replay;
use super::{Answer, Settings, TextFormat};
use crate::records::Work;
use crate::store::current::Newest;
use crate::wear;
use crate::why::{day, lender};

const LEVELS: [&str; 3] = ["p10", "p50", "p90"];
const MONTH_NAMES: [&str; 12] =
    ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

#[derive(Debug, Args)]
pub(super) struct Odds {
    /// How well forecasts did on the fleet's own history
    #[arg(long)]
    score: bool,
    #[command(flatten)]
    replay: Replay,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: TextFormat,
}

impl Odds {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        let (as_of, known_before) = self.replay.at_home(&desk);
        let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
        let told = if self.score {
            Told::score(&desk.set, &fleet, as_of)
        } else {
            let works: Newest<Work> = desk.store.newest_known(known_before).await?;
            let worn = wear::of_fleet(&desk.set, &fleet, as_of, works.values());
            Told::learnt(&desk.set, &fleet, as_of).and_wear(&desk.set, &fleet, &worn)
        };
        match self.format {
            TextFormat::Text => say(format_args!("{}", told.text))?,
            TextFormat::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&told.json)?))?,
        }
        Ok(Answer::Done)
    }
}

/// What is learnt, and by when gear needs renewal for wear.
pub(crate) fn learnt<'w>(
    set: &PolicySet,
    fleet: &Fleet,
    as_of: Date,
    works: impl IntoIterator<Item = &'w Work>,
) -> Value {
    let worn = wear::of_fleet(set, fleet, as_of, works);
    Told::learnt(set, fleet, as_of).and_wear(set, fleet, &worn).json
}

/// An answer both ways.
struct Told {
    text: String,
    json: Value,
}

impl Told {
    fn learnt(set: &PolicySet, fleet: &Fleet, as_of: Date) -> Told {
        let learnt = Learnt::of(set, fleet, as_of);
        let pools: Vec<Value> = learnt.pools().map(|(key, pool)| pool_json(set, key, pool)).collect();
        let meters = meters(&learnt);
        let seasons: Vec<Value> = meters.iter().map(|meter| season_json(set, &learnt, *meter)).collect();
        let odds = &set.service.odds;
        let json = json!({
            "as_of": as_of.to_string(), "learn": odds.learn,
            "service": { "prior_uses": odds.prior_uses, "prior_months": odds.prior_months, "months": odds.months },
            "hosts": pools, "meters": seasons, "stations_unknown": unknown_stations(set, fleet),
        });
        Told { text: learnt_text(set, &learnt, &meters) + &unknown_text(set, fleet), json }
    }

    /// With by when gear needs renewal for wear.
    fn and_wear(mut self, set: &PolicySet, fleet: &Fleet, worn: &[(ItemId, Wear)]) -> Told {
        self.text += &worn::text(set, fleet, worn);
        self.json["wear"] = worn::json(set, fleet, worn);
        self
    }

    fn score(set: &PolicySet, fleet: &Fleet, as_of: Date) -> Told {
        let found = scores(set, fleet, as_of);
        let kinds: Vec<Value> =
            found.iter().map(|(kind, score)| score_json(&set.kinds.kind(*kind).name, score)).collect();
        let rows = found.iter().map(|(kind, score)| (set.kinds.kind(*kind).name.as_str(), score));
        Told {
            text: score_text(rows, as_of),
            json: json!({ "as_of": as_of.to_string(), "month_ends": MONTHS_BACK, "kinds": kinds }),
        }
    }
}

/// Meters on which some host has logged.
fn meters(learnt: &Learnt) -> Vec<MeterId> {
    let mut meters: Vec<MeterId> = learnt.pools().map(|(key, _)| key.meter).collect();
    meters.sort_unstable();
    meters.dedup();
    meters
}

/// Stations of groups that the register does not have: a policy set is checked without one.
fn unknown_stations<'s>(set: &'s PolicySet, fleet: &Fleet) -> Vec<&'s str> {
    let known: BTreeSet<&str> = fleet.stations.iter().map(|station| &*station.slug).collect();
    let named = set.service.station_groups.stations().map(|(station, _)| station);
    named.filter(|station| !known.contains(station)).collect()
}

fn unknown_text(set: &PolicySet, fleet: &Fleet) -> String {
    let unknown = unknown_stations(set, fleet);
    if unknown.is_empty() {
        return String::new();
    }
    let names = unknown.join(", ");
    format!("\nStation groups in service.toml name what is no station of the register: {names}\n")
}

fn group_name(set: &PolicySet, key: PoolKey) -> Option<&str> {
    key.group.map(|group| set.service.station_groups.name(group))
}

fn hosts_text(set: &PolicySet, key: PoolKey) -> String {
    let kind = &set.kinds.kind(key.kind).name;
    group_name(set, key).map_or_else(|| kind.clone(), |group| format!("{kind} in group {group}"))
}

fn pool_json(set: &PolicySet, key: PoolKey, pool: &Pool) -> Value {
    json!({
        "kind": set.kinds.kind(key.kind).name, "meter": set.kinds.meter_name(key.meter),
        "group": group_name(set, key), "hosts": pool.hosts, "uses": pool.uses, "mean_months": pool.months,
        "rate_per_mean_month": pool.uses / pool.months,
        "prior_uses": pool.prior.uses, "prior_months": pool.prior.months,
        "pooled": pool.prior.lender.hosts().is_some(), "pooled_over": pool.prior.lender.hosts(),
        "pooled_in_group": pool.prior.lender.group().map(|group| set.service.station_groups.name(group)),
    })
}

fn season_json(set: &PolicySet, learnt: &Learnt, meter: MeterId) -> Value {
    let season = learnt.season(meter);
    json!({
        "meter": set.kinds.meter_name(meter), "months": season.months, "learnt": season.learnt,
        "spread": learnt.spread(meter),
    })
}

fn learnt_text(set: &PolicySet, learnt: &Learnt, meters: &[MeterId]) -> String {
    let odds = &set.service.odds;
    let own = format!(
        "The service's own prior: {} uses in {} mean months; months {}\n",
        odds.prior_uses,
        odds.prior_months,
        odds.months.map(|factor| format!("{factor:.2}")).join(" ")
    );
    if !odds.learn {
        return own
            + "They are pinned (learn = false in service.toml): the logs change nothing but each host's own rate.\n";
    }
    if meters.is_empty() {
        return own + "No host has logged a whole month yet: nothing is learnt.\n";
    }
    let seasons = "\nMonths relative to the mean, as the north has them; the south runs six months apart:\n";
    let note = "\n\nlearnt: how much of the months the logs say; the rest is the service's own. spread: variance of a \
                month's own factor, beyond chance.\n";
    [
        own,
        format!("\n{}\n", pool_table(set, learnt).trim_fmt()),
        seasons.to_owned(),
        season_table(set, learnt, meters).trim_fmt(),
        note.to_owned(),
    ]
    .concat()
}

fn table(header: &[&str]) -> Table {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(header);
    table
}

fn pool_table(set: &PolicySet, learnt: &Learnt) -> Table {
    let mut table =
        table(&["host", "meter", "hosts", "uses", "mean months", "a mean month", "prior", "whose"]);
    for (key, pool) in learnt.pools() {
        table.add_row(vec![
            hosts_text(set, key),
            set.kinds.meter_name(key.meter).to_owned(),
            pool.hosts.to_string(),
            format!("{:.0}", pool.uses),
            format!("{:.1}", pool.months),
            format!("{:.2}", pool.uses / pool.months),
            format!("{:.2} in {:.2}", pool.prior.uses, pool.prior.months),
            lender(set, key.kind, pool.prior.lender),
        ]);
    }
    table
}

fn season_table(set: &PolicySet, learnt: &Learnt, meters: &[MeterId]) -> Table {
    let mut header = vec!["meter"];
    header.extend(MONTH_NAMES);
    header.extend(["learnt", "spread"]);
    let mut table = table(&header);
    for meter in meters {
        let season = learnt.season(*meter);
        let mut row = vec![set.kinds.meter_name(*meter).to_owned()];
        row.extend(season.months.map(|factor| format!("{factor:.2}")));
        row.extend([format!("{:.0} %", 100.0 * season.learnt), format!("{:.2}", learnt.spread(*meter))]);
        table.add_row(row);
    }
    table
}

fn share_json(share: Share) -> Value {
    json!({ "judged": share.of, "crossed": share.crossed, "percent": share.percent() })
}

fn score_json(kind: &str, score: &Score) -> Value {
    let mut value = json!({
        "kind": kind, "forecasts": score.forecasts, "hosts": score.hosts.len(), "crossed": score.crossed,
        "not_yet_crossed": score.open(), "inside_p10_p90": share_json(score.inside),
    });
    for (level, share) in LEVELS.iter().zip(&score.before) {
        value[format!("before_{level}")] = share_json(*share);
    }
    value
}

fn share_text(share: Share) -> String {
    share
        .percent()
        .map_or_else(|| "none over".to_owned(), |percent| format!("{percent:.0} % of {}", share.of))
}

fn score_text<'s>(rows: impl Iterator<Item = (&'s str, &'s Score)>, as_of: Date) -> String {
    let header = [
        "kind",
        "forecasts",
        "hosts",
        "crossed",
        "not yet",
        "before 10 %",
        "before 50 %",
        "before 90 %",
        "from 10 to 90 %",
    ];
    let mut table = table(&header);
    let mut any = false;
    for (kind, score) in rows {
        any = true;
        let mut row = vec![kind.to_owned()];
        row.extend(
            [
                score.forecasts,
                u32::try_from(score.hosts.len()).unwrap_or(u32::MAX),
                score.crossed,
                score.open(),
            ]
            .map(|n| n.to_string()),
        );
        row.extend(score.before.iter().copied().map(share_text));
        row.push(share_text(score.inside));
        table.add_row(row);
    }
    if !any {
        return format!(
            "Nothing to look back on: no usage limit was open, with a log behind it, at the {MONTHS_BACK} month ends before {}.\n",
            day(as_of)
        );
    }
    format!(
        "Forecasts made at the {MONTHS_BACK} month ends before {}, from the records then before them, and what came of them:\n\n{}\n\n\
         A limit is crossed on the day its host had made the uses then left, whether or not the item was renewed before.\n\
         A date is judged once its day is over, crossed or not; dates still ahead are left out, so nothing is \
         counted for being early.\n\
         Forecasts of one host share its luck: read the shares of few hosts with care.\n",
        day(as_of),
        table.trim_fmt()
    )
}

#[cfg(test)]
mod tests;
