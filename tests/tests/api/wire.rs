//! Requests that are none, over a real connection: each is answered or dropped, and nobody else waits for it.

use std::sync::Arc;
use std::time::Duration;

use daemon::web::{Wire, serve_over};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::oneshot;

use crate::ground;

/// A service on a port of its own; dropped, it stops.
struct Served {
    at: std::net::SocketAddr,
    _stop: oneshot::Sender<()>,
    _ground: Arc<ground::Ground>,
}

async fn served(wire: Wire) -> Served {
    let ground = Arc::new(ground::ground().await);
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let at = listener.local_addr().unwrap();
    let (stop, stopped) = oneshot::channel::<()>();
    let pages = ground.app.clone();
    tokio::spawn(async move {
        serve_over(listener, pages, wire, async {
            let _ = stopped.await;
        })
        .await;
    });
    Served { at, _stop: stop, _ground: ground }
}

/// Everything that comes back until the other side closes.
async fn all(mut stream: TcpStream) -> String {
    let mut bytes = Vec::new();
    let _ = stream.read_to_end(&mut bytes).await;
    String::from_utf8_lossy(&bytes).into_owned()
}

async fn said(served: &Served, request: &[u8]) -> String {
    let mut stream = TcpStream::connect(served.at).await.unwrap();
    // A server that has heard enough may close before all was sent.
    let _ = stream.write_all(request).await;
    all(stream).await
}

fn status(answer: &str) -> &str {
    answer.split(' ').nth(1).unwrap_or("closed")
}

#[tokio::test]
async fn torture_58_heads_that_contradict_themselves_or_do_not_end() {
    let served = served(Wire::default()).await;
    let asked =
        |head: &str| format!("POST /sign-in HTTP/1.1\r\nHost: {}\r\n{head}\r\n", served.at).into_bytes();
    let twice =
        [asked("Content-Length: 3\r\nContent-Length: 4\r\n"), b"abcGET / HTTP/1.1\r\n\r\n".to_vec()].concat();
    let answer = said(&served, &twice).await;
    assert_eq!((status(&answer), answer.matches("HTTP/1.1 ").count()), ("400", 1), "{answer}");
    let both = asked("Content-Length: 45\r\nTransfer-Encoding: chunked\r\n");
    let smuggled = b"0\r\n\r\nGET /health/live HTTP/1.1\r\nHost: x\r\n\r\n".to_vec();
    let answer = said(&served, &[both, smuggled].concat()).await;
    assert_eq!(answer.matches("HTTP/1.1 ").count(), 1, "what follows is no request of its own: {answer}");
    let huge = asked(&format!("X-Long: {}\r\n", "x".repeat(1 << 20)));
    let answer = said(&served, &huge).await;
    assert!(["431", "closed"].contains(&status(&answer)), "{answer}");
    let many = (0..200).map(|number| format!("X-{number}: y\r\n")).collect::<Vec<_>>().concat();
    assert_eq!(status(&said(&served, &asked(&many)).await), "431");
}

/// Five hundred who never come to the end of a head keep nobody else waiting, and are dropped.
#[tokio::test]
async fn torture_58_slow_heads_are_dropped_and_nobody_waits_for_them() {
    let served = served(Wire { head_within: Duration::from_secs(3), ..Wire::default() }).await;
    let mut slow = Vec::new();
    for _ in 0..500 {
        let mut stream = TcpStream::connect(served.at).await.unwrap();
        stream.write_all(b"GET /health/live HTTP/1.1\r\nHost: lo").await.unwrap();
        slow.push(stream);
    }
    for _ in 0..50 {
        let request =
            format!("GET /health/live HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", served.at);
        let answer = said(&served, request.as_bytes()).await;
        assert_eq!(status(&answer), "200", "{answer}");
    }
    let mut open = 0;
    for stream in &mut slow {
        open += usize::from(
            matches!(stream.try_read(&mut [0; 16]), Err(error) if error.kind() == std::io::ErrorKind::WouldBlock),
        );
    }
    assert!(open > 400, "the others were answered while {open} of 500 hung");
    for stream in slow {
        let answer = all(stream).await;
        assert!(["408", "closed"].contains(&status(&answer)), "{answer}");
    }
}
