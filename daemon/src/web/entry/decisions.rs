//! What waits for an engineer's decision, each with what follows from it and the page that takes it.

use super::may_now;
use super::second::waiting;
use super::settle::{later_dates, open_doubts};
use crate::rights::Act;
use crate::web::fault::Fault;
use crate::web::links::{Link, encoded};
use crate::web::visit::Visit;
use crate::web::words;

/// Decisions on the first screen.
const MOST: usize = 12;

/// A decision that waits.
pub(in crate::web) struct Decision {
    pub(in crate::web) says: String,
    /// What follows.
    pub(in crate::web) then: String,
    pub(in crate::web) way: Link,
}

/// Decisions that wait, for who may take them; how many more there are.
///
/// # Errors
/// The store's own.
pub(in crate::web) async fn decisions(visit: &Visit) -> Result<(Vec<Decision>, usize), Fault> {
    if !may_now(visit, Act::GrantConcession, None) {
        return Ok((Vec::new(), 0));
    }
    let mut found = Vec::new();
    for (number, waits) in waiting(&visit.web.desk).await? {
        let way =
            Link { text: "Agree or not".to_owned(), href: format!("/second/{}", encoded(&number, false)) };
        found.push(Decision {
            says: waits.says(),
            then: "Nothing changes until a second person agrees.".to_owned(),
            way,
        });
    }
    for row in later_dates(visit).await? {
        let href = format!("/acknowledge/{}/{}", encoded(&row.item, true), encoded(&row.rule, false));
        found.push(Decision {
            says: format!("{}, {}: a correction makes its date later: {}", row.item, row.rule, row.cause),
            then: "Until it is acknowledged, the earlier date stands.".to_owned(),
            way: Link { text: "Look at both dates".to_owned(), href },
        });
    }
    for doubt in open_doubts(visit).await? {
        let then =
            if doubt.told.moves.is_empty() { String::new() } else { format!("If so: {}.", doubt.told.moves) };
        let href = format!("/doubt/{}", encoded(&doubt.key, true));
        let way = Link { text: "Say what happened".to_owned(), href };
        found.push(Decision { says: words::upper_first(&doubt.told.says), then, way });
    }
    let more = found.len().saturating_sub(MOST);
    found.truncate(MOST);
    Ok((found, more))
}
