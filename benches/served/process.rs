//! The program that serves, in a folder of its own, and what the system says of it.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

use super::Result;
use super::wired::station_file;

/// The running program.
pub(crate) struct Served {
    child: Child,
    /// Its address.
    pub(crate) base: String,
    _folder: tempfile::TempDir,
}

impl Served {
    pub(crate) fn start(supply: &str, meter: &str) -> Result<Self> {
        let folder = tempfile::tempdir()?;
        let station = folder.path().join("station.toml");
        std::fs::write(&station, station_file("terne-bench", 1.0, supply, meter))?;
        let mut child = Command::new(env!("CARGO_BIN_EXE_reststrom"))
            .args(["serve", "--port", "0", "--station"])
            .arg(&station)
            .env("XDG_RUNTIME_DIR", folder.path())
            .env("XDG_DATA_HOME", folder.path())
            .stdout(Stdio::piped())
            .spawn()?;
        let stdout = child.stdout.take().ok_or("a pipe")?;
        let mut line = String::new();
        BufReader::new(stdout).read_line(&mut line)?;
        let base = line.trim().trim_end_matches('/').rsplit(' ').next().unwrap_or_default();
        Ok(Self { child, base: base.to_owned(), _folder: folder })
    }

    /// User and system time that it has spent.
    pub(crate) fn cpu_seconds(&self) -> Result<f64> {
        let stat = std::fs::read_to_string(format!("/proc/{}/stat", self.child.id()))?;
        let after = stat.rsplit(") ").next().ok_or("a line of numbers")?;
        let ticks: Vec<f64> = after
            .split(' ')
            .skip(11)
            .take(2)
            .map(str::parse)
            .collect::<std::result::Result<_, _>>()?;
        // Linux counts them in hundredths of a second on every machine.
        Ok(ticks.iter().sum::<f64>() / 100.0)
    }

    /// Resident memory.
    pub(crate) fn resident_mb(&self) -> Result<f64> {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id()))?;
        let line = status.lines().find(|line| line.starts_with("VmRSS:")).ok_or("VmRSS")?;
        let kibibytes: f64 = line.split_whitespace().nth(1).ok_or("a number")?.parse()?;
        Ok(kibibytes * 1024.0 / 1e6)
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // The run was stopped and is being made safe; its keeper would do that as well.
        if let Err(error) = self.child.kill().and_then(|()| self.child.wait()) {
            eprintln!("it had ended: {error}");
        }
    }
}
