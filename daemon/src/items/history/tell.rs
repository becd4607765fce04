//! A history sheet as text for a terminal.

use std::fmt::Write;

use super::{Deed, History};

/// The sheet as text.
pub fn text(history: &History) -> String {
    let mut text = format!("{} · {}\n", history.item, history.kind);
    let quantity = history.quantity.map(|quantity| quantity.to_string()).unwrap_or_default();
    for (name, value) in [
        ("owner", &history.station),
        ("set", &history.set),
        ("serial", &history.serial),
        ("made", &history.manufactured_on),
        ("in service", &history.entered_service_on),
        ("came from", &history.from),
        ("quantity", &quantity),
    ] {
        if !value.is_empty() {
            let _ = writeln!(text, "  {name}: {value}");
        }
    }
    for (column, value) in &history.attributes {
        let _ = writeln!(text, "  {column}: {value}");
    }
    lines(&mut text, "Certificates", &history.certificates);
    lines(&mut text, "Use before the records, or inherited", &history.opening_use);
    lines(&mut text, "Use in all", &history.use_in_all);
    lines(&mut text, "Places", &places(history));
    lines(&mut text, "Examinations and work", &deeds(&history.work));
    lines(&mut text, "Shock loads, overloads, groundings", &deeds(&history.events));
    lines(&mut text, "States and cuts", &deeds(&history.changes));
    text
}

fn lines(text: &mut String, heading: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    let _ = writeln!(text, "{heading}");
    for line in lines {
        let _ = writeln!(text, "  {line}");
    }
}

fn places(history: &History) -> Vec<String> {
    let line = |place: &super::Place| {
        let to = if place.to.is_empty() { "now" } else { &place.to };
        let used = if place.used.is_empty() { "no use".to_owned() } else { place.used.join(", ") };
        let station = if place.station.is_empty() { String::new() } else { format!(" at {}", place.station) };
        format!("{} to {to}: {}, {}{station}: {used}", place.from, place.host, place.position)
    };
    history.places.iter().map(line).collect()
}

fn deeds(deeds: &[Deed]) -> Vec<String> {
    deeds.iter().map(|deed| format!("{}: {}", deed.at, deed.what)).collect()
}
