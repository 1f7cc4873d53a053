//! The daemon's faces over HTTP: an API, a stream of events, and a page that is trusted across the
//! room.
//!
//! Nothing here touches a port or a run: handlers ask the [`Served`] stations, which answer at once,
//! and look into the record on threads of their own. A stop takes neither.

mod answer;
mod api;
mod asking;
mod assets;
mod condition;
mod download;
mod events;
mod gate;
mod lending;
mod listen;
mod notices;
mod objects;
mod reading;
mod saved;
mod tokens;
mod view;

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use axum::extract::DefaultBodyLimit;
use axum::http::StatusCode;
use axum::routing::get;
use axum::{Json, Router, middleware};
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio::task::JoinSet;

use crate::daemon::served::Served;
use crate::record::{Record, Run};
use answer::Problem;
pub use asking::fresh_token;
pub use condition::Condition;
use events::Log;
pub use gate::Gate;
pub use notices::{Notice, NoticeObject, Ways};
pub use objects::{
    CurveObject, GoingObject, LastObject, OneProblem, PlannedObject, ProblemObject, StartObject,
    StartedObject, StationObject, StoppedObject,
};
pub use reading::ReadingObject;
use saved::Search;
pub use tokens::{Right, Tokens, TokensError};
pub use view::escaped;

/// Nobody has more to say.
const LONGEST_BODY: usize = 64 << 10;
/// So many look into the record at once; more wait, and a stop waits for none of them.
const READERS: usize = 2;

/// Everything that the handlers share.
pub(crate) struct House {
    stations: Vec<Served>,
    record: PathBuf,
    log: Log,
    readers: Semaphore,
}

impl House {
    fn station(&self, name: &str) -> Result<&Served, Problem> {
        let found = self.stations.iter().find(|served| served.station().name == name);
        found.ok_or_else(|| Problem::none("station", name, "/api/stations lists them"))
    }

    /// Looks into the record on a thread that may wait for the disk.
    async fn look<T: Send + 'static>(
        &self,
        look: impl FnOnce(&Record) -> Result<T, Problem> + Send + 'static,
    ) -> Result<T, Problem> {
        let failed = |why: String| {
            Problem::new(StatusCode::INTERNAL_SERVER_ERROR, why, "see the program's log")
        };
        let _turn = self.readers.acquire().await.map_err(|error| failed(error.to_string()))?;
        let path = self.record.clone();
        let looked = tokio::task::spawn_blocking(move || look(&Record::open_for_reading(&path)?));
        looked.await.map_err(|error| failed(error.to_string()))?
    }

    /// The runs that a search finds; none where there is no record yet.
    async fn found(&self, search: Search) -> Result<Vec<Run>, Problem> {
        match self.look(move |record| saved::found(record, &search)).await {
            Err(problem) if problem.status() == StatusCode::NOT_FOUND => Ok(Vec::new()),
            found => found,
        }
    }
}

/// The faces of a number of stations, open until they are dropped.
pub struct Faces {
    house: Arc<House>,
    tasks: JoinSet<()>,
}

impl std::fmt::Debug for Faces {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Faces").field("stations", &self.house.stations).finish_non_exhaustive()
    }
}

impl Faces {
    /// Faces of these stations, with their runs in the record at `record`; nobody can see them yet.
    #[must_use]
    pub fn of(stations: Vec<Served>, record: &Path) -> Self {
        let house = House {
            stations,
            record: record.to_owned(),
            log: Log::new(),
            readers: Semaphore::new(READERS),
        };
        let house = Arc::new(house);
        let mut tasks = JoinSet::new();
        for served in &house.stations {
            tasks.spawn(events::tell(house.clone(), served.clone()));
        }
        Self { house, tasks }
    }

    /// Tells of each end in these ways, from now on.
    pub fn send_notices(&mut self, ways: &Ways) {
        for served in &self.house.stations {
            self.tasks.spawn(notices::tell(served.clone(), ways.clone()));
        }
    }

    /// Opens a Unix socket for commands.
    ///
    /// # Errors
    ///
    /// The system's.
    pub fn open_socket(&mut self, path: PathBuf) -> std::io::Result<()> {
        let socket = listen::Socket::make(path)?;
        let router = lending::routes().with_state(self.house.clone());
        self.tasks.spawn(socket.serve(router.merge(self.router(Gate::Socket))));
        Ok(())
    }

    /// Opens a port; a token is asked for if there are tokens. Gives the address that was bound.
    ///
    /// # Errors
    ///
    /// The system's, such as an address that is in use.
    pub async fn open_port(
        &mut self,
        address: SocketAddr,
        names: Vec<String>,
        tokens: Option<Tokens>,
    ) -> std::io::Result<SocketAddr> {
        let listener = TcpListener::bind(address).await?;
        let bound = listener.local_addr()?;
        let port = bound.port();
        let gate = match tokens {
            None => Gate::Loopback { port },
            Some(tokens) => Gate::Network { port, names, tokens: Arc::new(tokens) },
        };
        self.tasks.spawn(listen::tcp(listener, self.router(gate)));
        Ok(bound)
    }

    fn router(&self, gate: Gate) -> Router {
        let (api, document) = api::routes().split_for_parts();
        let document = Arc::new(document);
        api.route("/api/openapi.json", get(move || async move { Json((*document).clone()) }))
            .merge(view::routes())
            .merge(assets::routes())
            .fallback(|| async {
                Problem::new(StatusCode::NOT_FOUND, "no such page", "begin at /")
            })
            .layer(DefaultBodyLimit::max(LONGEST_BODY))
            .layer(middleware::from_fn_with_state(gate, gate::watch))
            .with_state(self.house.clone())
    }
}
