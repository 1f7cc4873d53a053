//! Sockets: each connection is served by a task of its own, and none waits for another.

use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use axum::Router;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, UnixListener};

/// A request's head has to be there by then; so long may an unused connection stay open.
const HEAD: Duration = Duration::from_secs(30);
/// What was sent has to be taken by then, else the connection is dropped: a client that hangs keeps
/// nothing for ever.
const UNREAD: u32 = 60_000; // ms
/// After a failure to accept, such as too many open files.
const PAUSE: Duration = Duration::from_millis(100);

/// Serves a TCP port.
pub(super) async fn tcp(listener: TcpListener, router: Router) {
    loop {
        match listener.accept().await {
            Ok((stream, _)) => {
                let set = stream.set_nodelay(true).and_then(|()| {
                    Ok(rustix::net::sockopt::set_tcp_user_timeout(&stream, UNREAD)?)
                });
                if let Err(error) = set {
                    tracing::debug!(%error, "a connection without its timeouts");
                }
                tokio::spawn(connection(stream, router.clone()));
            }
            Err(error) => after_failure(&error).await,
        }
    }
}

/// A Unix socket that only its user can open, gone when this is dropped.
pub(super) struct Socket {
    listener: UnixListener,
    path: PathBuf,
}

impl Socket {
    /// Makes it; one that is there is dead, since the caller has the station.
    pub(super) fn make(path: PathBuf) -> io::Result<Self> {
        use std::os::unix::fs::PermissionsExt;
        if path.exists() {
            std::fs::remove_file(&path)?;
        }
        let listener = UnixListener::bind(&path)?;
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600))?;
        Ok(Self { listener, path })
    }

    pub(super) async fn serve(self, router: Router) {
        loop {
            match self.listener.accept().await {
                Ok((stream, _)) => {
                    tokio::spawn(connection(stream, router.clone()));
                }
                Err(error) => after_failure(&error).await,
            }
        }
    }
}

impl Drop for Socket {
    fn drop(&mut self) {
        remove(&self.path);
    }
}

fn remove(path: &Path) {
    if let Err(error) = std::fs::remove_file(path) {
        tracing::debug!(path = %path.display(), %error, "socket not removed");
    }
}

async fn after_failure(error: &io::Error) {
    tracing::warn!(%error, "a connection could not be accepted");
    tokio::time::sleep(PAUSE).await;
}

async fn connection(stream: impl AsyncRead + AsyncWrite + Unpin + Send + 'static, router: Router) {
    let service = TowerToHyperService::new(router);
    let served = hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .serve_connection(TokioIo::new(stream), service)
        .await;
    if let Err(error) = served {
        tracing::debug!(%error, "a client went away");
    }
}
