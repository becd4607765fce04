//! What is on the drums? Each laid out to scale with its cuts, what the plan would have cut from it hatched, and what the
//! rest still makes.

use askama::Template;
use axum::response::Response;
use policies::amount::Amount;
use policies::stores::cutting::{Cutting, Job};

use super::Sight;
use crate::rights::Act;
use crate::stores::drums::{DrumLine, metres, told};
use crate::web::drawing::drum::{Length, Sort, drum};
use crate::web::fault::Fault;
use crate::web::filters;
use crate::web::links::Link;
use crate::web::near;
use crate::web::shell::Shell;
use crate::web::visit::{Visit, html};

/// A proposed cutting, in words.
pub(super) struct Told {
    pub(super) part: Link,
    pub(super) wanted: String,
    /// Drum and what it gives.
    pub(super) from: Vec<(Link, String)>,
    /// What is left over, and what could not be had.
    pub(super) rest: Vec<String>,
    pub(super) cut: Option<String>,
}

/// A drum on a page.
struct Shown {
    tag: Link,
    item: Link,
    part: Link,
    facts: Vec<(&'static str, String)>,
    left: String,
    makes: String,
    drawing: String,
    cuts: Vec<(Link, String)>,
    /// What is neither gear nor left.
    lost: String,
    proposed: Vec<String>,
    cut: Option<String>,
}

#[derive(Template)]
#[template(path = "stores-drums.html")]
struct Page {
    shell: Shell,
    answer: String,
    cuttings: Vec<Told>,
    drums: Vec<Shown>,
    alone: bool,
}

/// Every drum that may be cut.
///
/// # Errors
/// A date that is none, or records that cannot be read.
pub(super) async fn all(visit: &Visit) -> Result<Response, Fault> {
    let sight = Sight::of(visit).await?;
    let drums: Vec<Shown> = (0..).zip(&sight.seen.drums).map(|(at, drum)| sight.drum(at, drum)).collect();
    html(&Page {
        shell: sight.shell("What is on the drums?"),
        answer: match drums.len() {
            0 => "No drum may be cut.".to_owned(),
            count => format!("{} may be cut, the oldest first.", crate::web::words::count(count, "drums")),
        },
        cuttings: sight.cuttings(),
        drums,
        alone: false,
    })
}

/// One drum.
///
/// # Errors
/// No such drum that may be cut, a date that is none, or records that cannot be read.
pub(super) async fn one(visit: &Visit) -> Result<Response, Fault> {
    let sight = Sight::of(visit).await?;
    let tag = visit.name();
    let Some(found) = sight.seen.drums.iter().find(|drum| drum.drum == tag) else {
        let tags = sight.seen.drums.iter().map(|drum| drum.drum.as_str());
        let near = near::nearest(tag, tags)
            .into_iter()
            .map(|tag| Link { text: tag.to_owned(), href: sight.links().drum(tag) })
            .collect();
        return Err(Fault::missing(
            format!("No drum that may be cut is tagged \"{tag}\"."),
            "The drums' page lists them; one that must not be used stands under its own tag as gear.",
            near,
        ));
    };
    let shown = sight.drum(0, found);
    html(&Page {
        shell: sight.shell(&format!("{tag}: what is on it, and what does it still make?")),
        answer: format!("{} m are left. {}", found.left_m, shown.makes),
        cuttings: Vec::new(),
        drums: vec![shown],
        alone: true,
    })
}

impl Sight<'_> {
    pub(super) fn cuttings(&self) -> Vec<Told> {
        let each = self.seen.cuttings.iter();
        each.map(|(part, job, cutting)| self.told(part, job, cutting)).collect()
    }

    fn told(&self, part: &str, job: &Job, cutting: &Cutting) -> Told {
        let all = told(job, cutting);
        let (drums, rest) = all.split_at(cutting.drums.len().min(all.len()));
        let from =
            cutting.drums.iter().zip(drums).filter(|(drum, _)| drum.counts.iter().any(|count| *count > 0));
        Told {
            part: self.links().to_spare(part),
            wanted: wanted(job),
            from: from
                .map(|(drum, says)| {
                    let says = says.split_once(": ").map_or(says.as_str(), |(_, says)| says);
                    (Link { text: drum.tag.clone(), href: self.links().drum(&drum.tag) }, says.to_owned())
                })
                .collect(),
            rest: rest.to_vec(),
            cut: self.form(Act::CutItem, "cut", part),
        }
    }

