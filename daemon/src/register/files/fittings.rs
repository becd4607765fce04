//! `fittings.csv`.

use super::{item, moment_text, note_future, void_text};
use crate::records::Fitting;
use crate::register::cells::{Cells, Moment};
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

impl RegisterFile for Fitting {
    const NAME: &'static str = "fittings";
    const COLUMNS: &'static [Column] = &[
        needed("item"),
        needed("fitted_at"),
        needed("host"),
        needed("position"),
        optional("removed_at"),
        optional("void"),
    ];

    /// Item and moment: the same fitting, however its time is written.
    fn key_of(cells: &Cells, places: &Places) -> Option<String> {
        let tag = item(cells, places, "item", None)?;
        let fitted = cells.needed_moment("fitted_at", places.zone_of(&tag), None)?;
        Some(places.fitting_key(&tag, fitted.at))
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Fitting>) -> Option<Fitting> {
        let tag = cells.text("item")?.to_owned();
        let zone = places.zone_of(&tag);
        let fitted = cells.moment("fitted_at", zone)?;
        let host = item(cells, places, "host", stored.map(|s| &s.host));
        let position = cells.needed("position", stored.map(|s| &s.position));
        let removed = removed(cells, places, &tag, stored);
        note_future(cells, places, "fitted_at", Some(&fitted));
        let same_day = stored.filter(|s| s.day.is_some() && s.day == fitted.day);
        let row = Fitting {
            key: places.fitting_key(&tag, fitted.at),
            void: cells.void(stored.map(|s| s.void)),
            item: tag,
            at: same_day.map_or(fitted.at, |s| s.at),
            day: fitted.day,
            host: host.unwrap_or_default(),
            position: position.unwrap_or_default(),
            removed_at: removed.as_ref().map(|moment| moment.at),
            removed_day: removed.and_then(|moment| moment.day),
        };
        if !cells.is_bad() {
            check_position(cells, places, [&row.item, &row.host, &row.position]);
        }
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, places: &Places) -> Vec<String> {
        let zone = places.zone_of(&self.item);
        let removed = self.removed_at.map(|at| moment_text(at, self.removed_day.as_ref(), zone));
        vec![
            self.item.clone(),
            moment_text(self.at, self.day.as_ref(), zone),
            self.host.clone(),
            self.position.clone(),
            removed.unwrap_or_default(),
            void_text(self.void),
        ]
    }
}

fn removed(cells: &Cells, places: &Places, tag: &str, stored: Option<&Fitting>) -> Option<Moment> {
    match cells.raw("removed_at") {
        None => stored.and_then(|s| Some(Moment { at: s.removed_at?, day: s.removed_day.clone() })),
        Some("") => None,
        Some(_) => cells.moment("removed_at", places.zone_of(tag)),
    }
}

/// The position must be one of the host's kind, and take the item's.
pub(super) fn check_position(cells: &Cells, places: &Places, [item, host, position]: [&str; 3]) {
    let (Some(host), Some(kind)) = (places.kind_of(host), places.kind_of(item)) else { return };
    let Some(found) = host.position(position) else {
        let known: Vec<&str> = host.positions.iter().map(|position| position.name.as_str()).collect();
        let list = if known.is_empty() { "it has none".to_owned() } else { known.join(", ") };
        cells.fault("position", format!("\"{position}\" is no position of a {}; {list}", host.name));
        return;
    };
    let takes: Vec<&str> = found.takes.iter().map(|id| places.set.kinds.kind(*id).name.as_str()).collect();
    if !takes.contains(&kind.name.as_str()) {
        let message = format!("{position} takes a {}, but {item} is a {}", takes.join(" or "), kind.name);
        cells.fault("position", message);
    }
}
