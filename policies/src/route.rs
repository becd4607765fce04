//! Where a person's notices go today: to themselves, to their second address, to whoever stands in for them, or up to
//! an engineer. Somebody always gets them.

use std::collections::BTreeSet;

use jiff::civil::Date;

/// Somebody who reads notices.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reader<'p> {
    /// Their address, which is also the key of their record.
    pub address: &'p str,
    /// Role, as `people.csv` has it.
    pub role: &'p str,
    /// The station they answer for; none: the whole region.
    pub station: Option<&'p str>,
    /// Who stands in for them.
    pub deputy: Option<&'p str>,
    /// Where they are reached when mail to their own address comes back.
    pub second_address: Option<&'p str>,
    /// First and last day they are away.
    pub away: Option<(Date, Date)>,
}

impl Reader<'_> {
    /// Whether they are away on a day.
    pub fn is_away(&self, today: Date) -> bool {
        self.away.is_some_and(|(from, until)| from <= today && today <= until)
    }
}

/// Why a notice goes where it goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Via {
    /// To the person's own address.
    Own,
    /// To their second address, since mail to the first comes back.
    SecondAddress,
    /// To who stands in for them while they are away.
    Deputy,
    /// Up to an engineer or the head, since neither they nor a deputy can be reached.
    Climbed,
    /// To their own address all the same, since nobody else can be reached: an alarm.
    NobodyElse,
}

/// Where a notice goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Route<'p> {
    /// The address.
    pub to: &'p str,
    /// Whose address it is, by the key of their record.
    pub reader: &'p str,
    /// Why it goes there.
    pub via: Via,
}

/// Where a person's notices go on a day. `is_bad` says from which addresses mail comes back.
pub fn route<'p>(
    person: &Reader<'p>,
    all: &[Reader<'p>],
    is_bad: impl Fn(&str) -> bool,
    today: Date,
) -> Route<'p> {
    if !person.is_away(today) {
        if let Some(own) = reached(person, &is_bad) {
            return own;
        }
    } else if let Some(deputy) = deputy(person, all, &is_bad, today) {
        return deputy;
    }
    let above = above(person, all).into_iter().filter(|reader| !reader.is_away(today));
    let mut above = above;
    let climbed = above.find_map(|reader| reached(&reader, &is_bad));
    climbed.map_or(Route { to: person.address, reader: person.address, via: Via::NobodyElse }, |route| {
        Route { via: Via::Climbed, ..route }
    })
}

/// Everybody who may be told in a person's place on a day, in turn: themselves at their addresses, the engineers of
/// their station, those of the region, the head, and the other engineers.
pub fn ladder<'p>(person: &Reader<'p>, all: &[Reader<'p>], today: Date) -> Vec<Route<'p>> {
    let mut rungs = Vec::new();
    for reader in std::iter::once(*person).chain(above(person, all)).filter(|reader| !reader.is_away(today)) {
        let own = reader.address == person.address;
        let via = if own { Via::Own } else { Via::Climbed };
        rungs.push(Route { to: reader.address, reader: reader.address, via });
        let second = reader.second_address.map(|to| Route {
            to,
            reader: reader.address,
            via: if own { Via::SecondAddress } else { Via::Climbed },
        });
        rungs.extend(second);
    }
    rungs
}

fn reached<'p>(reader: &Reader<'p>, is_bad: &impl Fn(&str) -> bool) -> Option<Route<'p>> {
    let own = Route { to: reader.address, reader: reader.address, via: Via::Own };
    if !is_bad(reader.address) {
        return Some(own);
    }
    let second = reader.second_address.filter(|second| !is_bad(second))?;
    Some(Route { to: second, via: Via::SecondAddress, ..own })
}

/// The first of a person's deputies, and of theirs in turn, who is there and can be reached.
fn deputy<'p>(
    person: &Reader<'p>,
    all: &[Reader<'p>],
    is_bad: &impl Fn(&str) -> bool,
    today: Date,
) -> Option<Route<'p>> {
    let mut seen = BTreeSet::from([person.address]);
    let mut next = person.deputy;
    while let Some(key) = next.filter(|key| seen.insert(key)) {
        let reader = all.iter().find(|reader| reader.address == key)?;
        if !reader.is_away(today)
            && let Some(route) = reached(reader, is_bad)
        {
            return Some(Route { via: Via::Deputy, ..route });
        }
        next = reader.deputy;
    }
    None
}

