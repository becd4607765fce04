use super::*;

const WIRES: [f64; 12] = [1.0, 0.76, 0.42, 0.15, 0.10, 0.02, 0.02, 0.01, 0.01, 0.01, 0.01, 0.01];

fn percents(counts: &Counts, of: impl IntoIterator<Item = u64>) -> Vec<String> {
    of.into_iter().map(|n| format!("{:.1}", 100.0 * counts.at_most(n))).collect()
}

/// domain brief 4.14 A: mean 2.77; 7.6, 41.8, 79.0, 95.4, 99.3 %; for 95 % four.
#[test]
fn winch_wires_of_the_brief() {
    let demand = Counts::apart(WIRES).and(&Counts::poisson(0.25));
    assert!((demand.mean() - 2.77).abs() < 1e-9);
    assert_eq!(percents(&demand, 1..=5), ["7.6", "41.8", "79.0", "95.4", "99.3"]);
    assert_eq!(demand.least_for(0.95), 4);
}

/// domain brief 4.14 B: mean 2.35; four give 95.6 %, five 99.0 %.
#[test]
fn stopper_sets_of_the_brief() {
    let chances = [0.9, 0.3, 0.2, 0.1, 0.1].into_iter().chain([0.05; 7]);
    let demand = Counts::apart(chances).and(&Counts::poisson(0.4));
    assert!((demand.mean() - 2.35).abs() < 1e-9);
    assert_eq!(percents(&demand, 4..=5), ["95.6", "99.0"]);
}

/// domain brief 4.16 A: one each of 12 × 0.25 is 97.4 % a station; the pool of 3.0 needs 6 (96.6 %), 7 give 98.8 %.
#[test]
fn pool_of_the_brief() {
    let own = Counts::poisson(0.25);
    assert_eq!(percents(&own, 1..=1), ["97.4"]);
    assert_eq!(own.least_for(0.95), 1);
    let pool = Counts::poisson(3.0);
    assert_eq!(pool.least_for(0.95), 6);
    assert_eq!(percents(&pool, 6..=7), ["96.6", "98.8"]);
    assert_eq!(pool.least_for(0.98), 7);
}

/// domain brief 4.16 B: one each of 12 × 0.10 is 99.5 %; the pool of 1.2 needs 3 (96.6 %), 4 give 99.2 %; Quenna Roads
/// keeps its one.
#[test]
fn isolated_station_of_the_brief() {
    let own = Counts::poisson(0.10);
    assert_eq!(percents(&own, 1..=1), ["99.5"]);
    assert_eq!(own.least_for(0.95), 1);
    let pool = Counts::poisson(1.2);
    assert_eq!(pool.least_for(0.95), 3);
    assert_eq!(percents(&pool, 3..=4), ["96.6", "99.2"]);
}

/// Every row of the shared table of Poisson spares (a copy in tests/golden; scipy.stats.poisson, generator beside it).
#[test]
fn every_row_of_the_poisson_table() {
    let table = include_str!("../../../../tests/golden/stores/poisson_spares.csv");
    let mut rows = 0;
    for line in table.lines().skip(1) {
        let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        let demand = Counts::poisson(cells[0]);
        for (level, pair) in [0.80, 0.90, 0.95, 0.98, 0.99].into_iter().zip(cells[1..].chunks(2)) {
            let wanted = demand.least_for(level);
            assert_eq!(wanted.to_string(), pair[0].to_string(), "{line} {level}");
            assert!((demand.at_most(wanted) - pair[1]).abs() < 1e-6, "{line} {level}");
        }
        rows += 1;
    }
    assert_eq!(rows, 28);
}

