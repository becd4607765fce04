//! What surrounds every page: title, the ways to other pages, what is known, and the cautions at the foot.

use super::Web;
use super::alarms;
use super::asked::Asked;
use super::caution;
use super::links::{Link, Links};
use super::replay::Known;

/// Fields of the page around a page.
#[expect(clippy::struct_excessive_bools, reason = "each is a part of the page that is there or not")]
pub(super) struct Shell {
    pub(super) title: String,
    pub(super) links: Links,
    pub(super) known: Known,
    /// What is wrong with the service itself.
    pub(super) alarms: Vec<String>,
    /// The demo shows its own mail, and says that it is invented.
    pub(super) demo: bool,
    /// What the form that led here did.
    pub(super) done: Option<String>,
    /// What stands in the search field.
    pub(super) sought: String,
    /// The policy set's first digits.
    pub(super) set: String,
    pub(super) cautions: [&'static str; 2],
    /// Whether the page can be read as of a day.
    pub(super) replayable: bool,
    /// Whether the page keeps entries while there is no signal.
    pub(super) scripted: bool,
    /// Whether the stores' pages are open to who is there.
    pub(super) stores: bool,
    /// The way in, or to one's own account.
    pub(super) account: Link,
}

impl Shell {
    /// A page that shows no records.
    pub(super) fn bare(web: &Web, title: &str, links: Links) -> Shell {
        Shell {
            title: title.to_owned(),
            links,
            known: Known::default(),
            alarms: if web.door.open { alarms::standing() } else { Vec::new() },
            demo: web.caught.is_some(),
            done: None,
            sought: String::new(),
            set: web.desk.set.hash[..12].to_owned(),
            cautions: [caution::PLANNING_AID, caution::LAUNCHING_AUTHORITY],
            replayable: false,
            scripted: false,
            stores: false,
            account: Link { text: "Account".to_owned(), href: "/account".to_owned() },
        }
    }

    /// A page over records.
    pub(super) fn of(web: &Web, asked: &Asked, title: &str, known: Known) -> Shell {
        let bare = Shell::bare(web, title, asked.links.clone()).signed(asked.signed.as_deref());
        // Whoever reads records is told; a stranger at the door is not.
        let done = asked.done.clone();
        Shell { known, replayable: true, stores: asked.stores, alarms: alarms::standing(), done, ..bare }
    }

    /// The same for a page that keeps entries while there is no signal, and judges readings as they are typed.
    pub(super) fn scripted(self) -> Shell {
        Shell { scripted: true, ..self }
    }

    /// The same for somebody, or for nobody known.
    pub(super) fn signed(self, name: Option<&str>) -> Shell {
        let account = match name {
            Some(name) => Link { text: name.to_owned(), href: "/account".to_owned() },
            None => Link { text: "Sign in".to_owned(), href: "/sign-in".to_owned() },
        };
        Shell { account, ..self }
    }
}
