//! People by role only, and the stations they belong to.

use super::coast::{STATIONS, Station};
use super::sheet::Sheet;

pub fn stations() -> Sheet {
    let mut sheet = Sheet::new(&["station", "name", "time_zone", "latitude", "longitude", "flanks"]);
    for station in &STATIONS {
        sheet.row(vec![
            station.slug(),
            station.name.to_owned(),
            station.zone_rule().to_owned(),
            format!("{:.4}", station.latitude),
            format!("{:.4}", station.longitude),
            station.flanks.join(";"),
        ]);
    }
    sheet
}

pub fn people() -> Sheet {
    let mut sheet = Sheet::new(&["email", "name", "role", "station", "competence", "deputy"]);
    let mut add = |email: &str, name: &str, role: &str, station: &str, competence: &str, deputy: &str| {
        sheet.row([email, name, role, station, competence, deputy].map(String::from).to_vec());
    };
    add("head.engineering@mcbs.example", "Head of Engineering", "head", "", "", "");
    add(
        "engineer.region@mcbs.example",
        "Regional Engineer",
        "engineer",
        "",
        "station mechanic",
        "head.engineering@mcbs.example",
    );
    add("stores@mcbs.example", "Stores Clerk", "clerk", "", "rigging loft", "");
    add(
        "booking@testhouse.example",
        "Test House Booking",
        "test house",
        "",
        "competent person; test house",
        "",
    );
    for station in &STATIONS {
        let name = format!("Station Mechanic, {}", station.name);
        add(
            &station.mechanic(),
            &name,
            "mechanic",
            &station.slug(),
            "station mechanic; beach crew",
            &deputy(station),
        );
    }
    sheet
}

/// The mechanic of the first flanking station; overseas, the engineer.
fn deputy(station: &Station) -> String {
    station.flanks.first().map_or_else(
        || "engineer.region@mcbs.example".to_owned(),
        |flank| format!("mechanic.{flank}@mcbs.example"),
    )
}
