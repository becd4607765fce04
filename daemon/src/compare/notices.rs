//! The first notice of each row that moves: to another day, or to another reader.

use jiff::civil::Date;
use policies::ladder::{Step, steps};

use super::Move;
use super::rows::{Pair, Row, Rows, blank};

/// What moves from notice to notice.
pub(super) fn moves(before: &Rows, after: &Rows, apart: &[Pair], as_of: Date) -> Vec<Move> {
    let moved = |pair: &Pair| match pair {
        Pair::Both(both) => {
            let [row, now] = &**both;
            first_apart(now, &ladder(before, row, as_of), &ladder(after, now, as_of), as_of)
        }
        Pair::Gone(row) => first_apart(row, &ladder(before, row, as_of), &[], as_of),
        Pair::Fresh(row) => first_apart(row, &[], &ladder(after, row, as_of), as_of),
    };
    apart.iter().filter_map(moved).collect()
}

fn ladder<'s>(rows: &Rows<'s>, row: &Row, as_of: Date) -> Vec<Step<'s>> {
    steps(rows.rule(&row.judged), &row.judged, !row.line.station.is_empty(), as_of)
}

/// The first day on which other people are told, as it was and as it would be.
fn first_apart(row: &Row, old: &[Step], new: &[Step], as_of: Date) -> Option<Move> {
    let same = old.iter().zip(new).take_while(|(old, new)| old == new).count();
    let days = [old.get(same), new.get(same)].map(|step| step.map(|step| step.on));
    let effect_on = days.into_iter().flatten().min()?;
    Some(Move {
        effect_on: effect_on.to_string(),
        old: told(old, days[0], as_of),
        new: told(new, days[1], as_of),
        ..blank("notice", &row.line, as_of)
    })
}

/// Everybody who is told on a day.
fn told(steps: &[Step], on: Option<Date>, as_of: Date) -> String {
    let Some(on) = on else { return "none".to_owned() };
    let roles: Vec<&str> = steps.iter().filter(|step| step.on == on).map(|step| step.to).collect();
    let day = if on == as_of { "now".to_owned() } else { on.to_string() };
    format!("{day} to {}", roles.join(", "))
}
