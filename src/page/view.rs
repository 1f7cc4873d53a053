//! The pages: rendered here, whole without a script; a small script keeps them live.

mod frame;
mod plan;
mod runs;
mod station;

use std::sync::Arc;

use axum::Router;
use axum::extract::rejection::{FormRejection, QueryRejection};
use axum::extract::{Form, Path, Query, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use maud::Markup;

use super::House;
use super::answer::Problem;
use super::asking;
use super::objects::{StartObject, StationObject};
use super::reading::ReadingObject;
use super::saved::{self, Search};
use crate::report::object::RunObject;
use plan::Wanted;
use runs::Chosen;

pub use frame::escaped;

type Shared = State<Arc<House>>;

pub(super) fn routes() -> Router<Arc<House>> {
    Router::new()
        .route("/", get(home))
        .route("/stations/{station}", get(station_page))
        .route("/stations/{station}/stop", post(stop))
        .route("/stop", post(stop_all))
        .route("/stations/{station}/plan", post(plan_page))
        .route("/stations/{station}/start", post(start))
        .route("/runs", get(runs_page))
        .route("/runs/{run}", get(run_page))
        .route("/overlay", get(overlay_page))
}

/// A page, or a page that says why not.
struct Page(StatusCode, Markup);

impl IntoResponse for Page {
    fn into_response(self) -> Response {
        (self.0, Html(self.1.into_string())).into_response()
    }
}

impl From<Problem> for Page {
    fn from(problem: Problem) -> Self {
        let status = problem.status();
        Self(status, frame::problem_page(&problem.into_object()))
    }
}

type Shown = Result<Page, Page>;

fn page(markup: Markup) -> Page {
    Page(StatusCode::OK, markup)
}

/// All stations; the one if there is one.
async fn home(State(house): Shared) -> Page {
    match house.stations.as_slice() {
        [only] => page(station::whole(&StationObject::of(only), ReadingObject::of(only).as_ref())),
        all => {
            let all: Vec<StationObject> = all.iter().map(StationObject::of).collect();
            page(station::list(&all))
        }
    }
}

async fn station_page(State(house): Shared, Path(name): Path<String>) -> Shown {
    let served = house.station(&name)?;
    Ok(page(station::whole(&StationObject::of(served), ReadingObject::of(served).as_ref())))
}

async fn stop(State(house): Shared, Path(name): Path<String>) -> Result<Redirect, Page> {
    let stopped = house.station(&name)?.stop("stopped on the page");
    tracing::info!(station = name, ?stopped, "cut out on the page");
    Ok(Redirect::to(&frame::path_of(&name)))
}

async fn stop_all(State(house): Shared) -> Redirect {
    for served in &house.stations {
        let stopped = served.stop("stopped on the page");
        tracing::info!(station = served.station().name, ?stopped, "cut out on the page");
    }
    Redirect::to("/")
}

/// What would be done, for a person to read and to acknowledge.
async fn plan_page(
    State(house): Shared,
    Path(name): Path<String>,
    wanted: Result<Form<Wanted>, FormRejection>,
) -> Shown {
    let served = house.station(&name)?;
    let Form(wanted) = wanted.map_err(Problem::from)?;
    let station = StationObject::of(served);
    // Nothing is energised by looking: what needs to be acknowledged is asked for on that page.
    match asking::planned(served, &wanted.asked(true)).await {
        Ok((_, planned)) => Ok(page(plan::page(&station, &wanted, &planned, None))),
        Err(refused) => {
            let problem = Problem::from(refused);
            let status = problem.status();
            Err(Page(status, station::again(&station, &wanted, &problem.into_object())))
        }
    }
}

async fn start(
    State(house): Shared,
    Path(name): Path<String>,
    wanted: Result<Form<Wanted>, FormRejection>,
) -> Result<Redirect, Page> {
    let served = house.station(&name)?;
    let Form(wanted) = wanted.map_err(Problem::from)?;
    match begin(served, &wanted).await {
        Ok(()) => Ok(Redirect::to(&frame::path_of(&name))),
        Err(problem) => {
            let station = StationObject::of(served);
            let status = problem.status();
            let object = problem.into_object();
            let markup = match asking::planned(served, &wanted.asked(true)).await {
                Ok((_, planned)) => plan::page(&station, &wanted, &planned, Some(&object)),
                Err(_) => station::again(&station, &wanted, &object),
            };
            Err(Page(status, markup))
        }
    }
}

async fn begin(served: &crate::daemon::served::Served, wanted: &Wanted) -> Result<(), Problem> {
    if !wanted.has_read() {
        return Err(Problem::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "the cautions have not been acknowledged",
            "read them, and say so with the box below them",
        ));
    }
    let start = StartObject {
        asked: wanted.asked(wanted.acknowledges()),
        mark: wanted.mark.clone(),
        token: wanted.token.clone(),
        unlock: wanted.unlocks(),
    };
    asking::start(served, start).await?;
    Ok(())
}

async fn runs_page(State(house): Shared, search: Result<Query<Search>, QueryRejection>) -> Shown {
    let Query(search) = search.map_err(Problem::from)?;
    let runs = house.found(search.clone()).await?;
    let objects: Vec<RunObject> = runs.iter().map(RunObject::of).collect();
    Ok(page(runs::list(&objects, &search)))
}

async fn run_page(State(house): Shared, Path(id): Path<String>) -> Shown {
    let id = saved::run_id(&id)?;
    let run = house.look(move |record| Ok(record.run(id)?)).await?;
    Ok(page(runs::one(&RunObject::of(&run))))
}

async fn overlay_page(
    State(house): Shared,
    chosen: Result<Query<Vec<(String, String)>>, QueryRejection>,
) -> Shown {
    let Query(pairs) = chosen.map_err(Problem::from)?;
    let chosen = Chosen::of(pairs)?;
    let runs = house
        .look(move |record| {
            chosen.0.iter().map(|id| Ok(record.run(*id)?)).collect::<Result<Vec<_>, Problem>>()
        })
        .await?;
    let objects: Vec<RunObject> = runs.iter().map(RunObject::of).collect();
    Ok(page(runs::overlay(&objects)))
}
