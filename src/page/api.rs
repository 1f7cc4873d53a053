//! The API: JSON over HTTP, the same objects as `--json`. A handler reads, asks and answers.

use std::sync::Arc;

use axum::Json;
use axum::extract::rejection::{JsonRejection, QueryRejection};
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use utoipa::{IntoParams, OpenApi};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::answer::{Answer, Problem};
use super::objects::{
    CurveObject, PlannedObject, ProblemObject, StartObject, StartedObject, StationObject,
    StoppedObject,
};
use super::saved::{self, Search};
use super::{House, asking, download, events};
use crate::daemon::asked::Asked;
use crate::daemon::served::Stopped;
use crate::report::export::csv::Decimal;
use crate::report::object::RunObject;
use crate::report::{Axes, Format};

/// The document of the API.
#[derive(OpenApi)]
#[openapi(info(
    title = "reststrom",
    description = "Stations of the repair bench: what they do, what they did, start and stop. \
        Quantities are in SI base units, and the name says which."
))]
struct Document;

type Shared = State<Arc<House>>;

/// The routes, and the document that is made of them.
pub(super) fn routes() -> OpenApiRouter<Arc<House>> {
    OpenApiRouter::with_openapi(Document::openapi())
        .routes(routes!(stations))
        .routes(routes!(station))
        .routes(routes!(plan))
        .routes(routes!(start))
        .routes(routes!(stop))
        .routes(routes!(stop_all))
        .routes(routes!(runs))
        .routes(routes!(run))
        .routes(routes!(curve))
        .routes(routes!(readings))
        .routes(routes!(plot))
        .routes(routes!(follow))
}

/// How every station stands.
#[utoipa::path(get, path = "/api/stations", responses((status = 200, body = [StationObject])))]
async fn stations(State(house): Shared) -> Json<Vec<StationObject>> {
    Json(house.stations.iter().map(StationObject::of).collect())
}

/// How a station stands.
#[utoipa::path(get, path = "/api/stations/{station}",
    params(("station" = String, Path, description = "Its name")),
    responses((status = 200, body = StationObject), (status = 404, body = ProblemObject)))]
async fn station(State(house): Shared, Path(name): Path<String>) -> Answer<StationObject> {
    Ok(Json(StationObject::of(house.station(&name)?)))
}

/// What would be done to a part, with its cautions; nothing is energised.
#[utoipa::path(post, path = "/api/stations/{station}/plan",
    params(("station" = String, Path, description = "Its name")),
    request_body = Asked,
    responses(
        (status = 200, body = PlannedObject),
        (status = 400, body = ProblemObject, description = "no JSON"),
        (status = 404, body = ProblemObject),
        (status = 413, body = ProblemObject),
        (status = 415, body = ProblemObject),
        (status = 422, body = ProblemObject, description = "not understood, or refused")))]
async fn plan(
    State(house): Shared,
    Path(name): Path<String>,
    asked: Result<Json<Asked>, JsonRejection>,
) -> Answer<PlannedObject> {
    let served = house.station(&name)?;
    let Json(asked) = asked?;
    Ok(Json(asking::planned(served, &asked).await?.1))
}

/// Starts a run. Sent again with the same token it starts nothing, and gives the same run.
#[utoipa::path(post, path = "/api/stations/{station}/runs",
    params(("station" = String, Path, description = "Its name")),
    request_body = StartObject,
    responses(
        (status = 201, body = StartedObject),
        (status = 400, body = ProblemObject, description = "no JSON"),
        (status = 404, body = ProblemObject),
        (status = 409, body = ProblemObject,
            description = "the station has other work, is locked out, or an instrument failed"),
        (status = 413, body = ProblemObject),
        (status = 415, body = ProblemObject),
        (status = 422, body = ProblemObject, description = "not understood, or refused")))]
async fn start(
    State(house): Shared,
    Path(name): Path<String>,
    start: Result<Json<StartObject>, JsonRejection>,
) -> Result<(StatusCode, Json<StartedObject>), Problem> {
    let served = house.station(&name)?;
    let Json(start) = start?;
    let run = asking::start(served, start).await?;
    let record = served.record().display().to_string();
    let started = StartedObject { station: name, run: run.to_string(), record };
    Ok((StatusCode::CREATED, Json(started)))
}

/// Cuts out: output off, discharge. Waits for nothing.
#[utoipa::path(post, path = "/api/stations/{station}/stop",
    params(("station" = String, Path, description = "Its name")),
    responses((status = 200, body = StoppedObject), (status = 404, body = ProblemObject)))]
async fn stop(State(house): Shared, Path(name): Path<String>) -> Answer<StoppedObject> {
    let stopped = house.station(&name)?.stop("stopped over HTTP");
    Ok(Json(stopped_object(name, stopped)))
}

/// Cuts out at every station.
#[utoipa::path(post, path = "/api/stop", responses((status = 200, body = [StoppedObject])))]
async fn stop_all(State(house): Shared) -> Json<Vec<StoppedObject>> {
    let stop = |served: &crate::daemon::served::Served| {
        stopped_object(served.station().name.clone(), served.stop("stopped over HTTP"))
    };
    Json(house.stations.iter().map(stop).collect())
}

fn stopped_object(station: String, stopped: Stopped) -> StoppedObject {
    let answer = match stopped {
        Stopped::Stopping => "stopping",
        Stopped::NoRun => "no-run",
    };
    StoppedObject { station, answer }
}

