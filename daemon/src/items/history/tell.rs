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
    let papers: Vec<String> = history.certificates.iter().map(|paper| paper.says.clone()).collect();
    lines(&mut text, "Certificates", &papers);
    lines(&mut text, "Use before the records, or inherited", &history.opening_use);
    lines(&mut text, "Use in all", &history.use_in_all);
    lines(&mut text, "Places", &places(history));
    lines(&mut text, "Loans", &deeds(&history.loans));
    let work: Vec<String> = history.work.iter().map(|done| format!("{}: {}", done.at, done.what)).collect();
    lines(&mut text, "Examinations and work", &work);
    for (heading, list) in [
        ("Reports of examinations", &history.reports),
        ("Defects", &history.defects),
        ("Shock loads, overloads, groundings", &history.events),
        ("Holds", &history.holds),
        ("States and cuts", &history.changes),
        ("Substitutions", &history.substitutions),
        ("Concessions", &history.concessions),
    ] {
        lines(&mut text, heading, &deeds(list));
    }
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
    let loose = |place: &super::Place| place.loose_days.map(|days| format!("{days} days fitted to nothing"));
    history.places.iter().flat_map(|place| loose(place).into_iter().chain([line(place)])).collect()
}

fn deeds(deeds: &[Deed]) -> Vec<String> {
    deeds.iter().map(|deed| format!("{}: {}", deed.at, deed.what)).collect()
}
