//! What the pages are made of besides themselves: style, scripts, the chart library with its
//! licence. All of it is inside the program.

use std::sync::Arc;

use axum::Router;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::get;

use super::House;

/// Path, kind and content of each.
const ASSETS: [(&str, &str, &str); 6] = [
    ("/assets/page.css", "text/css; charset=utf-8", include_str!("assets/page.css")),
    ("/assets/page.js", "text/javascript; charset=utf-8", include_str!("assets/page.js")),
    ("/assets/live.js", "text/javascript; charset=utf-8", include_str!("assets/live.js")),
    ("/assets/uplot.js", "text/javascript; charset=utf-8", include_str!("assets/uplot.js")),
    ("/assets/uplot.css", "text/css; charset=utf-8", include_str!("assets/uplot.css")),
    (
        "/assets/uplot-LICENSE.txt",
        "text/plain; charset=utf-8",
        include_str!("assets/uplot-LICENSE.txt"),
    ),
];

pub(super) fn routes() -> Router<Arc<House>> {
    let add = |router: Router<Arc<House>>, (path, kind, content)| {
        router.route(path, get(move || async move { asset(kind, content) }))
    };
    ASSETS.into_iter().fold(Router::new(), add)
}

/// Kept by the browser for a while: a newer program may have newer ones.
fn asset(kind: &'static str, content: &'static str) -> Response {
    let headers = [(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "max-age=300")];
    (headers, content).into_response()
}
