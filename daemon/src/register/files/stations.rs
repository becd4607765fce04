//! `stations.csv`.

use policies::amount::Amount;
use policies::zone::Zone;

use super::or_empty;
use crate::records::Station;
use crate::register::cells::Cells;
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

impl RegisterFile for Station {
    const NAME: &'static str = "stations";
    const COLUMNS: &'static [Column] = &[
        needed("station"),
        needed("name"),
        needed("time_zone"),
        optional("latitude"),
        optional("longitude"),
        optional("flanks"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        let key = cells.key("station")?;
        let slug = key.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
        if !slug || ["stores", "loft"].contains(&key.as_str()) {
            cells.fault(
                "station",
                format!("\"{key}\" is no slug; use a-z, 0-9 and -, and not stores or loft"),
            );
            return None;
        }
        Some(key)
    }

    fn read(cells: &Cells, _: &Places, stored: Option<&Station>) -> Option<Station> {
        let zone = cells.needed("time_zone", stored.map(|s| &s.time_zone));
        let row = Station {
            key: cells.key("station")?,
            void: false,
            name: cells.needed("name", stored.map(|s| &s.name)).unwrap_or_default(),
            time_zone: cells
                .checked("time_zone", zone, |text| Zone::parse(text).map_err(|_| zone_help()))
                .unwrap_or_default(),
            latitude: degrees(cells, "latitude", 90, stored.map(|s| &s.latitude)),
            longitude: degrees(cells, "longitude", 180, stored.map(|s| &s.longitude)),
            flanks: cells.may("flanks", stored.map(|s| &s.flanks)),
        };
        if row.latitude.is_some() != row.longitude.is_some() && !cells.is_bad() {
            cells.fault("latitude", "and longitude go together; give both or neither");
        }
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, _: &Places) -> Vec<String> {
        vec![
            self.key.clone(),
            self.name.clone(),
            self.time_zone.clone(),
            or_empty(self.latitude.as_ref()),
            or_empty(self.longitude.as_ref()),
            or_empty(self.flanks.as_ref()),
        ]
    }
}

fn zone_help() -> String {
    "is no time zone; give an IANA name like Europe/London, or a POSIX rule like <-03>3".to_owned()
}

fn degrees(cells: &Cells, column: &str, most: i64, stored: Option<&Option<String>>) -> Option<String> {
    let text = cells.may(column, stored);
    cells.checked(column, text, |text| match text.parse::<Amount>() {
        Ok(degrees) if degrees <= Amount::whole(most) && degrees >= Amount::whole(-most) => Ok(()),
        _ => Err(format!("is no {column}; give decimal degrees from -{most} to {most}")),
    })
}
