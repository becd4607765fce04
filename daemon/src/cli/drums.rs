//! `tallow drums`: what is on them, and how to cut what is wanted.

use clap::Args;
use policies::stores::cutting::Wanted;

use super::say::say;
use super::setting::Replay;
use super::{Answer, Format, Settings};
use crate::desk::Desk;
use crate::stores::drums::{Asked, DrumLine, cut, lines, pairs_of, told, wanted_by_plan};
use crate::stores::kept::{Kept, Question};

#[derive(Debug, Args)]
pub(super) struct Drums {
    /// Lengths to cut, ends included: "2x35.6 m" is a pair from one drum, "2x2x35.6 m" two pairs, "10x7.2 m" ten single
    /// lengths, "2x1x35.6 m" two; what the plan asks for, unless said
    #[arg(long, value_name = "LENGTHS", value_delimiter = ',')]
    cut: Vec<Asked>,
    /// Wire, by its part; may be left out where all drums are of one
    #[arg(long)]
    part: Option<String>,
    #[command(flatten)]
    replay: Replay,
    /// How to write the drums
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Drums {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk_of(&self.replay).await?;
        let (as_of, known_before) = self.replay.of(&desk);
        let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
        let kept = Kept::known(&desk.store, known_before).await?;
        let planned = kept.plan(&desk.set, &fleet, &Question::of(&desk.set, as_of));
        let found = lines(&desk.set, &fleet, &kept, &planned, self.part.as_deref());
        if self.cut.is_empty() || self.format != Format::Table {
            self.list(&found)?;
        }
        if self.format != Format::Table {
            return Ok(Answer::Done);
        }
        for (part, wanted) in self.jobs(&desk, &planned, &found)? {
            let (job, cutting) = cut(&desk.set, &fleet, &kept, &planned, (&part, wanted))?;
            say(format_args!("Cut from {part}:\n"))?;
            told(&job, &cutting).iter().try_for_each(|line| say(format_args!("  {line}\n")))?;
        }
        Ok(Answer::Done)
    }

    /// What to cut, part by part.
    fn jobs(
        &self,
        desk: &Desk,
        planned: &crate::stores::kept::Planned,
        found: &[DrumLine],
    ) -> anyhow::Result<Vec<(String, Vec<Wanted>)>> {
        let mut parts: Vec<&str> = found.iter().map(|drum| &*drum.part).collect();
        parts.sort_unstable();
        parts.dedup();
        if self.cut.is_empty() {
            let jobs =
                parts.iter().map(|part| ((*part).to_owned(), wanted_by_plan(&desk.set, planned, part)));
            return Ok(jobs.filter(|(_, wanted)| !wanted.is_empty()).collect());
        }
        match parts.as_slice() {
            [part] => Ok(vec![((*part).to_owned(), self.cut.iter().map(|asked| asked.0).collect())]),
            [] => anyhow::bail!("no drum may be cut; see tallow stock list"),
            parts => {
                anyhow::bail!("there are drums of {}; name the one to cut with --part", parts.join(", "))
            }
        }
    }

    fn list(&self, found: &[DrumLine]) -> anyhow::Result<()> {
        match self.format {
            Format::Table if found.is_empty() => say(format_args!("no drum may be cut\n")),
            Format::Table => found.iter().try_for_each(|drum| say(format_args!("{}\n", text(drum)))),
            Format::Csv => say(format_args!("{}", csv(found)?)),
            Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(found)?)),
        }
    }
}

fn text(drum: &DrumLine) -> String {
    let made: Option<String> = drum.made.parse().ok().map(crate::why::day);
    let made = made.map(|made| format!(", made {made}")).unwrap_or_default();
    let cuts: Vec<String> = drum.cuts.iter().map(|(tag, length)| format!("{tag} {length} m")).collect();
    let cuts = if cuts.is_empty() { String::new() } else { format!("; cut from it: {}", cuts.join(", ")) };
    let bought = drum.bought_m.as_ref().map(|bought| format!(" of {bought}")).unwrap_or_default();
    format!(
        "{} ({}, certificate {}{made}): {}{bought} m left, {}{cuts}",
        drum.drum,
        drum.part,
        drum.certificate,
        drum.left_m,
        pairs_of(drum.pairs)
    )
}

fn csv(found: &[DrumLine]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record(["drum", "part", "made", "certificate", "bought_m", "left_m", "pairs", "cuts"])?;
    for drum in found {
        let cuts: Vec<String> = drum.cuts.iter().map(|(tag, length)| format!("{tag}={length}")).collect();
        csv.write_record([
            &drum.drum,
            &drum.part,
            &drum.made,
            &drum.certificate,
            drum.bought_m.as_deref().unwrap_or_default(),
            &drum.left_m,
            &drum.pairs.to_string(),
            &cuts.join(";"),
        ])?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}
