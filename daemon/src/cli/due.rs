//! `tallow due` and `tallow why`.

use clap::Args;
use policies::due::Evaluator;

use super::say::say;
use super::setting::Replay;
use super::{Answer, Format, Settings, TextFormat};
use crate::due_list::{self, Wanted};
use crate::kept_dates::{self, Waiting};
use crate::records::Work;
use crate::store::current::Newest;
use crate::why;

#[derive(Debug, Args)]
pub(super) struct Due {
    /// Only gear that this station owns
    #[arg(long)]
    station: Option<String>,
    /// Only this item
    #[arg(long)]
    item: Option<String>,
    /// Only this rule
    #[arg(long)]
    rule: Option<String>,
    #[command(flatten)]
    replay: Replay,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Due {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk_of(&self.replay).await?;
        let (as_of, known_before) = self.replay.of(&desk);
        let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
        if let Some(item) = self.item.as_ref().filter(|item| fleet.find(item).is_none()) {
            anyhow::bail!("no item is tagged \"{item}\"");
        }
        if let Some(station) =
            self.station.as_ref().filter(|slug| !fleet.stations.iter().any(|s| *s.slug == ***slug))
        {
            anyhow::bail!("no station is called \"{station}\"");
        }
        if let Some(rule) = self.rule.as_ref().filter(|rule| desk.set.find_rule(rule).is_none()) {
            anyhow::bail!("no rule is called \"{rule}\"");
        }
        let wanted = Wanted { station: self.station, item: self.item, rule: self.rule };
        let lines = due_list::lines(&desk.set, &fleet, as_of, &wanted);
        match self.format {
            Format::Table if lines.is_empty() => {
                say(format_args!("{}", self.replay.nothing("no gear that a rule is for")))?;
            }
            Format::Table => {
                say(format_args!("{}", due_list::table(&lines)))?;
                let waiting = kept_dates::waiting(&desk.store, &desk.set, &fleet, as_of).await?;
                let shown = |row: &&Waiting| lines.iter().any(|l| l.item == row.item && l.rule == row.rule);
                for row in waiting.iter().filter(shown) {
                    let (item, rule) = (&row.item, &row.rule);
                    say(format_args!(
                        "{item} {rule} stands at {} until an engineer acknowledges\n",
                        row.stands
                    ))?;
                }
            }
            Format::Csv => say(format_args!("{}", due_list::csv(&lines)?))?,
            Format::Json => say(format_args!("{}", due_list::json(&lines)?))?,
        }
        Ok(Answer::Done)
    }
}

#[derive(Debug, Args)]
pub(super) struct Why {
    /// Tag
    item: String,
    /// Rule
    rule: String,
    #[command(flatten)]
    replay: Replay,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: TextFormat,
}

impl Why {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk_of(&self.replay).await?;
        let (as_of, known_before) = self.replay.of(&desk);
        let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
        let Some(id) = fleet.find(&self.item) else { anyhow::bail!("no item is tagged \"{}\"", self.item) };
        let Some(rule) = desk.set.find_rule(&self.rule) else {
            anyhow::bail!("no rule is called \"{}\"", self.rule)
        };
        let item = fleet.item(id);
        let station = fleet.station_of(item).map(|station| &*station.slug);
        let evaluator = Evaluator::without_forecasts(&desk.set, &fleet, as_of);
        let applies = evaluator.applies(item, id, rule, station) || evaluator.kept(id, rule).is_some();
        if !applies || !desk.set.rule(rule).has_due_row() {
            let kind = &desk.set.kinds.kind(item.kind).name;
            anyhow::bail!(
                "\"{}\" gives {} (a {kind}) no due row; see tallow due --item {}",
                self.rule,
                self.item,
                self.item
            );
        }
        let Some(why) = why::Why::of(&desk.set, &fleet, as_of, &self.item, &self.rule) else {
            anyhow::bail!("{} {} cannot be explained", self.item, self.rule)
        };
        let works: Newest<Work> = desk.store.newest_known(known_before).await?;
        let why = why.with_wear(works.values());
        match self.format {
            TextFormat::Text => say(format_args!("{}", why.text()))?,
            TextFormat::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&why.json())?))?,
        }
        Ok(Answer::Done)
    }
}
