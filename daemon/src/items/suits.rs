//! Whether a fitting suits its place, by the register; an engineer's substitution overrules.

use std::collections::HashMap;

use policies::suits::{Unsuited, unsuited};
use policies::zone::Instant;

use crate::records::{Fitting, Substitution, attributes};
use crate::register::Places;
use crate::store::current::Register;

/// The register by what lay where.
pub(crate) struct Suits<'r> {
    register: &'r Register,
    places: &'r Places<'r>,
    /// Stays that ended, by host and position.
    ended: HashMap<(&'r str, &'r str), Vec<&'r Fitting>>,
}

impl<'r> Suits<'r> {
    pub(crate) fn of(register: &'r Register, places: &'r Places) -> Suits<'r> {
        let mut ended: HashMap<(&str, &str), Vec<&Fitting>> = HashMap::new();
        for row in register.fittings.values().filter(|row| !row.void && row.removed_at.is_some()) {
            ended.entry((&row.host, &row.position)).or_default().push(row);
        }
        Suits { register, places, ended }
    }

    /// Everything against a fitting that no substitution covers. `leaving` makes room for it, else what left last did.
    pub(crate) fn against(&self, row: &Fitting, leaving: Option<&Fitting>) -> Vec<Unsuited> {
        let text = |tag: &str| self.register.items.get(tag).and_then(|item| item.attributes.as_deref());
        let of = |tag: &str| attributes(text(tag)).collect::<Vec<_>>();
        let replaced = leaving.or_else(|| self.replaced(row));
        let old = replaced.map(|old| of(&old.item)).unwrap_or_default();
        let found = unsuited(&of(&row.host), &of(&row.item), replaced.map(|gone| (&*gone.item, &*old)));
        if found.is_empty() || self.is_allowed(row) { Vec::new() } else { found }
    }

    /// Whether an engineer's word lets an item stand there all the same.
    pub(crate) fn is_allowed(&self, row: &Fitting) -> bool {
        self.register.substitutions.values().any(|word| self.covers(word, row))
    }

    fn covers(&self, word: &Substitution, row: &Fitting) -> bool {
        let same = (&word.item, &word.host, &word.position) == (&row.item, &row.host, &row.position);
        let day = self.places.zone_of(&row.item).date_of(Instant(row.at)).to_string();
        same && !word.void && word.until_date.as_ref().is_none_or(|until| day <= *until)
    }

    /// The stay that ended last in a position before another began. Where many like items lie together, such as
    /// spare shackles, none of them replaces another.
    fn replaced(&self, row: &Fitting) -> Option<&'r Fitting> {
        let position = self.places.kind_of(&row.host)?.position(&row.position)?;
        if position.count > 1 && !position.required {
            return None;
        }
        let here = self.ended.get(&(&*row.host, &*row.position))?.iter().copied();
        let before = here.filter(|old| old.item != row.item && old.removed_at.is_some_and(|at| at <= row.at));
        before.max_by_key(|old| (old.removed_at, old.at, &old.key))
    }
}
