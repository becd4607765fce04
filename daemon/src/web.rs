//! Pages (being written).
use std::future::Future;
use std::sync::Arc;
pub struct Web {
    pub desk: Arc<crate::desk::Desk>,
    pub caught: Option<Arc<crate::demo::catcher::Catcher>>,
    pub stated: Option<jiff::civil::Date>,
}
pub async fn serve(
    listener: tokio::net::TcpListener,
    _web: Web,
    stop: impl Future<Output = ()> + Send + 'static,
) -> std::io::Result<()> {
    axum::serve(listener, axum::Router::new()).with_graceful_shutdown(stop).await
}
