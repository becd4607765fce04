//! Stores that were put back from a backup, or copied elsewhere: rows 29 and 30 of the table of faults. They send
//! nothing until a person takes them into service.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "torture_mail/daemon_room.rs"]
mod daemon_room;

use tests::harness::{Room, wait_for};
use tests::scripted_mail::{Act, At, ScriptedServer};

use daemon_room::{PEOPLE, accepted_once, notices, room, settings, wait_states};

const COMMAND: &str = "--config tallow.toml";

/// Serves for as long as it takes to say that sending is held.
fn serve_held(room: &Room) {
    let daemon = room.serve();
    daemon.wait_log("sending is held");
    daemon.wait_log("nothing is sent for now");
    assert_eq!(daemon.stop(), (Some(0), true));
}

/// What was sent since the backup stands as unsent in it. It must not go out again.
#[test]
fn torture_29_a_restored_store_sends_nothing_until_it_is_looked_through() {
    let server = ScriptedServer::start(|_| Act::Usual);
    let room = room(Room::in_file(), server.port(), "");
    room.tallow("backup before.db").done();
    let daemon = room.serve();
    wait_states(&room, &["sent"]);
    assert_eq!(daemon.stop(), (Some(0), true));
    accepted_once(&server);
    assert!(room.tallow("restore before.db").done().contains("sends nothing until tallow adopt"));
    serve_held(&room);
    assert!(room.tallow("notices list").done().starts_with("sending is held since "));
    accepted_once(&server);
    let listed = room.tallow(&format!("{COMMAND} adopt")).no();
    for person in PEOPLE {
        assert!(listed.contains(person), "{listed}");
    }
    assert!(listed.contains("put back from before.db") && listed.contains("--drop-all"), "{listed}");
    room.tallow(&format!("{COMMAND} adopt --drop N-2020-9999")).refused();
    assert!(room.tallow(&format!("{COMMAND} adopt --drop-all")).done().contains("3 count as told"));
    assert!(room.tallow(&format!("{COMMAND} adopt")).done().contains("nothing to adopt"));
    // Somebody new is told, and by then all that waited before them would be too.
    let crew = "email,name,role,station\ncrew@bay.example,Crew,mechanic,bay\n";
    room.write("more/people.csv", crew);
    room.tallow("import more").done();
    let daemon = room.serve();
    wait_for("the newcomer's mail", || (!server.accepted_for("crew@bay.example").is_empty()).then_some(()));
    assert_eq!(daemon.stop(), (Some(0), true));
    accepted_once(&server);
    let old = |notice: &&serde_json::Value| notice["recipient"] != "crew@bay.example";
    assert!(notices(&room).values().filter(old).all(|notice| notice["state"] == "cancelled"));
    room.tallow("verify").done();
}

/// The live file, copied to another machine or folder.
#[test]
fn torture_30_a_copied_store_sends_nothing_until_it_is_adopted() {
    let nowhere = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let server = ScriptedServer::start(|_| Act::Usual);
    let live = room(Room::in_file(), nowhere, "");
    let daemon = live.serve();
    daemon.wait_log("the mail server takes nothing");
    assert_eq!(daemon.stop(), (Some(0), true));
    let copy = Room::in_file();
    std::fs::copy(live.path("tallow.db"), copy.path("tallow.db")).unwrap();
    settings(&copy, server.port(), "");
    serve_held(&copy);
    assert_eq!(server.count(At::Greeting), 0);
    let listed = copy.tallow(&format!("{COMMAND} adopt")).no();
    assert!(listed.contains("taken into service at") && listed.contains("3 notice(s) wait"), "{listed}");
    let number = notices(&copy)[PEOPLE[0]]["number"].as_str().unwrap().to_owned();
    let done = copy.tallow(&format!("{COMMAND} adopt --drop {number}")).done();
    assert!(done.contains("2 notice(s) will be sent, 1 count as told"), "{done}");
    let daemon = copy.serve();
    wait_states(&copy, &["sent", "cancelled"]);
    assert_eq!(daemon.stop(), (Some(0), true));
    assert_eq!([0, 1, 2].map(|n| server.accepted_for(PEOPLE[n]).len()), [0, 1, 1]);
    // Where it always was, nothing is held.
    settings(&live, server.port(), "");
    let daemon = live.serve();
    wait_states(&live, &["sent"]);
    assert_eq!(daemon.stop(), (Some(0), true));
    assert_eq!([0, 1, 2].map(|n| server.accepted_for(PEOPLE[n]).len()), [1, 2, 2]);
}

/// Containers change their host name; a place that the settings name stays.
#[test]
fn a_place_that_is_named_may_move() {
    let server = ScriptedServer::start(|_| Act::Usual);
    let named = |room: &Room, port: u16| {
        settings(room, port, "");
        let text = room.read("tallow.toml");
        room.write("tallow.toml", &format!("place = \"coast office\"\n{text}"));
    };
    let first = room(Room::in_file(), server.port(), "");
    named(&first, server.port());
    let daemon = first.serve();
    wait_states(&first, &["sent"]);
    assert_eq!(daemon.stop(), (Some(0), true));
    let second = Room::in_file();
    std::fs::copy(first.path("tallow.db"), second.path("tallow.db")).unwrap();
    named(&second, server.port());
    assert!(second.tallow(&format!("{COMMAND} adopt")).done().contains("in service at coast office since"));
}
