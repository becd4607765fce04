//! The finished program with its three notices, before a scripted mail server.

use std::collections::BTreeMap;

use serde_json::Value;
use tests::harness::{Room, wait_for};
use tests::scripted_mail::ScriptedServer;
use tests::small_service;

pub const PEOPLE: [&str; 3] = ["booking@testhouse.example", "mechanic@bar.example", "mechanic@bay.example"];

/// A room whose daemon sends to this port; `more` are further lines of its `[smtp]`. Its store is a file where a
/// server's leases would keep a test waiting for a minute (the store's own tests watch them run out), or where a test
/// is about files.
pub fn room(room: Room, port: u16, more: &str) -> Room {
    let room = small_service::imported_in(room);
    settings(&room, port, more);
    room
}

pub fn settings(room: &Room, port: u16, more: &str) {
    let text = format!(
        "[smtp]\nhost = \"127.0.0.1\"\nport = {port}\ntls = \"none\"\nfrom = \"tallow@service.example\"\n\
         hello = \"tallow.service.example\"\nmost_per_second = 100\n{more}"
    );
    room.write("tallow.toml", &text);
}

/// The notices by recipient.
pub fn notices(room: &Room) -> BTreeMap<String, Value> {
    let listed: Vec<Value> = serde_json::from_str(&room.tallow("notices list --format json").done()).unwrap();
    listed.into_iter().map(|notice| (notice["recipient"].as_str().unwrap().to_owned(), notice)).collect()
}

/// Waits until every notice has come to one of these states.
#[track_caller]
pub fn wait_states(room: &Room, states: &[&str]) -> BTreeMap<String, Value> {
    wait_for(&format!("every notice to be {states:?}"), || {
        let notices = notices(room);
        let there = |notice: &Value| states.contains(&notice["state"].as_str().unwrap());
        (notices.len() >= PEOPLE.len() && notices.values().all(there)).then_some(notices)
    })
}

/// Every one of the three was accepted just once.
pub fn accepted_once(server: &ScriptedServer) {
    for person in PEOPLE {
        assert_eq!(server.accepted_for(person).len(), 1, "{person}");
    }
}
