//! `tallow order`: raised, received, listed, and the sheet that goes out.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};
use jiff::civil::Date;
use policies::amount::Amount;

use super::item::{By, write_down};
use super::say::say;
use super::setting::{Replay, date};
use super::{Answer, Format, Settings};
use crate::stores::deeds::{Raise, Receive, Sign};
use crate::stores::kept::Kept;
use crate::stores::order_sheet;
use crate::stores::orders::{OrderLine, lines};

#[derive(Debug, Args)]
pub(super) struct Order {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Order a part
    Raise {
        /// Part
        part: String,
        /// How much; what the plan asks for today, unless said
        quantity: Option<Amount>,
        /// Where to: stores, loft, or a station's slug
        #[arg(long, default_value = crate::stores::kept::STORES)]
        place: String,
        /// Deliver by; once its lead time has passed, unless said
        #[arg(long, value_name = "DATE", value_parser = date)]
        needed_by: Option<Date>,
        /// The day it goes out; today unless said
        #[arg(long, value_name = "DATE", value_parser = date)]
        on: Option<Date>,
        #[command(flatten)]
        by: By,
    },
    /// Sign an order, as an engineer or the head: then it goes to the supplier, and counts as on its way
    Sign {
        /// Number
        order: String,
        #[command(flatten)]
        by: By,
    },
    /// Goods in, or the certificate that came after them; without one they must not be issued
    Receive {
        /// Number
        order: String,
        /// How much came; the rest stays on order
        #[arg(long)]
        quantity: Option<Amount>,
        /// The day it came; today unless said
        #[arg(long, value_name = "DATE", value_parser = date)]
        on: Option<Date>,
        /// Number of its certificate
        #[arg(long)]
        certificate: Option<String>,
        #[command(flatten)]
        by: By,
    },
    /// What waits for a signature, is on its way, late, in, or in without its certificate
    List {
        #[command(flatten)]
        replay: Replay,
        /// How to write it
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
    /// The sheet that goes to the supplier
    Sheet {
        /// Numbers
        #[arg(required = true)]
        orders: Vec<String>,
        /// How to write it
        #[arg(long, value_enum, default_value_t)]
        format: SheetFormat,
        /// File for a workbook
        #[arg(long, value_name = "FILE", required_if_eq("format", "xlsx"))]
        out: Option<PathBuf>,
        #[command(flatten)]
        replay: Replay,
    },
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum SheetFormat {
    /// To be printed and signed
    #[default]
    Text,
    /// For spreadsheets
    Csv,
    /// A workbook
    Xlsx,
}

impl Order {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self.what {
            What::Raise { part, quantity, place, needed_by, on, by } => {
                let by_whom = by.by.clone();
                let deed = Raise { part, quantity, place, needed_by, on, by: by_whom, for_whom: None };
                write_down(settings, "order raise", &by, |look| deed.rows(look)).await
            }
            What::Sign { order, by } => {
                let deed = Sign { order, by: by.by.clone() };
                write_down(settings, "order sign", &by, |look| deed.rows(look)).await
            }
            What::Receive { order, quantity, on, certificate, by } => {
                let deed = Receive { order, quantity, on, certificate };
                write_down(settings, "order receive", &by, |look| deed.rows(look)).await
            }
            What::List { replay, format } => list(settings, replay, format).await,
            What::Sheet { orders, format, out, replay } => {
                sheet(settings, &orders, (format, out), replay).await
            }
        }
    }
}

async fn list(settings: &Settings, replay: Replay, format: Format) -> anyhow::Result<Answer> {
    let desk = settings.desk_of(&replay).await?;
    let (today, known_before) = replay.at_home(&desk);
    let kept = Kept::known(&desk.store, known_before).await?;
    let found = lines(&desk.set, &kept, (today, today));
    match format {
        Format::Table if found.is_empty() => say(format_args!("nothing is on order\n"))?,
        Format::Table => found.iter().try_for_each(|line| say(format_args!("{}\n", text(line))))?,
        Format::Csv => say(format_args!("{}", csv(&found)?))?,
        Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&found)?))?,
    }
    Ok(Answer::Done)
}

fn text(line: &OrderLine) -> String {
    let day = |text: &str| text.parse().map_or_else(|_| text.to_owned(), crate::why::day);
    let came = if line.standing.starts_with("in") { "came" } else { "expected" };
    let certificate = if line.certificate.is_empty() {
        String::new()
    } else {
        format!(", certificate {}", line.certificate)
    };
    format!(
        "{}: {} of {} to {}, ordered {}, needed by {}: {}, {came} {}{certificate}",
        line.order,
        line.quantity,
        line.part,
        line.place,
        day(&line.ordered_on),
        day(&line.needed_by),
        line.standing,
        day(&line.expected_on)
    )
}

fn csv(lines: &[OrderLine]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record([
        "order",
        "part",
        "quantity",
        "place",
        "ordered_on",
        "needed_by",
        "expected_on",
        "standing",
        "certificate",
    ])?;
    for line in lines {
        csv.write_record([
            &*line.order,
            &line.part,
            &line.quantity,
            &line.place,
            &line.ordered_on,
            &line.needed_by,
            &line.expected_on,
            line.standing,
            &line.certificate,
        ])?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}

async fn sheet(
    settings: &Settings,
    orders: &[String],
    (format, out): (SheetFormat, Option<PathBuf>),
    replay: Replay,
) -> anyhow::Result<Answer> {
    let desk = settings.desk_of(&replay).await?;
    let (today, known_before) = replay.at_home(&desk);
    let kept = Kept::known(&desk.store, known_before).await?.on(today);
    let lines = order_sheet::lines(&kept, orders)?;
    match (format, out) {
        (SheetFormat::Text, _) => say(format_args!("{}", order_sheet::text(&lines, "the stores clerk")))?,
        (SheetFormat::Csv, _) => say(format_args!("{}", order_sheet::csv(&lines)?))?,
        (SheetFormat::Xlsx, Some(path)) => order_sheet::xlsx(&lines, &path)?,
        (SheetFormat::Xlsx, None) => anyhow::bail!("name the workbook with --out"),
    }
    Ok(Answer::Done)
}
