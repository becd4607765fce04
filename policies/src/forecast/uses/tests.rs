use super::*;
use crate::forecast::chance_within as chance_of_uses;
use crate::odds::Prior;
use crate::service::Odds;
use jiff::civil::date;

fn rate(uses: f64, months: f64, spread: f64) -> Rate {
    let squares = months * 1.1;
    Rate::new(Prior::of_service(&Odds::default()), spread, uses, Stretch { months, squares }, false)
}

/// What comes for certain with the seventh use is what the odds of seven uses say.
#[test]
fn a_certain_use_has_the_odds_of_that_use() {
    for (uses, months, spread) in [(0.0, 0.0, 0.0), (3.0, 2.0, 0.4), (358.0, 36.3, 0.0), (4000.0, 120.0, 1.5)]
    {
        let rate = rate(uses, months, spread);
        for left in [1, 7, 60, 400] {
            let mut chances = vec![0.0; left];
            chances.push(1.0);
            for (ahead, squares) in [(0.03, 0.001), (3.0, 3.2), (40.0, 44.0), (240.0, 260.0)] {
                let stretch = Stretch { months: ahead, squares };
                let wanted = chance_of_uses(&rate, u64::try_from(left).unwrap(), stretch);
                let found = chance_within(&rate, stretch, &chances);
                assert!((found - wanted).abs() < 1e-9, "{uses} {left} {ahead}: {found}, not {wanted}");
            }
        }
    }
}

#[test]
fn what_no_use_changes_stays_as_it_is() {
    let ahead = UsesAhead::new(rate(58.0, 36.3, 0.2), &Odds::default().months, date(2026, 10, 11));
    for (day, found) in [(date(2026, 10, 1), 0.3), (date(2026, 10, 11), 0.3), (date(2030, 1, 1), 0.3)] {
        assert!((ahead.chance_by(day, &[0.3]).unwrap() - found).abs() < 1e-12);
    }
    assert_eq!(ahead.chance_by(date(2046, 12, 1), &[0.3]), None, "beyond twenty years");
    assert_eq!(ahead.chance_by(date(2026, 10, 11), &[]), None);
    let tomorrow = Some(date(2026, 10, 12));
    assert_eq!(ahead.dates(&[0.3]), [tomorrow, None, None]);
    assert_eq!(ahead.dates(&[0.95]), [tomorrow; 3]);
}

/// 1.8 uses a mean month make 425 in twenty years.
#[test]
fn most_uses_are_well_above_the_mean() {
    let most = |uses, spread| UsesAhead::new(rate(uses, 36.3, spread), &[1.0; 12], date(2026, 10, 11)).most();
    let calm = most(58.0, 0.0);
    assert!((600..1_000).contains(&calm), "{calm}");
    assert!(most(58.0, 1.0) > calm);
    assert_eq!(most(1e6, 0.0), 65_536);
}
