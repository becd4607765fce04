//! Connections: what a request may be before it is one. A head that is too long, that contradicts itself or that does
//! not come to its end is answered or dropped before any page is asked.

use std::future::Future;
use std::net::SocketAddr;
use std::pin::pin;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::ConnectInfo;
use axum::http::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use tokio::net::{TcpListener, TcpStream};
use tower::{ServiceExt, service_fn};

use super::{Web, router};

/// What is waited for, and how much is taken.
#[derive(Clone, Copy, Debug)]
pub struct Wire {
    /// Until a request's head must have come whole.
    pub head_within: Duration,
    /// Bytes of a head; hyper's least is 8 KiB.
    pub longest_head: usize,
}

impl Default for Wire {
    fn default() -> Wire {
        Wire { head_within: Duration::from_secs(15), longest_head: 64 * 1024 }
    }
}

/// After a failure to take a connection, such as no file left to open.
const BREATHER: Duration = Duration::from_millis(200);

/// Serves the pages until `stop` comes; what is under way then is still answered.
pub async fn serve(listener: TcpListener, web: Web, stop: impl Future<Output = ()> + Send) {
    serve_over(listener, router(web), Wire::default(), stop).await;
}

/// The same for pages as they are given, over connections of other limits.
pub async fn serve_over(
    listener: TcpListener,
    pages: Router,
    wire: Wire,
    stop: impl Future<Output = ()> + Send,
) {
    let open = GracefulShutdown::new();
    let mut stop = pin!(stop);
    loop {
        let taken = tokio::select! {
            taken = listener.accept() => taken,
            () = &mut stop => break,
        };
        match taken {
            Ok((stream, peer)) => converse(&open, stream, peer, pages.clone(), wire),
            Err(error) => {
                tracing::warn!(%error, "a connection could not be taken");
                tokio::time::sleep(BREATHER).await;
            }
        }
    }
    drop(listener);
    open.shutdown().await;
}

/// Answers what comes over one connection.
fn converse(open: &GracefulShutdown, stream: TcpStream, peer: SocketAddr, pages: Router, wire: Wire) {
    if let Err(error) = stream.set_nodelay(true) {
        tracing::debug!(%error, %peer, "answers may be held back");
    }
    let answered = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(ConnectInfo(peer));
        pages.clone().oneshot(request.map(Body::new))
    });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(wire.head_within)
        .max_buf_size(wire.longest_head)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(answered));
    let connection = open.watch(connection);
    tokio::spawn(async move {
        if let Err(error) = connection.await {
            tracing::debug!(%error, %peer, "a connection ended early");
        }
    });
}
