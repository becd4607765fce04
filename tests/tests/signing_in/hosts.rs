//! Where only this machine reaches the pages, they answer to its own names: a page from elsewhere whose name is made to
//! lead here reads nothing.

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use daemon::web::{Door, hosts};

use crate::room::Room;

#[tokio::test]
async fn another_host_is_not_answered_on_loopback() {
    let url = "https://gear.service.example";
    let room = Room::with(|door| Door { hosts: hosts("127.0.0.1:8470", url), ..door }).await;
    let asked = async |host: &str, path: &str| {
        let request = Request::builder().uri(path).header(header::HOST, host).body(Body::empty()).unwrap();
        let answer = room.ask(request).await;
        assert_eq!(answer.headers["x-content-type-options"], "nosniff");
        (answer.status, answer.text)
    };
    for host in
        ["127.0.0.1:8470", "localhost", "[::1]:8470", "gear.service.example", "GEAR.service.example:443"]
    {
        assert_eq!(asked(host, "/").await.0, StatusCode::OK, "{host}");
    }
    for host in ["evil.example", "evil.example:8470", "localhost.evil.example", "127.0.0.1.evil.example", ""]
    {
        for path in ["/", "/api/v1/items", "/health/live"] {
            let (status, text) = asked(host, path).await;
            assert_eq!(status, StatusCode::MISDIRECTED_REQUEST, "{host} {path}");
            assert!(text.contains("does not answer to that name") && !text.contains("Low Bay"), "{text}");
        }
    }
    let open = Room::of(true).await;
    let request =
        Request::builder().uri("/").header(header::HOST, "evil.example").body(Body::empty()).unwrap();
    assert_eq!(open.ask(request).await.status, StatusCode::OK, "on a network it is not known by what name");
}
