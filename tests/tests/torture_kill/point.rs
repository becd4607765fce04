//! Where the daemon is killed.

use std::time::Duration;

use tests::scripted_mail::At;

use crate::dice::Dice;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Point {
    /// So long after its start, wherever it is then.
    AnyTime(Duration),
    /// When the mail server has heard this for the nth time since the start, and before it answers.
    Heard(At, u64),
    /// So long after the nth 250 to a whole mail left the mail server.
    Answered(Duration, u64),
}

/// Every sort of point, in the order of the figures.
pub const SORTS: [&str; 7] =
    ["any time", "after RCPT", "after DATA", "in the body", "after the dot", "after the 250", "after QUIT"];

impl Point {
    pub fn roll(dice: &mut Dice) -> Point {
        let nth = dice.below(3);
        match dice.below(8) {
            0 | 1 => Point::AnyTime(Duration::from_millis(dice.below(600))),
            2 => Point::Heard(At::Rcpt, nth),
            3 => Point::Heard(At::Data, nth),
            4 => Point::Heard(At::Body, nth),
            5 => Point::Heard(At::Dot, nth),
            6 => Point::Answered(Duration::from_micros(dice.below(4_000)), nth),
            _ => Point::Heard(At::Quit, 0),
        }
    }

    /// Which of the sorts.
    pub fn sort(self) -> &'static str {
        match self {
            Point::AnyTime(_) => SORTS[0],
            Point::Heard(At::Rcpt, _) => SORTS[1],
            Point::Heard(At::Data, _) => SORTS[2],
            Point::Heard(At::Body, _) => SORTS[3],
            Point::Heard(At::Dot, _) => SORTS[4],
            Point::Answered(..) => SORTS[5],
            Point::Heard(..) => SORTS[6],
        }
    }
}
