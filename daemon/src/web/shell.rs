//! What surrounds every page: title, the ways to other pages, what is known, and the cautions at the foot.

use super::Web;
use super::asked::Asked;
use super::caution;
use super::links::Links;
use super::replay::Known;

/// Fields of the page around a page.
pub(super) struct Shell {
    pub(super) title: String,
    pub(super) links: Links,
    pub(super) known: Known,
    /// The demo shows its own mail, and says that it is invented.
    pub(super) demo: bool,
    /// What stands in the search field.
    pub(super) sought: String,
    /// The policy set's first digits.
    pub(super) set: String,
    pub(super) cautions: [&'static str; 2],
    /// Whether the page can be read as of a day.
    pub(super) replayable: bool,
}

impl Shell {
    /// A page that shows no records.
    pub(super) fn bare(web: &Web, title: &str, links: Links) -> Shell {
        Shell {
            title: title.to_owned(),
            links,
            known: Known::default(),
            demo: web.caught.is_some(),
            sought: String::new(),
            set: web.desk.set.hash[..12].to_owned(),
            cautions: [caution::PLANNING_AID, caution::LAUNCHING_AUTHORITY],
            replayable: false,
        }
    }

    /// A page over records.
    pub(super) fn of(web: &Web, asked: &Asked, title: &str, known: Known) -> Shell {
        Shell { known, replayable: true, ..Shell::bare(web, title, asked.links.clone()) }
    }
}
