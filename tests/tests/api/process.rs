//! The finished program: a launch that was recorded stays one when the daemon dies before its answer arrives.

use std::io::{Read, Write};
use std::net::TcpStream;

use serde_json::Value;
use tests::harness::Room;
use tests::small_service;

fn send(address: &str, request: &str) -> String {
    let mut stream = TcpStream::connect(address).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    answer
}

fn launch(token: &str) -> String {
    let body = "{\"what\":\"launch\"}";
    format!(
        "POST /api/v1/stations/bay/use HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {token}\r\n\
         Content-Type: application/json\r\nIdempotency-Key: phone-1-launch-1\r\nContent-Length: {}\r\n\
         Connection: close\r\n\r\n{body}",
        body.len()
    )
}

fn body(answer: &str) -> Value {
    serde_json::from_str(answer.split_once("\r\n\r\n").unwrap().1).unwrap()
}

fn launches(room: &Room) -> usize {
    room.tallow("export out").done();
    let text = std::fs::read_to_string(room.path("out/usage.csv")).unwrap();
    text.lines().filter(|line| line.contains("phone-1-launch-1")).count()
}

#[test]
fn torture_2_killed_after_the_commit_the_retry_gets_the_same_answer_and_one_record_stands() {
    let room = small_service::imported_in(Room::in_file());
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let address = format!("127.0.0.1:{port}");
    room.write("tallow.toml", "");
    let token = {
        room.tallow("people invite mechanic@bay.example").done();
        let made = room.tallow("people token mechanic@bay.example --label phone").done();
        made.trim().to_owned()
    };
    let daemon = room.serve_on(&address);
    let mut cut = TcpStream::connect(&address).unwrap();
    cut.write_all(launch(&token).as_bytes()).unwrap();
    // The record is there; its answer is never read.
    tests::harness::wait_for("the launch to be recorded", || (launches(&room) == 1).then_some(()));
    daemon.signal("KILL");
    drop(daemon);
    drop(cut);
    let daemon = room.serve_on(&address);
    let (first, second) = (send(&address, &launch(&token)), send(&address, &launch(&token)));
    assert!(first.starts_with("HTTP/1.1 201"), "{first}");
    assert_eq!(body(&first), body(&second));
    assert_eq!(body(&first)["rows"][0]["key"], "phone-1-launch-1 LC-1 launches");
    assert_eq!(launches(&room), 1);
    assert_eq!(daemon.stop(), (Some(0), true));
}
