//! Notices in sections of sentences: the region's week, an alarm, the head of the record chain, the month's renewals.
//! Pure: the same facts make the same words.

use serde::Serialize;

/// A letter's sentences, as its templates are filled in with them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Page {
    /// One line.
    pub subject: String,
    /// What it is, and for whom.
    pub opening: String,
    /// Its body.
    pub sections: Vec<Section>,
    /// What stands under it.
    pub closing: Vec<String>,
}

/// A heading with its lines.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Section {
    /// None: the lines stand alone.
    pub heading: Option<String>,
    /// A sentence each.
    pub lines: Vec<String>,
}

/// The first screen of the region's week: no more than this is read on a Monday.
const REGION_LINES: usize = 25;
const DECIDES: &str = "A competent person decides whether gear is fit; this notice does not.";

/// The region's week.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Region {
    /// Number of the notice.
    pub number: String,
    /// `12 Oct 2026 07:00 (TVST)`
    pub as_known: String,
    /// Each station that is off, with its first reason.
    pub off: Vec<String>,
    /// Each that may launch with limits.
    pub limits: Vec<String>,
    /// Each of which nothing is known.
    pub unknown: Vec<String>,
    /// How many are ready.
    pub ready: usize,
    /// What changed since last week.
    pub changed: Vec<String>,
    /// What falls short in the cover.
    pub cover: Vec<String>,
    /// What stops a launch within four weeks.
    pub ahead: Vec<String>,
    /// What somebody must decide.
    pub decide: Vec<String>,
    /// Doubts in the logs.
    pub doubts: Vec<String>,
    /// Notices that did not arrive.
    pub trouble: Vec<String>,
    /// Where the rest is.
    pub pages_url: Option<String>,
}

impl Region {
    /// Set as a letter: changes first, then what is off, what is to be decided, what is in doubt.
    pub fn page(&self) -> Page {
        let parts = [
            ("Changed since last week", &self.changed),
            ("Off", &self.off),
            ("Limits", &self.limits),
            ("Not known", &self.unknown),
            ("Cover", &self.cover),
            ("Decide", &self.decide),
            ("Stops a launch within four weeks", &self.ahead),
            ("Doubts", &self.doubts),
            ("Notices that did not arrive", &self.trouble),
        ];
        let (sections, more) = fit(&parts);
        let mut closing = Vec::new();
        if more > 0 {
            let rest = self.pages_url.as_ref().map_or_else(
                || "tallow readiness and tallow due tell them".to_owned(),
                |url| format!("they stand on {url}"),
            );
            closing.push(format!("{more} more lines are left out here; {rest}."));
        }
        if sections.is_empty() {
            closing.push("Nothing is off, nothing waits for a decision.".to_owned());
        }
        closing.push(DECIDES.to_owned());
        Page {
            subject: self.subject(),
            opening: format!("Notice {} for the region, as known {}.", self.number, self.as_known),
            sections,
            closing,
        }
    }

    /// `Region - 2 OFF, 1 LIMITS, 9 READY - 4 decisions [N-2026-1188]`
    fn subject(&self) -> String {
        let decisions = match self.decide.len() {
            0 => String::new(),
            1 => " - 1 decision".to_owned(),
            count => format!(" - {count} decisions"),
        };
        let unknown = if self.unknown.is_empty() {
            String::new()
        } else {
            format!(", {} NOT KNOWN", self.unknown.len())
        };
        format!(
            "Region - {} OFF, {} LIMITS, {} READY{unknown}{decisions} [{}]",
            self.off.len(),
            self.limits.len(),
            self.ready,
            self.number
        )
    }
}

/// As many lines as a screen holds; each part keeps at least its first ones, and the number left out is told.
fn fit(parts: &[(&str, &Vec<String>)]) -> (Vec<Section>, usize) {
    let filled: Vec<_> = parts.iter().filter(|(_, lines)| !lines.is_empty()).collect();
    let mut left = REGION_LINES.saturating_sub(filled.len());
    let mut behind = filled.len();
    let (mut sections, mut more) = (Vec::new(), 0);
    for (heading, lines) in filled {
        behind -= 1;
        // A later part is not crowded out by an earlier one.
        let room = left.saturating_sub(behind).max(1).min(lines.len());
        more += lines.len() - room;
        left = left.saturating_sub(room);
        sections.push(Section { heading: Some((*heading).to_owned()), lines: lines[..room].to_vec() });
    }
    (sections, more)
}

