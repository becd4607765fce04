//! The service's own settings.

use super::*;
use crate::assess::Regime;

#[test]
fn the_service_is_told_what_it_got_wrong() {
    service("home_zone = ▸\"Marlowen\"", &["\"Marlowen\" is no time zone; give an IANA name"]);
    service("working_days = [\"Mon\", ▸\"Tues\"]", &["\"Tues\" is no weekday; Mon, Tue, Wed"]);
    service(
        "holidays = [\"12-25\", ▸\"02-30\", ▸\"2026-02-30\", \"02-29\"]",
        &["\"02-30\" is no day", "\"2026-02-30\" is no day"],
    );
    service("effective_from = ▸\"1 November\"", &["is no date; write it like \"2026-11-01\""]);
    service("proof_regime = ▸\"iso\"", &["is no proof-load regime; right would be ilo, us or canada"]);
    for wrong in ["ilo", "ISO", "usa"] {
        service(&format!("regime = ▸\"{wrong}\""), &["is not a value of \"regime\"; one of: iso, us"]);
    }
    service("digest_at = ▸\"7 in the morning\"", &["is no time of day; write it like \"07:00\""]);
    service("quiet_hours = { from = ▸\"25:00\", to = \"07:00\" }", &["\"25:00\" is no time of day"]);
    service(
        "[[minimum]]\nkind = ▸\"kite\"\ncount = ▸0",
        &["no kind is called \"kite\"", "a whole number above nought"],
    );
    service(
        "[odds]\nprior = { a = ▸0, b = ▸-1 }",
        &["\"a\" must be above nought", "\"b\" must be above nought"],
    );
    for months in [
        "[1, 1, 1]",
        "[2, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1]",
        "[0, 2, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1]",
        "[1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1]",
    ] {
        service(
            &format!("[odds]\nmonths = ▸{months}"),
            &["these are not twelve month factors; give twelve numbers above nought"],
        );
    }
}

#[test]
fn a_station_is_in_one_group_and_every_group_has_its_own_name() {
    let groups = |east: &str, west: &str| {
        format!("[[station_group]]\nname = \"east\"\nstations = {east}\n[[station_group]]\nname = {west}")
    };
    service(
        &groups("[\"quarle\", \"senloe\"]", "\"west\"\nstations = [\"nethery\", ▸\"senloe\"]"),
        &["\"senloe\" is in the group \"east\" already; name a station once, in one group"],
    );
    service(
        &groups("[\"quarle\", ▸\"quarle\"]", "\"west\"\nstations = \"nethery\""),
        &["\"quarle\" is in the group \"east\" already"],
    );
    service(
        &groups("▸[]", "\"west\"\nstations = [\"nethery\"]"),
        &["the group has no station; give the slugs of its stations"],
    );
    service(
        &groups("[\"quarle\"]", "▸\"east\"\nstations = [\"nethery\"]"),
        &["the group \"east\" stands twice; give each group a name of its own"],
    );
    service(
        &groups("[▸\"Quarle Beach\", ▸3, ▸\"\"]", "\"west\"\nstations = [\"nethery\"]"),
        &[
            "\"Quarle Beach\" is no station's slug; give it as stations.csv has it",
            "a text or a list of texts",
            "\"\" is no station's slug",
        ],
    );
}

#[test]
fn station_groups_are_found_by_their_stations() {
    let text = "[[station_group]]\nname = \"east\"\nstations = [\"quarle\", \"senloe\"]\n\
                [[station_group]]\nname = \"west\"\nstations = \"nethery\"";
    let file = |name: &str, text: &str| PolicyFile { name: name.to_owned(), text: text.to_owned() };
    let groups =
        load(&[file("kinds.toml", KINDS), file("service.toml", text)]).unwrap().service.station_groups;
    let name = |station: &str| groups.of(station).map(|group| groups.name(group));
    assert_eq!(
        ["quarle", "senloe", "nethery", "bravell"].map(name),
        [Some("east"), Some("east"), Some("west"), None]
    );
}

/// Recorded readings are judged by ISO and EN standards unless the service says otherwise.
#[test]
fn the_regime_of_discard_criteria_is_the_services_choice() {
    let file = |name: &str, text: &str| PolicyFile { name: name.to_owned(), text: text.to_owned() };
    let regime =
        |text: &str| load(&[file("kinds.toml", KINDS), file("service.toml", text)]).unwrap().service.regime;
    assert_eq!(
        ["", "regime = \"iso\"", "regime = \"us\""].map(regime),
        [Regime::Iso, Regime::Iso, Regime::Us]
    );
}
