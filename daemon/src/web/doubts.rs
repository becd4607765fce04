//! Doubts in a station's log, each with what settles it.

use super::Web;
use super::asked::Asked;
use super::fault::Fault;
use crate::doubts::{About, Open, Told, moments, open};

/// A doubt as a page shows it.
pub(super) struct Doubt {
    pub(super) says: String,
    pub(super) moves: String,
    /// What settles it, and by whom.
    pub(super) settle: String,
    /// Where it is settled by a press.
    pub(super) way: String,
}

impl Doubt {
    fn of(open: Open) -> Doubt {
        let way = format!("/doubt/{}", super::links::encoded(&open.key, true));
        let settle = match open.told.about {
            About::Entries { .. } => "say whether it was logged twice, or they really were two".to_owned(),
            About::Reading(_) => {
                "write up the launches that are missing, or say that the engine did other work".to_owned()
            }
            About::Scrapped => {
                format!(
                    "take {} off where it is fitted, or have an engineer put right what did not happen",
                    open.told.item
                )
            }
        };
        Doubt { says: open.told.says, moves: open.told.moves, settle, way }
    }
}

/// Open doubts with their keys, as they were known on the day asked for.
///
/// # Errors
/// The store's own.
pub(super) async fn keyed(web: &Web, asked: &Asked, told: Vec<Told>) -> Result<Vec<Doubt>, Fault> {
    if told.is_empty() {
        return Ok(Vec::new());
    }
    let known = asked.known_on.map(|day| web.desk.known_by(day));
    let entries = web.desk.store.entries_at(&moments(&told), known).await?;
    let answers = web.desk.store.doubt_answers(known).await?;
    let open = open(told, &entries, answers.iter().map(|given| &given.answer));
    Ok(open.into_iter().map(Doubt::of).collect())
}