    fn drum(&self, at: usize, line: &DrumLine) -> Shown {
        let proposed = self.proposed(line);
        let left: Amount = line.left_m.parse().unwrap_or(Amount::ZERO);
        let cut: Amount = line.cuts.iter().filter_map(|(_, length)| length.parse::<Amount>().ok()).sum();
        let bought = line.bought_m.as_ref().and_then(|bought| bought.parse::<Amount>().ok());
        let whole = bought.unwrap_or(cut + left).max(cut + left);
        let lost = whole - cut - left;
        let title = format!("{}: {whole} m as it came, {cut} m cut from it, {left} m left", line.drum);
        let lengths = lengths(line, (lost, left), &proposed);
        Shown {
            tag: Link { text: line.drum.clone(), href: self.links().drum(&line.drum) },
            item: self.links().to_item(&line.drum),
            part: self.links().to_spare(&line.part),
            facts: self.facts_of(line),
            left: line.left_m.clone(),
            makes: makes(line),
            drawing: drum(&format!("drum-{at}"), &title, whole.to_f64(), &lengths),
            cuts: line
                .cuts
                .iter()
                .map(|(tag, length)| {
                    let length =
                        if length.is_empty() { "length not known".to_owned() } else { format!("{length} m") };
                    (self.links().to_item(tag), length)
                })
                .collect(),
            lost: if lost.is_positive() { lost.to_string() } else { String::new() },
            proposed: proposed.iter().map(|(says, _)| says.clone()).collect(),
            cut: self.form(Act::CutItem, "cut", &line.part),
        }
    }

    fn facts_of(&self, line: &DrumLine) -> Vec<(&'static str, String)> {
        let facts = [
            ("Certificate", line.certificate.clone()),
            ("Made", self.day_of(&line.made)),
            ("Came with", line.bought_m.as_ref().map(|bought| format!("{bought} m")).unwrap_or_default()),
        ];
        facts.into_iter().filter(|(_, text)| !text.is_empty()).collect()
    }

    /// What the plan would have cut from a drum: in words, and its metres with the saw's.
    fn proposed(&self, line: &DrumLine) -> Vec<(String, Amount)> {
        let mut found = Vec::new();
        for (_, job, cutting) in self.seen.cuttings.iter().filter(|(part, ..)| *part == line.part) {
            let Some(own) = cutting.drums.iter().find(|drum| drum.tag == line.drum) else { continue };
            for (wanted, count) in job.wanted.iter().zip(&own.counts) {
                let taken = metres((wanted.cut_mm + job.saw_mm) * wanted.wires);
                let each = metres(wanted.cut_mm);
                let says = if wanted.wires == 2 {
                    format!("a pair, 2 × {each} m")
                } else {
                    format!("one of {each} m")
                };
                found.extend((0..*count).map(|_| (says.clone(), taken)));
            }
        }
        found
    }
}

/// `two pairs of 2 × 35.6 m`, as the plan wants them.
fn wanted(job: &Job) -> String {
    let each: Vec<String> = job
        .wanted
        .iter()
        .map(|wanted| {
            let (count, length) =
                (usize::try_from(wanted.count).unwrap_or(usize::MAX), metres(wanted.cut_mm));
            if wanted.wires == 2 {
                format!("{} of 2 × {length} m", crate::web::words::count(count, "pairs"))
            } else {
                format!("{count} of {length} m")
            }
        })
        .collect();
    crate::web::words::list(&each)
}

fn makes(line: &DrumLine) -> String {
    match line.pairs {
        0 => "It makes no whole pair any more.".to_owned(),
        1 => "It still makes 1 pair.".to_owned(),
        pairs => format!("It still makes {pairs} pairs."),
    }
}

/// The wire from its outer end: what was cut, what that cost, what is proposed, and the rest.
fn lengths(line: &DrumLine, (lost, left): (Amount, Amount), proposed: &[(String, Amount)]) -> Vec<Length> {
    let gear = line.cuts.iter().map(|(tag, length)| Length {
        metres: length.parse::<Amount>().map_or(0.0, Amount::to_f64),
        name: tag.clone(),
        sort: Sort::Gear,
    });
    let mut all: Vec<Length> = gear.collect();
    all.push(Length { metres: lost.to_f64(), name: String::new(), sort: Sort::Lost });
    let mut rest = left;
    for (says, metres) in proposed {
        rest = rest - *metres;
        all.push(Length { metres: metres.to_f64(), name: says.clone(), sort: Sort::Proposed });
    }
    all.push(Length { metres: rest.to_f64(), name: format!("{rest} m"), sort: Sort::Left });
    all
}
