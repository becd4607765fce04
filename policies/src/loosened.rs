//! What a new set asks less of than the old one outside its rules: the service's own limits in `service.toml`.

use std::collections::BTreeSet;

use jiff::civil::Time;

use crate::service::Service;

/// Each limit that is loosened, with both values. Another regime is named too: whether it is the milder one is for
/// people to judge.
pub fn loosened(old: &Service, new: &Service) -> Vec<String> {
    let greater = [
        ("the oldest log that still counts", "h", old.oldest_log_hours, new.oldest_log_hours),
        ("the cover standard", "min", old.cover_standard_minutes, new.cover_standard_minutes),
        ("the time to answer a notice", "days", old.answer_within_days, new.answer_within_days),
    ];
    let greater = greater.into_iter().filter(|(_, _, old, new)| new > old);
    let mut found: Vec<String> =
        greater.map(|(what, unit, old, new)| format!("{what}: {old} {unit} -> {new} {unit}")).collect();
    found.extend(fewer(old, new));
    let service = (old.stores.service_percent, new.stores.service_percent);
    if service.1 < service.0 {
        found.push(format!("the service that spares are held for: {} % -> {} %", service.0, service.1));
    }
    if quiet_minutes(new.quiet_hours) > quiet_minutes(old.quiet_hours) {
        let said =
            |(from, to): (Time, Time)| format!("{} to {}", from.strftime("%H:%M"), to.strftime("%H:%M"));
        found.push(format!("the quiet hours: {} -> {}", said(old.quiet_hours), said(new.quiet_hours)));
    }
    if old.regime != new.regime {
        found.push(format!("the discard criteria: {} -> {}", old.regime, new.regime));
    }
    if old.proof_regime != new.proof_regime {
        found.push(format!("the proof-load steps: {} -> {}", old.proof_regime, new.proof_regime));
    }
    found
}

/// How long the quiet hours are, which may run over midnight.
fn quiet_minutes((from, to): (Time, Time)) -> i32 {
    let minute = |at: Time| i32::from(at.hour()) * 60 + i32::from(at.minute());
    (minute(to) - minute(from)).rem_euclid(24 * 60)
}

/// Least numbers that fall, by kind and station.
fn fewer(old: &Service, new: &Service) -> Vec<String> {
    let named = old.minimums.iter().map(|least| (least.kind.as_str(), least.station.as_deref()));
    let named: BTreeSet<(&str, Option<&str>)> = named.collect();
    let fallen = named.into_iter().filter_map(|(kind, station)| {
        let (before, after) = (least(old, kind, station), least(new, kind, station));
        let at = station.map_or_else(|| "every station".to_owned(), str::to_owned);
        (after < before).then(|| format!("the least number of {kind} at {at}: {before} -> {after}"))
    });
    fallen.collect()
}

/// The least number that holds at a station: the greatest of those that are for it.
fn least(service: &Service, kind: &str, station: Option<&str>) -> u32 {
    let own = service.minimums.iter().filter(|least| {
        least.kind == kind && least.station.as_deref().is_none_or(|slug| Some(slug) == station)
    });
    own.map(|least| least.count).max().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use jiff::civil::time;

    use crate::assess::Regime;
    use crate::service::Minimum;

    use super::*;

    fn with(change: impl Fn(&mut Service)) -> Service {
        let mut service = Service {
            minimums: vec![
                Minimum { kind: "skid".to_owned(), count: 6, station: None },
                Minimum { kind: "skid".to_owned(), count: 8, station: Some("qua".to_owned()) },
            ],
            ..Service::default()
        };
        change(&mut service);
        service
    }

    #[test]
    fn every_limit_is_seen_on_both_sides() {
        let old = with(|_| ());
        let told = |change: fn(&mut Service)| loosened(&old, &with(change));
        assert_eq!(told(|_| ()), Vec::<String>::new());
        assert_eq!(told(|s| s.oldest_log_hours = 73), ["the oldest log that still counts: 72 h -> 73 h"]);
        assert_eq!(told(|s| s.oldest_log_hours = 71), Vec::<String>::new());
        assert_eq!(told(|s| s.cover_standard_minutes = 46), ["the cover standard: 45 min -> 46 min"]);
        assert_eq!(told(|s| s.cover_standard_minutes = 44), Vec::<String>::new());
        assert_eq!(told(|s| s.answer_within_days = 4), ["the time to answer a notice: 3 days -> 4 days"]);
        assert_eq!(told(|s| s.minimums[0].count = 5), ["the least number of skid at every station: 6 -> 5"]);
        assert_eq!(told(|s| s.minimums[1].count = 7), ["the least number of skid at qua: 8 -> 7"]);
        assert_eq!(told(|s| drop(s.minimums.remove(1))), ["the least number of skid at qua: 8 -> 6"]);
        assert_eq!(told(|s| s.minimums[0].count = 7), Vec::<String>::new());
        assert_eq!(told(|s| s.regime = Regime::Us).len(), 1);
        assert_eq!(told(|s| s.proof_regime = crate::proof_load::Regime::Us).len(), 1);
    }

    #[test]
    fn lower_service_of_spares_and_longer_quiet_hours_are_seen() {
        let old = with(|_| ());
        let told = |change: fn(&mut Service)| loosened(&old, &with(change));
        assert_eq!(
            told(|s| s.stores.service_percent = 94),
            ["the service that spares are held for: 95 % -> 94 %"]
        );
        assert_eq!(told(|s| s.stores.service_percent = 96), Vec::<String>::new());
        let night = |from, to| (time(from, 0, 0, 0), time(to, 0, 0, 0));
        assert_eq!(
            loosened(&old, &Service { quiet_hours: night(20, 7), ..old.clone() }),
            ["the quiet hours: 21:00 to 07:00 -> 20:00 to 07:00"]
        );
        for kept in [night(22, 7), night(22, 8), night(12, 14), night(0, 0)] {
            assert_eq!(loosened(&old, &Service { quiet_hours: kept, ..old.clone() }), Vec::<String>::new());
        }
        let never = Service { quiet_hours: night(0, 0), ..old.clone() };
        assert_eq!(loosened(&never, &old), ["the quiet hours: 00:00 to 00:00 -> 21:00 to 07:00"]);
    }
}