/// Something wrong with the service itself.
pub fn alarm(number: &str, about: &str, text: &str, since: &str) -> Page {
    Page {
        subject: format!("Tallow alarm: {about} [{number}]"),
        opening: format!("Notice {number}: something is wrong with the service itself, since {since}."),
        sections: vec![Section { heading: None, lines: vec![text.to_owned()] }],
        closing: vec![
            "Until it is mended, treat what Tallow says as doubtful and look at the gear and its papers."
                .to_owned(),
        ],
    }
}

/// Notices that did not reach whom they were for, told to whoever is next: each with whom it was for and why it did
/// not arrive, and what it said.
pub fn undelivered(number: &str, notices: &[(String, Vec<String>)]) -> Page {
    let heading = |(heading, lines): &(String, Vec<String>)| Section {
        heading: Some(heading.clone()),
        lines: lines.clone(),
    };
    let count = match notices.len() {
        1 => "a notice".to_owned(),
        several => format!("{several} notices"),
    };
    Page {
        subject: format!("Not delivered: {count} [{number}]"),
        opening: format!(
            "Notice {number}: {count} did not reach whom it was for. You are next in turn: see to it that somebody does what it asks."
        ),
        sections: notices.iter().map(heading).collect(),
        closing: vec![
            "Put the address right in people.csv, or clear it once it takes mail again.".to_owned(),
            DECIDES.to_owned(),
        ],
    }
}

/// The head of the record chain, kept outside the machine by whoever reads this.
pub fn chain_head(number: &str, day: &str, seq: i64, hash: &str) -> Page {
    Page {
        subject: format!("Record chain {day}: link {seq} [{number}]"),
        opening: format!("Notice {number}: the record chain ended on {day} with link {seq}."),
        sections: vec![Section { heading: None, lines: vec![format!("Hash: {hash}")] }],
        closing: vec![
            "Keep this mail. Should records ever be doubted, the chain must still hold this link with this hash."
                .to_owned(),
        ],
    }
}

/// The month's renewal and spares plan.
pub fn renewals(number: &str, month: &str, lines: &[String]) -> Page {
    let lines = if lines.is_empty() { vec!["No renewal is in sight.".to_owned()] } else { lines.to_vec() };
    Page {
        subject: format!("Renewals and spares, {month} [{number}]"),
        opening: format!(
            "Notice {number}: what will be renewed within eighteen months, what to hold, what to order and by when."
        ),
        sections: vec![Section { heading: None, lines }],
        closing: vec![DECIDES.to_owned()],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(count: usize) -> Vec<String> {
        (0..count).map(|at| format!("line {at}")).collect()
    }

    #[test]
    fn the_first_screen_holds_something_of_everything_and_counts_the_rest() {
        let region = Region {
            number: "N-2026-1188".to_owned(),
            off: lines(2),
            limits: lines(1),
            ready: 9,
            decide: lines(4),
            ahead: lines(60),
            doubts: lines(3),
            ..Region::default()
        };
        let page = region.page();
        assert_eq!(page.subject, "Region - 2 OFF, 1 LIMITS, 9 READY - 4 decisions [N-2026-1188]");
        let headed: Vec<(&str, usize)> = page
            .sections
            .iter()
            .map(|section| (section.heading.as_deref().unwrap(), section.lines.len()))
            .collect();
        let wanted = [
            ("Off", 2),
            ("Limits", 1),
            ("Decide", 4),
            ("Stops a launch within four weeks", 12),
            ("Doubts", 1),
        ];
        assert_eq!(headed, wanted);
        assert_eq!(
            page.sections.len() + page.sections.iter().map(|part| part.lines.len()).sum::<usize>(),
            25
        );
        assert!(page.closing[0].starts_with("50 more lines"), "{:?}", page.closing);
    }

    #[test]
    fn a_quiet_region_says_so() {
        let page = Region { number: "N-2026-0001".to_owned(), ready: 12, ..Region::default() }.page();
        assert_eq!(page.subject, "Region - 0 OFF, 0 LIMITS, 12 READY [N-2026-0001]");
        assert_eq!(page.closing[0], "Nothing is off, nothing waits for a decision.");
    }
}