/// The trap: one discard in one lead time, learnt from one discard in as long a log. Taken as known, the mean of 1
/// asks for 3 at 95 %; the rate is no surer than the one discard, and then 3 are enough in 93.75 % only: hold 4.
#[test]
fn the_negative_binomial_trap_is_four_against_three() {
    let (known, learnt) = (Counts::poisson(1.0), Counts::negative_binomial(1.0, 1.0));
    assert_eq!((known.least_for(0.95), learnt.least_for(0.95)), (3, 4));
    assert!((learnt.at_most(3) - 0.9375).abs() < 1e-12);
}

/// A pool of twelve stations whose one rate is learnt together is no sum of twelve that are learnt apart.
#[test]
fn a_shared_rate_is_one_count_over_the_pool() {
    let own = Counts::negative_binomial(0.25, 1.0);
    let apart = (0..12).fold(Counts::none(), |sum, _| sum.and(&own));
    let shared = Counts::negative_binomial(3.0, 1.0);
    assert!((apart.mean() - shared.mean()).abs() < 1e-9);
    assert!((apart.variance() - 3.75).abs() < 1e-6 && (shared.variance() - 12.0).abs() < 1e-6);
    assert_eq!((apart.least_for(0.95), shared.least_for(0.95)), (7, 10));
}

/// The Poisson-binomial against the sum over all 2^n outcomes.
#[test]
fn exact_as_the_sum_over_every_outcome() {
    let chances = [0.9, 0.76, 0.42, 0.31, 0.15, 0.1, 0.07, 0.02, 0.5, 0.66, 0.999];
    let mut sums = vec![0.0; chances.len() + 1];
    for outcome in 0u32..1 << chances.len() {
        let share = |(at, chance): (usize, &f64)| if outcome >> at & 1 == 1 { *chance } else { 1.0 - chance };
        sums[outcome.count_ones() as usize] += chances.iter().enumerate().map(share).product::<f64>();
    }
    let counts = Counts::apart(chances);
    for (at, sum) in sums.iter().enumerate() {
        let before = at.checked_sub(1).map_or(0.0, |at| counts.at_most(at as u64));
        assert!((counts.at_most(at as u64) - before - sum).abs() < 1e-12, "{at}");
    }
}

/// Poisson-binomial plus negative binomial against numpy's convolution of scipy's terms (generator beside the file).
#[test]
fn agrees_with_scipy() {
    let table = include_str!("../../../../tests/golden/stores/demand_scipy.csv");
    let mut rows = 0;
    for line in table.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |at: usize| cells[at].parse::<f64>().unwrap();
        let chances = cells[0].split(' ').filter(|chance| !chance.is_empty());
        let random = if cells[2] == "inf" {
            Counts::poisson(number(1))
        } else {
            Counts::negative_binomial(number(1), number(2))
        };
        let demand = Counts::apart(chances.map(|chance| chance.parse().unwrap())).and(&random);
        assert!((demand.mean() - number(3)).abs() < 1e-6, "{line}");
        for (level, at) in [(0.80, 4), (0.90, 6), (0.95, 8), (0.99, 10)] {
            assert_eq!(demand.least_for(level).to_string(), cells[at], "{line} {level}");
            assert!(
                (demand.at_most(demand.least_for(level)) - number(at + 1)).abs() < 1e-8,
                "{line} {level}"
            );
        }
        rows += 1;
    }
    assert_eq!(rows, 300);
}

/// Four chains on one carriage go with one log: all or hardly any, and a set of four is one piece.
#[test]
fn what_hangs_on_one_host_goes_together() {
    let chains = Counts::together(vec![0.2; 4]);
    assert!((chains.at_most(3) - 0.8).abs() < 1e-12 && (chains.mean() - 0.8).abs() < 1e-12);
    let sets = chains.in_pieces(4);
    assert!((sets.at_most(0) - 0.8).abs() < 1e-12 && (sets.mean() - 0.2).abs() < 1e-12);
    let unlike = Counts::together(vec![0.1, 0.5, 0.3]);
    assert!((unlike.at_most(0) - 0.5).abs() < 1e-12 && (unlike.at_most(1) - 0.7).abs() < 1e-12);
}
