//! The renewal and spares plan: what will be renewed, what to hold, what to order and by when.

use crate::desk::{Desk, DeskError};
use crate::stores::kept::{Kept, Question};
use crate::stores::spares;

/// The plan in lines: what is to be ordered in full, the rest a line each; then gear that no part is named for.
pub(super) async fn lines(desk: &Desk) -> Result<Vec<String>, DeskError> {
    let kept = Kept::known(&desk.store, None).await?;
    let asked = Question::of(&desk.set, desk.as_of());
    desk.with_fleet(|fleet| spares::letter_of(&desk.set, fleet, &kept, &asked)).await
}
