//! Answers that say why not, and requests that could not be read.

use axum::Json;
use axum::extract::rejection::{FormRejection, JsonRejection, QueryRejection};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::objects::ProblemObject;
use crate::daemon::refused::{Ground, Refused};
use crate::record::RecordError;

/// A problem as the API tells it.
#[derive(Debug)]
pub(super) struct Problem {
    status: StatusCode,
    object: ProblemObject,
}

/// What a handler of the API gives.
pub(super) type Answer<T> = Result<Json<T>, Problem>;

/// An answer that says why not.
pub(super) fn problem(status: StatusCode, ground: &str, message: &str, help: &str) -> Response {
    Problem { status, object: ProblemObject::one(ground, message, help) }.into_response()
}

impl Problem {
    pub(super) fn new(status: StatusCode, message: impl Into<String>, help: &str) -> Self {
        Self { status, object: ProblemObject::one(Ground::Usage.tag(), message, help) }
    }

    /// There is no such thing.
    pub(super) fn none(what: &str, name: &str, help: &str) -> Self {
        Self::new(StatusCode::NOT_FOUND, format!("no {what} \"{name}\""), help)
    }

    /// Its lines, for a page.
    pub(super) fn into_object(self) -> ProblemObject {
        self.object
    }

    pub(super) fn status(&self) -> StatusCode {
        self.status
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        (self.status, Json(self.object)).into_response()
    }
}

impl From<Refused> for Problem {
    fn from(refused: Refused) -> Self {
        let status = match refused.ground {
            Ground::Question | Ground::Usage => StatusCode::UNPROCESSABLE_ENTITY,
            // The station is not as the request needs it: a fault of the bench is none of ours.
            Ground::Fault | Ground::LockedOut | Ground::Busy => StatusCode::CONFLICT,
        };
        Self { status, object: ProblemObject::of(&refused) }
    }
}

impl From<RecordError> for Problem {
    fn from(error: RecordError) -> Self {
        let absent = matches!(error, RecordError::UnknownRun { .. } | RecordError::Missing { .. });
        let status = if absent { StatusCode::NOT_FOUND } else { StatusCode::INTERNAL_SERVER_ERROR };
        let refused = Refused::from(error);
        Self { status, object: ProblemObject::of(&refused) }
    }
}

impl From<JsonRejection> for Problem {
    fn from(rejection: JsonRejection) -> Self {
        Self::new(rejection.status(), rejection.body_text(), "see /api/openapi.json")
    }
}

impl From<QueryRejection> for Problem {
    fn from(rejection: QueryRejection) -> Self {
        Self::new(rejection.status(), rejection.body_text(), "see /api/openapi.json")
    }
}

impl From<FormRejection> for Problem {
    fn from(rejection: FormRejection) -> Self {
        Self::new(rejection.status(), rejection.body_text(), "use the page's own form")
    }
}
