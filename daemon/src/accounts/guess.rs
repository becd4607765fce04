//! How often a guess is looked at: after each, the next waits twice as long, up to a minute, for an account and for
//! the address that it comes from. Nobody is locked out for good: a browser in which somebody came in before, and a
//! session, are lanes of their own, so that strangers make neither wait; elsewhere a right code is one.

use policies::zone::Instant;

use super::{Accounts, DAY, HOUR, MINUTE, SECOND, words};
use crate::store::StoreError;
use crate::store::accounts::Guesses;

/// The first wait, and the longest: 6 guesses in the first minute, then 60 an hour.
const FIRST: i64 = SECOND;
const LONGEST: i64 = MINUTE;
/// Codes an hour that are held against an account's second factor from browsers it is not known in, all together. Of a
/// million codes three are right at a time: whoever has the password has 1 chance in 1,000 within an hour.
const CODES: i64 = 240;

/// Under which names a guess is counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Lane {
    /// Anybody, from an address, at an account.
    Common {
        /// The account that is meant.
        account: String,
        /// The address that it comes from; none where it is not known.
        from: Option<String>,
    },
    /// Somebody with the second factor of the account in hand.
    Factor(String),
    /// A code that is held against an account's second factor, from an address or a browser of its own.
    Codes(String),
    /// The codes of an account from wherever it is not known, together.
    AllCodes(String),
    /// Somebody in a browser that the account is known in, or in a session.
    Own(String),
}

impl Lane {
    pub(super) fn common(email: &str, from: &str) -> Lane {
        // A digest, since what is typed there may be anything.
        let account = format!("account {}", &words::digest(&email.to_lowercase())[..32]);
        Lane::Common { account, from: (!from.is_empty()).then(|| format!("from {from}")) }
    }

    pub(super) fn factor(email: &str) -> Lane {
        Lane::Factor(format!("factor {email}"))
    }

    /// Whoever knows a password has only the code to guess: before one is looked at it is counted, at the address it
    /// comes from and for the account.
    pub(super) fn codes(email: &str, from: &str) -> [Lane; 2] {
        let email = email.to_lowercase();
        [Lane::Codes(format!("codes {email} from {from}")), Lane::AllCodes(format!("codes {email}"))]
    }

    pub(super) fn own(own: &str) -> Lane {
        Lane::Own(format!("own {own}"))
    }

    pub(super) fn own_codes(own: &str) -> Lane {
        Lane::Codes(format!("codes own {own}"))
    }

    fn names(&self) -> Vec<&str> {
        match self {
            Lane::Common { account, from } => from.iter().chain([account]).map(String::as_str).collect(),
            Lane::Factor(name) | Lane::Codes(name) | Lane::AllCodes(name) | Lane::Own(name) => vec![name],
        }
    }

    fn after(&self, seen: Guesses, now: Instant) -> Result<Guesses, i64> {
        match self {
            Lane::AllCodes(_) => within_the_hour(seen, now),
            _ => after(seen, now),
        }
    }
}

/// Guesses as they stand after one more at that moment; the wait in microseconds where it is too early for one.
fn after(seen: Guesses, now: Instant) -> Result<Guesses, i64> {
    if now.0 < seen.next_at {
        return Err(seen.next_at - now.0);
    }
    // An hour in which nobody guessed is a new beginning.
    let failures = if now.0 - seen.next_at > HOUR { 0 } else { seen.failures };
    let wait = FIRST.saturating_mul(1_i64 << failures.clamp(0, 20)).min(LONGEST);
    Ok(Guesses { failures: failures + 1, next_at: now.0 + wait })
}

/// The same where so many an hour are looked at; `next_at` is when the hour began.
fn within_the_hour(seen: Guesses, now: Instant) -> Result<Guesses, i64> {
    if now.0 - seen.next_at >= HOUR {
        return Ok(Guesses { failures: 1, next_at: now.0 });
    }
    if seen.failures >= CODES {
        return Err(seen.next_at + HOUR - now.0);
    }
    Ok(Guesses { failures: seen.failures + 1, ..seen })
}

impl Accounts {
    /// Counts a guess before it is looked at; the seconds to wait where none is looked at now.
    pub(super) async fn count(&self, lane: &Lane) -> Result<Option<i64>, StoreError> {
        let now = self.now();
        for name in lane.names() {
            let seen = self.store.guesses(name).await?;
            let wait = match lane.after(seen, now) {
                Err(wait) => Some(wait),
                Ok(then) => {
                    let counted = self.store.count_guess(name, seen, then, Instant(now.0 - DAY)).await?;
                    (!counted).then_some(SECOND)
                }
            };
            if let Some(wait) = wait {
                return Ok(Some((wait + SECOND - 1) / SECOND));
            }
        }
        Ok(None)
    }

    /// Forgets the guesses of a lane that ended in a right one.
    pub(super) async fn forgive(&self, lane: &Lane) -> Result<(), StoreError> {
        for name in lane.names() {
            self.store.forget_guesses(name).await?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_to_a_minute_and_no_further() {
        let mut guesses = Guesses::default();
        let mut now = Instant(1_700_000_000 * SECOND);
        let mut waits = Vec::new();
        for _ in 0..10 {
            guesses = after(guesses, now).unwrap();
            waits.push((guesses.next_at - now.0) / SECOND);
            assert_eq!(after(guesses, Instant(guesses.next_at - 1)), Err(1));
            now = Instant(guesses.next_at);
        }
        assert_eq!(waits, [1, 2, 4, 8, 16, 32, 60, 60, 60, 60]);
        let later = after(guesses, Instant(now.0 + HOUR + 1)).unwrap();
        assert_eq!(later.failures, 1);
    }

    #[test]
    fn so_many_codes_an_hour_are_looked_at_and_no_more() {
        let begun = Instant(1_700_000_000 * SECOND);
        let mut guesses = Guesses::default();
        for guess in 0..CODES {
            guesses = within_the_hour(guesses, Instant(begun.0 + guess)).unwrap();
        }
        assert_eq!(within_the_hour(guesses, Instant(begun.0 + HOUR - 1)), Err(1));
        assert_eq!(within_the_hour(guesses, Instant(begun.0 + HOUR)).unwrap().failures, 1);
    }

    #[test]
    fn a_name_is_counted_however_its_letters_are_typed() {
        assert_eq!(Lane::common("A@b.example", "::1"), Lane::common("a@B.example", "::1"));
        assert_ne!(Lane::common("a@b.example", "::1"), Lane::common("c@b.example", "::1"));
    }
}
