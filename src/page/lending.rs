//! Lending a station to a command, over the Unix socket only: it has the station for as long as
//! its connection stands.

use std::sync::Arc;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use axum::routing::post;
use futures_util::stream;

use super::House;
use super::answer::Problem;

pub(super) fn routes() -> Router<Arc<House>> {
    Router::new().route("/api/stations/{station}/lend", post(lend))
}

/// Answers `lent`, and then nothing: the body ends with the connection, and with it the loan.
async fn lend(
    State(house): State<Arc<House>>,
    Path(name): Path<String>,
) -> Result<Response, Problem> {
    let lender = house.station(&name)?.lend().await?;
    let first = Some(Bytes::from_static(b"lent\n"));
    let body = stream::unfold((lender, first), |(lender, mut first)| async move {
        let bytes = match first.take() {
            Some(bytes) => bytes,
            None => std::future::pending().await,
        };
        Some((Ok::<_, std::convert::Infallible>(bytes), (lender, first)))
    });
    Ok(Body::from_stream(body).into_response())
}
