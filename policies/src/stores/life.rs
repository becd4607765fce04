//! What a renewal rule says of gear on the shelf: a life from manufacture runs there too.

use jiff::civil::Date;

use crate::facts::Item;
use crate::load::PolicySet;
use crate::rule::{From, Timing, Work};

/// The last day of an item's life from its manufacture, by the renewal rule that ends it first; used or not. None where
/// no rule counts from manufacture, or nobody knows when it was made.
pub fn life_ends(set: &PolicySet, item: &Item, station: Option<&str>) -> Option<Date> {
    let made = item.manufactured_on?;
    let own = set.rules.iter().filter(|rule| rule.work == Work::Renewal && rule.is_for(item, station));
    let clauses = own.flat_map(|rule| &rule.calendar).filter(|clause| clause.when.is_none());
    let ends = clauses.filter_map(|clause| match clause.timing {
        Timing::Every(interval) if interval.from == From::Manufacture => Some(interval.every.after(made, 1)),
        _ => None,
    });
    ends.min()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::facts::{FleetBuilder, ItemRecord};
    use crate::load::load;
    use crate::shipped;

    /// A wire made on 1 March 2018 is at its end on 1 March 2025, however it lay: 84 months from manufacture (house).
    #[test]
    fn a_life_from_manufacture_runs_on_the_shelf() {
        let set = load(&shipped::files()).unwrap();
        let ends = |made: Option<Date>| {
            let mut builder = FleetBuilder::new(&set);
            builder.item(&ItemRecord {
                tag: "W-1",
                kind: "winch wire",
                manufactured_on: made,
                ..ItemRecord::default()
            });
            let fleet = builder.finish().0;
            life_ends(&set, &fleet.items[0], None)
        };
        assert_eq!(ends(Some(date(2018, 3, 1))), Some(date(2025, 3, 1)));
        assert_eq!(ends(None), None);
    }
}
