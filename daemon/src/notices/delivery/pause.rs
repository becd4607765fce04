//! A relay that takes nothing is left alone for a while, and somebody is told.

use policies::zone::Instant;

use super::record::later;
use super::round::Line;
use super::{MINUTE, Outbox};
use crate::notices::smtp::Fault;
use crate::sending::RelayTrouble;
use crate::store::StoreError;

/// Minutes until the relay is tried again; the last one repeats, so that its return is noticed within a quarter hour.
const AGAIN: [i64; 4] = [1, 2, 5, 15];
/// Where it refuses our sign-in, more often would look like guessing the password.
const AFTER_REFUSED_SIGN_IN: i64 = 15;

/// What is known of the relay from one drain to the next.
#[derive(Debug, Default)]
pub(super) struct Pause {
    trouble: Option<RelayTrouble>,
    /// Whether people read of it what is so: at the start nobody knows what an earlier daemon left.
    known: bool,
}

impl Pause {
    pub(super) fn is_in_trouble(&self) -> bool {
        self.trouble.is_some()
    }

    /// Why the relay is left alone now; none: it may be tried.
    pub(super) fn stands(&self, now: Instant) -> Option<String> {
        let trouble = self.trouble.as_ref()?;
        // A clock that was put back must not keep the relay waiting for longer than the longest pause.
        let longest = 2 * AFTER_REFUSED_SIGN_IN * MINUTE;
        let stands = now < trouble.again_at && trouble.again_at.0 - now.0 <= longest;
        stands.then(|| trouble.why.clone())
    }

    /// Takes note of how a round found the relay; why it took nothing, where it did not.
    pub(super) async fn note(
        &mut self,
        outbox: &impl Outbox,
        line: Line,
        now: Instant,
    ) -> Result<Option<String>, StoreError> {
        match line {
            Line::Unknown => Ok(None),
            Line::Up => {
                if self.trouble.take().is_some() {
                    tracing::info!("the mail server takes mail again");
                    self.known = false;
                }
                if !self.known {
                    outbox.relay_trouble(None).await?;
                    self.known = true;
                }
                Ok(None)
            }
            Line::Down(fault) => {
                let trouble = self.worse(&fault, now);
                outbox.relay_trouble(Some(&trouble)).await?;
                let why = trouble.why.clone();
                self.trouble = Some(trouble);
                Ok(Some(why))
            }
        }
    }

    fn worse(&self, fault: &Fault, now: Instant) -> RelayTrouble {
        let tries = self.trouble.as_ref().map_or(0, |trouble| trouble.tries);
        let minutes = if fault.refuses_sign_in() {
            AFTER_REFUSED_SIGN_IN
        } else {
            AGAIN[usize::try_from(tries).unwrap_or(usize::MAX).min(AGAIN.len() - 1)]
        };
        let trouble = RelayTrouble {
            since: self.trouble.as_ref().map_or(now, |trouble| trouble.since),
            tried_at: now,
            again_at: later(now, minutes, 0),
            tries: tries + 1,
            why: fault.to_string(),
        };
        tracing::error!(
            error = trouble.why,
            tries = trouble.tries,
            "the mail server takes nothing: every notice waits, none is lost"
        );
        trouble
    }
}
