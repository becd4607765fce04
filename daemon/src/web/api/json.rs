//! An answer as JSON.

use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde_json::Value;

/// A value to be answered with.
pub(in crate::web) struct Json(pub(in crate::web) Value);

impl IntoResponse for Json {
    fn into_response(self) -> Response {
        ([(header::CONTENT_TYPE, "application/json")], self.0.to_string()).into_response()
    }
}
