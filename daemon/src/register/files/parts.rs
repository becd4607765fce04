//! `parts.csv`.

use policies::amount::Amount;
use policies::span::Span;

use super::or_empty;
use crate::records::Part;
use crate::register::cells::Cells;
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

impl RegisterFile for Part {
    const NAME: &'static str = "parts";
    const COLUMNS: &'static [Column] = &[
        needed("part"),
        needed("description"),
        needed("kind"),
        needed("lead_time"),
        optional("shelf_life"),
        needed("unit"),
        optional("pack"),
        optional("price"),
        optional("currency"),
        optional("serves"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("part")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Part>) -> Option<Part> {
        let kind = cells.needed("kind", stored.map(|s| &s.kind));
        let lead = cells.needed("lead_time", stored.map(|s| &s.lead_time));
        let shelf = cells.may("shelf_life", stored.map(|s| &s.shelf_life));
        let unit = cells.needed("unit", stored.map(|s| &s.unit));
        let pack = cells.may("pack", stored.map(|s| &s.pack));
        let price = cells.may("price", stored.map(|s| &s.price));
        let row = Part {
            key: cells.key("part")?,
            void: false,
            description: cells.needed("description", stored.map(|s| &s.description)).unwrap_or_default(),
            kind: cells.checked("kind", kind, |name| known(places, name)).unwrap_or_default(),
            lead_time: cells.checked("lead_time", lead, span).unwrap_or_default(),
            shelf_life: cells.checked("shelf_life", shelf, span),
            unit: cells.word("unit", unit, &["each", "m"]).unwrap_or_default(),
            pack: cells.checked("pack", pack, positive),
            price: cells.checked("price", price, positive),
            currency: cells.may("currency", stored.map(|s| &s.currency)),
            serves: serves(cells, stored),
        };
        if row.price.is_some() != row.currency.is_some() && !cells.is_bad() {
            cells.fault("price", "and currency go together; give both or neither");
        }
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, _: &Places) -> Vec<String> {
        vec![
            self.key.clone(),
            self.description.clone(),
            self.kind.clone(),
            self.lead_time.clone(),
            or_empty(self.shelf_life.as_ref()),
            self.unit.clone(),
            or_empty(self.pack.as_ref()),
            or_empty(self.price.as_ref()),
            or_empty(self.currency.as_ref()),
            self.serves.map(|serves| serves.to_string()).unwrap_or_default(),
        ]
    }
}

/// Items that one piece serves: four where a set of four is one piece.
fn serves(cells: &Cells, stored: Option<&Part>) -> Option<i64> {
    let before = stored.map(|s| s.serves.map(|serves| serves.to_string()));
    let text = cells.may("serves", before.as_ref());
    let text = cells.checked("serves", text, |text| match text.parse::<i64>() {
        Ok(1..=1000) => Ok(()),
        _ => Err("is no whole number from 1 to 1000".to_owned()),
    });
    text?.parse().ok()
}

fn known(places: &Places, name: &str) -> Result<(), String> {
    places.set.kinds.find(name).map(drop).ok_or_else(|| "is no kind of the policy set".to_owned())
}

fn span(text: &str) -> Result<Span, String> {
    text.parse().map_err(|error: policies::span::SpanError| error.to_string())
}

fn positive(text: &str) -> Result<Amount, String> {
    text.parse()
        .ok()
        .filter(|amount: &Amount| amount.is_positive())
        .ok_or_else(|| "is no number above nought".to_owned())
}