/// Engineers of the person's station, then of the region, then the head; never the person themselves.
fn above<'p>(person: &Reader<'p>, all: &[Reader<'p>]) -> Vec<Reader<'p>> {
    let rank = |reader: &Reader| match (reader.role, reader.station) {
        ("engineer", Some(station)) if Some(station) == person.station => Some(0),
        ("engineer", None) => Some(1),
        ("head", _) => Some(2),
        ("engineer", _) => Some(3),
        _ => None,
    };
    let mut found: Vec<(u8, Reader)> = all
        .iter()
        .filter(|reader| reader.address != person.address)
        .filter_map(|reader| Some((rank(reader)?, *reader)))
        .collect();
    found.sort_by_key(|(rank, reader)| (*rank, reader.address));
    found.into_iter().map(|(_, reader)| reader).collect()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    const MECHANIC: Reader = Reader {
        address: "m@a.example",
        role: "mechanic",
        station: Some("qua"),
        deputy: Some("d@a.example"),
        second_address: Some("m2@a.example"),
        away: None,
    };
    const DEPUTY: Reader = Reader { address: "d@a.example", deputy: None, second_address: None, ..MECHANIC };
    const ENGINEER: Reader = Reader {
        address: "e@a.example",
        role: "engineer",
        station: None,
        deputy: None,
        second_address: None,
        away: None,
    };
    const HEAD: Reader = Reader { address: "h@a.example", role: "head", ..ENGINEER };

    fn today() -> Date {
        date(2026, 10, 12)
    }

    fn sent(person: Reader, bad: &[&str]) -> (String, Via) {
        let all = [person, DEPUTY, ENGINEER, HEAD];
        let route = route(&person, &all, |address| bad.contains(&address), today());
        (route.to.to_owned(), route.via)
    }

    #[test]
    fn mail_that_comes_back_goes_to_the_second_address_then_to_the_engineer() {
        assert_eq!(sent(MECHANIC, &[]), ("m@a.example".into(), Via::Own));
        assert_eq!(sent(MECHANIC, &["m@a.example"]), ("m2@a.example".into(), Via::SecondAddress));
        let both = ["m@a.example", "m2@a.example"];
        assert_eq!(sent(MECHANIC, &both), ("e@a.example".into(), Via::Climbed));
        assert_eq!(
            sent(MECHANIC, &[&both[..], &["e@a.example"]].concat()),
            ("h@a.example".into(), Via::Climbed)
        );
    }

    /// Whoever comes last in the list is written to although their mail comes back: silence would be worse.
    #[test]
    fn when_nobody_can_be_reached_the_person_is_written_to_all_the_same() {
        let all = ["m@a.example", "m2@a.example", "e@a.example", "h@a.example"];
        assert_eq!(sent(MECHANIC, &all), ("m@a.example".into(), Via::NobodyElse));
    }

    #[test]
    fn a_deputy_stands_in_from_the_first_day_to_the_last() {
        let away = |from: i8, until: i8| Reader {
            away: Some((date(2026, 10, from), date(2026, 10, until))),
            ..MECHANIC
        };
        assert_eq!(sent(away(12, 12), &[]).1, Via::Deputy);
        assert_eq!(sent(away(1, 11), &[]).1, Via::Own);
        assert_eq!(sent(away(13, 20), &[]).1, Via::Own);
        assert_eq!(sent(away(1, 20), &["d@a.example"]), ("e@a.example".into(), Via::Climbed));
        assert_eq!(sent(Reader { deputy: None, ..away(1, 20) }, &[]), ("e@a.example".into(), Via::Climbed));
    }

    #[test]
    fn the_ladder_climbs_address_by_address_and_leaves_out_who_is_away() {
        let own = Reader { address: "o@a.example", station: Some("qua"), ..ENGINEER };
        let other = Reader { address: "x@a.example", station: Some("bar"), ..ENGINEER };
        let head = Reader { second_address: Some("h2@a.example"), ..HEAD };
        let away = Reader { away: Some((today(), today())), ..ENGINEER };
        let climbed = |all: &[Reader]| -> Vec<String> {
            ladder(&MECHANIC, all, today())
                .iter()
                .map(|rung| rung.to.split('@').next().unwrap().to_owned())
                .collect()
        };
        assert_eq!(climbed(&[other, head, ENGINEER, own, DEPUTY]), ["m", "m2", "o", "e", "h", "h2", "x"]);
        assert_eq!(climbed(&[away, head]), ["m", "m2", "h", "h2"]);
        assert_eq!(ladder(&MECHANIC, &[ENGINEER], today()).last().map(|rung| rung.via), Some(Via::Climbed));
    }

    /// Two who stand in for each other and are both away.
    #[test]
    fn deputies_in_a_ring_end() {
        let away = Some((date(2026, 10, 1), date(2026, 10, 30)));
        let one = Reader { away, ..MECHANIC };
        let other = Reader { deputy: Some("m@a.example"), away, ..DEPUTY };
        let all = [one, other, ENGINEER];
        assert_eq!(route(&one, &all, |_| false, today()).to, "e@a.example");
    }
}
