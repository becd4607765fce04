//! How far months stray from their mean beyond plain chance.

use super::history::History;

/// What months are believed to stray before any log is read: the variance of a month's own factor (house).
const BELIEVED: f64 = 0.3;
/// How much that belief weighs beside the logs, as twice the inverse of its own variance (house: 0.3 either
/// way). A month of five uses weighs 25 where it does not stray, so that one of them outweighs it.
const BELIEVED_WEIGHT: f64 = 2.0 / (0.3 * 0.3);
/// A host with fewer whole months says nothing of it.
const FEWEST_OF_A_HOST: usize = 2;

/// One host's months against their means: squares of what is over or short, and what plain chance and a
/// spread of 1 would make of them.
struct Strays {
    squares: f64,
    chance: f64,
    slope: f64,
    mean: f64,
}

/// The variance of a month's own factor: uses of a month of mean m have the variance m + v m².
pub(super) fn learn(own: &[&History], months: &[f64; 12]) -> f64 {
    let long = own.iter().filter(|history| history.counts.len() >= FEWEST_OF_A_HOST);
    let strays: Vec<Strays> = long.filter_map(|history| strays(history, months)).collect();
    let even = solve(&strays, |_| 1.0);
    // A busy host's squares are large and uncertain: it is weighed down once the spread is roughly known.
    solve(&strays, |host| 1.0 / (1.0 + even * host.mean).powi(2))
}

fn solve(strays: &[Strays], weight: impl Fn(&Strays) -> f64) -> f64 {
    let over: f64 = strays.iter().map(|host| weight(host) * (host.squares - host.chance)).sum();
    let slope: f64 = strays.iter().map(|host| weight(host) * host.slope).sum();
    ((over + BELIEVED_WEIGHT * BELIEVED) / (slope + BELIEVED_WEIGHT)).max(0.0)
}

/// A host's mean is fitted to the same months, so that they stray less from it than from the true one. With
/// m the means, M1 .. M3 the sums of their powers and V = m + v m², the squares are expected to be the sum of
/// V (1 - 2 m / M1) plus M2 / M1² times the sum of V.
fn strays(history: &History, months: &[f64; 12]) -> Option<Strays> {
    let rate = history.uses() / history.exposure(months).0;
    if rate <= 0.0 {
        return None;
    }
    let (mut squares, mut m1, mut m2, mut m3) = (0.0, 0.0, 0.0, 0.0);
    for (month, count) in history.cells() {
        let mean = rate * months[month];
        squares += (count - mean) * (count - mean);
        m1 += mean;
        m2 += mean * mean;
        m3 += mean * mean * mean;
    }
    let chance = m1 - m2 / m1;
    let slope = m2 - 2.0 * m3 / m1 + m2 * m2 / (m1 * m1);
    Some(Strays { squares, chance, slope, mean: m2 / m1 })
}
