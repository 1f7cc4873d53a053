//! Why a port can't be used, in words that name it and say what to do.

use std::io;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// Why a port can't be used.
#[derive(Debug, thiserror::Error)]
pub enum LinkError {
    /// There is no such device.
    #[error("{port}: there is no such port")]
    NotThere {
        /// The port.
        port: String,
    },
    /// No right to open it.
    #[error("{port}: no permission to open it: it belongs to group {group}")]
    NoRight {
        /// The port.
        port: String,
        /// Its owning group.
        group: String,
    },
    /// Another program owns it.
    #[error("{port}: another program owns this port")]
    Owned {
        /// The port.
        port: String,
    },
    /// Anything else that the system says.
    #[error("{port}: can't be opened: {source}")]
    Unusable {
        /// The port.
        port: String,
        /// The system's reason.
        source: io::Error,
    },
}

impl LinkError {
    /// What to do next.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::NotThere { .. } => {
                "plug the instrument in, or correct the port in the station file; \
                 /dev/serial/by-id has names that stay"
                    .into()
            }
            Self::NoRight { group, .. } => {
                format!("sudo usermod -aG {group} \"$USER\", then log out and in again")
            }
            Self::Owned { .. } => {
                "end the other program; after a crash the keeper frees the port once the part is \
                 discharged"
                    .into()
            }
            Self::Unusable { .. } => {
                "check cable, power and the line settings of the driver".into()
            }
        }
    }
}

pub(super) fn explain_serial(port: &str, error: tokio_serial::Error) -> LinkError {
    match error.kind {
        // The device is there, since our own handle is open: somebody else has locked it.
        tokio_serial::ErrorKind::NoDevice => LinkError::Owned { port: port.to_owned() },
        tokio_serial::ErrorKind::InvalidInput
        | tokio_serial::ErrorKind::Unknown
        | tokio_serial::ErrorKind::Io(_) => explain(port, error.into()),
    }
}

pub(super) fn explain(port: &str, error: io::Error) -> LinkError {
    let port = port.to_owned();
    if error.kind() == io::ErrorKind::NotFound {
        return LinkError::NotThere { port };
    }
    if error.kind() == io::ErrorKind::PermissionDenied {
        let group = group_of(Path::new(&port));
        return LinkError::NoRight { port, group };
    }
    if error.raw_os_error() == Some(rustix::io::Errno::BUSY.raw_os_error()) {
        return LinkError::Owned { port };
    }
    LinkError::Unusable { port, source: error }
}

/// Name of the group that owns a file, or its number.
fn group_of(path: &Path) -> String {
    let Ok(meta) = std::fs::metadata(path) else { return "of its folder".into() };
    let gid = meta.gid().to_string();
    let groups = std::fs::read_to_string("/etc/group").unwrap_or_default();
    group_name(&groups, &gid).unwrap_or(gid)
}

/// The name of group number `gid` in the text of `/etc/group`.
fn group_name(groups: &str, gid: &str) -> Option<String> {
    groups.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)? == gid).then(|| name.to_owned())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_group_of_a_port_has_a_name() {
        let groups = "root:x:0:\ndialout:x:20:anna\n";
        assert_eq!(group_name(groups, "20"), Some("dialout".into()));
        assert_eq!(group_name(groups, "21"), None);
    }
}
