//! `tallow work`: work done.

use clap::Args;
use policies::load::PolicySet;

use super::log::tell;
use super::{Answer, Settings};
use crate::records;
use crate::register::{Faults, Sheet};

#[derive(Debug, Args)]
pub(super) struct Work {
    /// Tag
    item: String,
    /// Rule it was done on
    rule: String,
    /// passed, failed or done
    #[arg(long, default_value = "done")]
    outcome: String,
    /// When: RFC 3339, a local time or a local date; now where left out
    #[arg(long)]
    at: Option<String>,
    /// Who did it, by address; needed where the rule wants a competence
    #[arg(long, value_name = "EMAIL")]
    by: Option<String>,
    /// Certificate or report number
    #[arg(long)]
    certificate: Option<String>,
    /// A reading as name=value, in the rule's unit; may be repeated
    #[arg(long, value_name = "NAME=VALUE")]
    measure: Vec<String>,
    /// The reading looks like a slip, was taken again, and is so
    #[arg(long)]
    confirm_reading: bool,
    /// Note
    #[arg(long)]
    note: Option<String>,
    /// Key of the record: the same key sent again is the same record
    #[arg(long)]
    key: Option<String>,
}

impl Work {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        let at = self.at.clone().unwrap_or_else(|| desk.now().timestamp().to_string());
        let faults = Faults::default();
        let register = desk.store.register(None).await?;
        let sheet = self.sheet(&at);
        let work = crate::register::read_one(
            &desk.set,
            &register,
            desk.now(),
            &sheet,
            self.confirm_reading,
            &faults,
        );
        let Some(work) = work else {
            let (told, _) = faults.take();
            let text: Vec<String> =
                told.iter().map(|fault| format!("{}: {}", fault.column, fault.message)).collect();
            anyhow::bail!("{}", text.join("\n"));
        };
        let what = format!("{} {} on {}", work.rule, work.outcome, work.item);
        let waits = waits_for_report(&desk.set, &work).then(|| work.key.clone());
        let done = desk.record_work(work).await?;
        tell(&what, &done)?;
        for note in faults.take_notes() {
            eprintln!("note: {}: {}", note.column, note.message);
        }
        if let Some(key) = waits {
            eprintln!(
                "note: not proved yet: it counts once its certificate is in, by tallow certificate add … --work \"{key}\""
            );
        }
        Ok(Answer::Done)
    }

    /// One row of `work.csv`, so that it is judged as an import would judge it.
    fn sheet(&self, at: &str) -> Sheet {
        let key = self.key.clone().unwrap_or_else(|| format!("work {at} {} {}", self.item, self.rule));
        let confirmed = self.confirm_reading.then_some("reading taken again and confirmed");
        let note: Vec<&str> = self.note.as_deref().into_iter().chain(confirmed).collect();
        let cells = [
            ("key", Some(key)),
            ("item", Some(self.item.clone())),
            ("rule", Some(self.rule.clone())),
            ("done_at", Some(at.to_owned())),
            ("outcome", Some(self.outcome.clone())),
            ("by", self.by.clone()),
            ("certificate", self.certificate.clone()),
            ("measurements", (!self.measure.is_empty()).then(|| self.measure.join(";"))),
            ("note", Some(note.join("; "))),
        ];
        let (header, row) =
            cells.into_iter().map(|(name, cell)| (name.to_owned(), cell.unwrap_or_default())).unzip();
        Sheet { name: "work".to_owned(), file: "work".to_owned(), header, rows: vec![(1, row)] }
    }
}

/// Whether work will count only once its certificate is named.
fn waits_for_report(set: &PolicySet, work: &records::Work) -> bool {
    let asks = set.find_rule(&work.rule).is_some_and(|rule| set.rule(rule).certificate);
    asks && work.outcome != "failed" && work.certificate.is_none()
}
