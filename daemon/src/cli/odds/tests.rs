use super::*;
use jiff::civil::date;
use policies::amount::Amount;
use policies::facts::{FleetBuilder, ItemRecord, Quantity};
use policies::load::{PolicyFile, load};
use policies::zone::{When, Zone};

fn set(service: &str) -> PolicySet {
    let file = |name: &str, text: &str| PolicyFile { name: name.to_owned(), text: text.to_owned() };
    let kinds = "[[kind]]\nname = \"carriage\"\nmeters = [\"launches\"]\n";
    load(&[file("kinds.toml", kinds), file("service.toml", service)]).unwrap()
}

/// Nine carriages at Quarle and three at Nethery, with a year of launches.
fn told(set: &PolicySet) -> Told {
    let mut builder = FleetBuilder::new(set);
    for (slug, count) in [("quarle", 9), ("nethery", 3)] {
        builder.station(slug, slug, Zone::utc(), false);
        for number in 0..count {
            let tag = format!("{slug}-{number}");
            let station = Some(slug);
            builder.item(&ItemRecord { tag: &tag, kind: "carriage", station, ..ItemRecord::default() });
            for month in 1..=12 {
                let uses = Quantity::Count(Amount::whole(4 + number % 3));
                builder.used(&tag, "launches", When::Day(date(2025, month, 1)), uses);
            }
        }
    }
    Told::learnt(set, &builder.finish().0, date(2026, 1, 31))
}

#[test]
fn it_says_whose_experience_is_borrowed() {
    let set = set("[[station_group]]\nname = \"east\"\nstations = [\"quarle\", \"senloe\"]\n\
                   [[station_group]]\nname = \"west\"\nstations = [\"nethery\"]\n");
    let told = told(&set);
    let row = |start: &str| told.text.lines().find(|line| line.trim().starts_with(start)).unwrap().to_owned();
    assert!(
        row("carriage in group east").ends_with("pooled over 9 hosts of the kind carriage in group east")
    );
    // Three hosts are too few for a prior of their own.
    assert!(row("carriage in group west").ends_with("pooled over 12 hosts of the kind carriage"));
    assert!(row("carriage  ").ends_with("pooled over 12 hosts of the kind carriage"));
    assert!(told.text.ends_with("name what is no station of the register: senloe\n"), "{}", told.text);
    let hosts = &told.json["hosts"];
    assert_eq!((&hosts[0]["group"], &hosts[0]["pooled_in_group"]), (&Value::Null, &Value::Null));
    assert_eq!((&hosts[1]["group"], &hosts[1]["pooled_in_group"]), (&json!("east"), &json!("east")));
    assert_eq!((&hosts[2]["group"], &hosts[2]["pooled_in_group"]), (&json!("west"), &Value::Null));
    assert_eq!(told.json["stations_unknown"], json!(["senloe"]));
}

#[test]
fn a_service_without_groups_hears_nothing_of_them() {
    let told = told(&set(""));
    assert!(!told.text.contains("group"), "{}", told.text);
    assert_eq!(told.json["hosts"].as_array().unwrap().len(), 1);
}
