//! The socket by which another command stops a run: one word in, one line out.
//!
//! It lies in the user's runtime folder with mode 0600. A stop goes straight into the actor's
//! queue of wishes, which the actor looks at before anything else.

use std::io;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::{UnixListener, UnixStream};

use super::Stop;
use crate::station::runtime_folder;

/// Longest word that is read.
const LONGEST_WORD: u64 = 64;

/// A socket that is served until it is dropped.
#[derive(Debug)]
pub struct Control {
    path: PathBuf,
    task: tokio::task::JoinHandle<()>,
}

/// Where a station's socket lies.
///
/// # Errors
///
/// The system's, if the runtime folder can't be made.
pub fn socket_path(station: &str) -> io::Result<PathBuf> {
    let name: String =
        station.chars().map(|letter| if letter.is_alphanumeric() { letter } else { '-' }).collect();
    Ok(runtime_folder()?.join(format!("{name}.sock")))
}

/// Where a program that serves a station takes requests of commands, as HTTP.
///
/// # Errors
///
/// The system's, if the runtime folder can't be made.
pub fn http_socket_path(station: &str) -> io::Result<PathBuf> {
    Ok(socket_path(station)?.with_extension("http"))
}

impl Control {
    /// Serves a station's socket; the caller owns the station's ports, so an old socket is dead.
    /// `stop` passes a wish to stop on and says whether there is a run.
    ///
    /// # Errors
    ///
    /// The system's, if the socket can't be made.
    pub fn serve(
        station: &str,
        stop: impl Fn(Stop) -> bool + Clone + Send + Sync + 'static,
    ) -> io::Result<Self> {
        let path = socket_path(station)?;
        if path.exists() {
            std::fs::remove_file(&path)?;
        }
        let listener = UnixListener::bind(&path)?;
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600))?;
        let task = tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                tokio::spawn(answer(stream, stop.clone()));
            }
        });
        Ok(Self { path, task })
    }
}

impl Drop for Control {
    fn drop(&mut self) {
        self.task.abort();
        if let Err(error) = std::fs::remove_file(&self.path) {
            tracing::debug!(path = %self.path.display(), %error, "socket not removed");
        }
    }
}

async fn answer(stream: UnixStream, stop: impl Fn(Stop) -> bool) {
    if let Err(error) = talk(stream, stop).await {
        tracing::debug!(%error, "a client of the control socket went away");
    }
}

async fn talk(stream: UnixStream, stop: impl Fn(Stop) -> bool) -> io::Result<()> {
    let (reader, mut writer) = stream.into_split();
    let mut word = String::new();
    let mut reader = BufReader::new(tokio::io::AsyncReadExt::take(reader, LONGEST_WORD));
    reader.read_line(&mut word).await?;
    let reply: &[u8] = match word.trim() {
        "stop" if stop(Stop("stopped by `reststrom stop`".into())) => b"stopping\n",
        "stop" => b"no run\n",
        _ => b"expected stop\n",
    };
    writer.write_all(reply).await
}

/// Asks whoever serves the socket at `path` to stop; gives its answer.
///
/// # Errors
///
/// The system's: nobody serves it.
pub fn ask_to_stop(path: &Path) -> io::Result<String> {
    use std::io::{Read, Write};
    let mut stream = std::os::unix::net::UnixStream::connect(path)?;
    stream.write_all(b"stop\n")?;
    let mut reply = String::new();
    stream.read_to_string(&mut reply)?;
    Ok(reply.trim().to_owned())
}

/// The sockets of this user's stations.
///
/// # Errors
///
/// The system's, if the runtime folder can't be read.
pub fn sockets() -> io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(runtime_folder()?)? {
        let path = entry?.path();
        if path.extension().is_some_and(|ending| ending == "sock") {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_stop_comes_through_and_other_words_do_not() {
        let station = format!("test-{}", std::process::id());
        let (sender, mut stops) = tokio::sync::mpsc::unbounded_channel();
        let stop = move |stop| sender.send(stop).is_ok();
        let control = Control::serve(&station, stop).unwrap();
        let path = socket_path(&station).unwrap();
        let mode = std::fs::metadata(&path).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        let ask = path.clone();
        let reply = tokio::task::spawn_blocking(move || ask_to_stop(&ask)).await.unwrap().unwrap();
        assert_eq!(reply, "stopping");
        assert!(stops.recv().await.is_some());
        assert!(sockets().unwrap().contains(&path));
        drop(control);
        assert!(!path.exists());
    }
}