/// The runs on record, newest first.
#[utoipa::path(get, path = "/api/runs", params(Search),
    responses(
        (status = 200, body = [RunObject]),
        (status = 400, body = ProblemObject, description = "the search is not understood"),
        (status = 422, body = ProblemObject, description = "no such verdict")))]
async fn runs(
    State(house): Shared,
    search: Result<Query<Search>, QueryRejection>,
) -> Answer<Vec<RunObject>> {
    let Query(search) = search?;
    let runs = house.found(search).await?;
    Ok(Json(runs.iter().map(RunObject::of).collect()))
}

/// A run on record.
#[utoipa::path(get, path = "/api/runs/{run}",
    params(("run" = String, Path, description = "Its id, such as `r17`")),
    responses((status = 200, body = RunObject), (status = 404, body = ProblemObject)))]
async fn run(State(house): Shared, Path(id): Path<String>) -> Answer<RunObject> {
    let id = saved::run_id(&id)?;
    let run = house.look(move |record| Ok(record.run(id)?)).await?;
    Ok(Json(RunObject::of(&run)))
}

/// The readings of a run, thinned for a picture; the extremes stay.
#[utoipa::path(get, path = "/api/runs/{run}/curve",
    params(("run" = String, Path, description = "Its id, such as `r17`")),
    responses((status = 200, body = CurveObject), (status = 404, body = ProblemObject)))]
async fn curve(State(house): Shared, Path(id): Path<String>) -> Answer<CurveObject> {
    let id = saved::run_id(&id)?;
    Ok(Json(house.look(move |record| saved::curve(record, id)).await?))
}

/// How a table is written.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(super) struct Table {
    /// `point` or `comma`, for spreadsheets that expect one; `point` if left out.
    decimal: Option<String>,
}

/// Every reading of a run that was kept, as CSV (RFC 4180) with units in the names of the columns.
#[utoipa::path(get, path = "/api/runs/{run}/readings",
    params(("run" = String, Path, description = "Its id, such as `r17`"), Table),
    responses(
        (status = 200, description = "the table", body = String, content_type = "text/csv"),
        (status = 400, body = ProblemObject),
        (status = 404, body = ProblemObject),
        (status = 422, body = ProblemObject, description = "no such decimal mark")))]
async fn readings(
    State(house): Shared,
    Path(id): Path<String>,
    table: Result<Query<Table>, QueryRejection>,
) -> Result<Response, Problem> {
    let id = saved::run_id(&id)?;
    let Query(table) = table?;
    let decimal = match table.decimal.as_deref() {
        None | Some("point") => Decimal::Point,
        Some("comma") => Decimal::Comma,
        Some(word) => return Err(unknown("decimal mark", word, "expected point or comma")),
    };
    house.look(move |record| Ok(record.run(id)?)).await?;
    let kind = [(header::CONTENT_TYPE, "text/csv; charset=utf-8; header=present")];
    Ok((kind, download::readings(house.record.clone(), id, decimal)).into_response())
}

/// How a picture is drawn.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(super) struct Drawing {
    /// `png` or `svg`; `svg` if left out.
    format: Option<String>,
    /// `log-log` or `linear`; `log-log` if left out.
    axes: Option<String>,
}

/// A run as a picture: current and voltage against time.
#[utoipa::path(get, path = "/api/runs/{run}/plot",
    params(("run" = String, Path, description = "Its id, such as `r17`"), Drawing),
    responses(
        (status = 200, description = "the picture", content(
            (String = "image/svg+xml"), (Vec<u8> = "image/png"))),
        (status = 400, body = ProblemObject),
        (status = 404, body = ProblemObject),
        (status = 422, body = ProblemObject, description = "no such format or axes")))]
async fn plot(
    State(house): Shared,
    Path(id): Path<String>,
    drawing: Result<Query<Drawing>, QueryRejection>,
) -> Result<Response, Problem> {
    let id = saved::run_id(&id)?;
    let Query(drawing) = drawing?;
    let (format, kind) = match drawing.format.as_deref() {
        None | Some("svg") => (Format::Svg, "image/svg+xml"),
        Some("png") => (Format::Png, "image/png"),
        Some(word) => return Err(unknown("format", word, "expected png or svg")),
    };
    let axes = match drawing.axes.as_deref() {
        None | Some("log-log") => Axes::LogLog,
        Some("linear") => Axes::Linear,
        Some(word) => return Err(unknown("axes", word, "expected log-log or linear")),
    };
    let picture = house.look(move |record| saved::picture(record, id, axes, format)).await?;
    Ok(([(header::CONTENT_TYPE, kind)], picture).into_response())
}

fn unknown(what: &str, word: &str, help: &str) -> Problem {
    Problem::new(StatusCode::UNPROCESSABLE_ENTITY, format!("no {what} \"{word}\""), help)
}

/// From which event on.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(super) struct After {
    /// Id of the last event that came; `Last-Event-ID` says the same.
    after: Option<String>,
}

/// What happens, as server-sent events: `station` (how one stands), `reading` (the newest of a run),
/// `missed` (some events are no longer known: look at everything anew).
#[utoipa::path(get, path = "/api/events", params(After),
    responses(
        (status = 200, body = String, content_type = "text/event-stream"),
        (status = 400, body = ProblemObject)))]
async fn follow(
    State(house): Shared,
    headers: HeaderMap,
    after: Result<Query<After>, QueryRejection>,
) -> Result<Response, Problem> {
    let Query(After { after }) = after?;
    let last = headers.get("last-event-id").and_then(|id| id.to_str().ok());
    Ok(events::stream(&house, last.or(after.as_deref())))
}
