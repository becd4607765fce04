//! `usage.csv`.

use policies::amount::Amount;
use policies::kinds::Kind;

use super::{decimal, item, moment_text, note_future, or_empty, void_text};
use crate::records::Usage;
use crate::register::cells::{Cells, Moment};
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

impl RegisterFile for Usage {
    const NAME: &'static str = "usage";
    const COLUMNS: &'static [Column] = &[
        needed("key"),
        needed("host"),
        needed("at"),
        needed("meter"),
        optional("count"),
        optional("reading"),
        optional("note"),
        optional("void"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("key")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Usage>) -> Option<Usage> {
        let host = item(cells, places, "host", stored.map(|s| &s.host))?;
        let before = stored.map(|s| Moment { at: s.at, day: s.day.clone() });
        let at = cells.needed_moment("at", places.zone_of(&host), before);
        let meter = cells.needed("meter", stored.map(|s| &s.meter));
        note_future(cells, places, "at", at.as_ref());
        let row = Usage {
            key: cells.key("key")?,
            void: cells.void(stored.map(|s| s.void)),
            at: at.as_ref().map(|at| at.at).unwrap_or_default(),
            day: at.and_then(|at| at.day),
            meter: meter.unwrap_or_default(),
            count: cells.amount("count", stored.and_then(|s| s.count)),
            reading: cells.amount("reading", stored.and_then(|s| s.reading)),
            note: cells.may("note", stored.map(|s| &s.note)),
            host,
        };
        if !cells.is_bad() {
            check_meter(cells, places, &row);
            check_quantity(cells, &row);
        }
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, places: &Places) -> Vec<String> {
        vec![
            self.key.clone(),
            self.host.clone(),
            moment_text(self.at, self.day.as_ref(), places.zone_of(&self.host)),
            self.meter.clone(),
            decimal(self.count),
            decimal(self.reading),
            or_empty(self.note.as_ref()),
            void_text(self.void),
        ]
    }
}

/// A meter must be declared by the host's own kind.
fn check_meter(cells: &Cells, places: &Places, row: &Usage) {
    let Some(kind) = places.kind_of(&row.host) else { return };
    let kinds = &places.set.kinds;
    let meter = kinds.find_meter(&row.meter).and_then(|id| kind.meter(id));
    let Some(meter) = meter else {
        cells.fault(
            "meter",
            format!("\"{}\" is no meter of a {}; {}", row.meter, kind.name, meters_of(kind, places)),
        );
        return;
    };
    let reading = row.reading.map(Amount::from_millionths);
    if let (Some(reading), Some(top)) = (reading, meter.rolls_over_at)
        && reading >= top
    {
        cells.fault("reading", format!("{reading} is not on the dial, which rolls over at {top}"));
    }
}

fn meters_of(kind: &Kind, places: &Places) -> String {
    let names: Vec<&str> = kind.meters.iter().map(|meter| places.set.kinds.meter_name(meter.id)).collect();
    if names.is_empty() {
        "it has none; log on the host that carries the meter".to_owned()
    } else {
        names.join(", ")
    }
}

fn check_quantity(cells: &Cells, row: &Usage) {
    match (row.count, row.reading) {
        (Some(_), Some(_)) => cells.fault("count", "and reading are both given; give exactly one"),
        (None, None) => cells.fault("count", "and reading are both empty; give exactly one"),
        (Some(count), None) if count <= 0 => {
            cells.fault("count", "must be above nought; to take use back, mark its row void");
        }
        (None, Some(reading)) if reading < 0 => {
            cells.fault("reading", "is below nought; read the dial again");
        }
        _ => {}
    }
}
