//! Notices reckoned again: that everybody who was ever told is told still, and that frozen mails are what they were.

use jiff::civil::DateTime;

use crate::desk::{Desk, DeskError};
use crate::sweep;

/// Hours that a sweep may lag behind before its silence is a difference.
const LAG_HOURS: i64 = 2;

/// Digests that are owed and missing, and mails whose bytes no longer carry their own number and address.
///
/// # Errors
/// The store's failure.
pub(super) async fn differences(desk: &Desk) -> Result<Vec<String>, DeskError> {
    let mut found: Vec<String> = sweep::owed(desk, LAG_HOURS)
        .await?
        .into_iter()
        .map(|(person, last, owed)| {
            format!(
                "notices: {person}: told up to {}, reckoned {}: its digest is owed and missing",
                moment(last),
                moment(owed)
            )
        })
        .collect();
    for (number, recipient, bytes) in desk.store.frozen_notices().await? {
        let text = String::from_utf8_lossy(&bytes);
        for (what, wanted) in [("number", &number), ("address", &recipient)] {
            if !text.contains(wanted.as_str()) {
                found.push(format!("notices: {number}: its frozen mail does not carry its {what} {wanted}"));
            }
        }
    }
    Ok(found)
}

fn moment(at: DateTime) -> String {
    at.strftime("%-d %b %Y %H:%M").to_string()
}
