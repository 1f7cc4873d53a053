//! Who may ask for what: host, origin, tokens, and the headers that every answer carries.
//!
//! On loopback nothing has to be known, so a page of somebody else must be kept from asking in the
//! name of the browser that shows it: a name that was rebound to loopback fails at the `Host` header,
//! a post from another page at `Origin`. Elsewhere each request carries a token besides. Reading and
//! acting are two rights. Cutting out takes no more than reading: it is never the wrong thing to do.

use std::net::IpAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::header::{self, HeaderName};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::answer::problem;

/// Everything that a page of ours needs, and nothing from elsewhere.
const POLICY: &str = "default-src 'none'; script-src 'self'; worker-src 'self'; style-src 'self'; \
    img-src 'self' data:; connect-src 'self'; form-action 'self'; base-uri 'none'; \
    frame-ancestors 'none'";

/// The shortest token that is taken.
const SHORTEST_TOKEN: usize = 16;

/// Where requests come in.
#[derive(Debug, Clone)]
pub enum Gate {
    /// The Unix socket, which only this user can open.
    Socket,
    /// Loopback at this port.
    Loopback {
        /// The port.
        port: u16,
    },
    /// Another address: each request needs a token.
    Network {
        /// The port.
        port: u16,
        /// Names by which this machine may be asked, besides its addresses.
        names: Vec<String>,
        /// Who may what.
        tokens: Arc<Tokens>,
    },
}

/// A right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Right {
    /// Look at everything, and cut out.
    Read,
    /// Start runs as well.
    Act,
}

/// The tokens of a token file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tokens(Vec<(Right, String)>);

/// Why a token file can't be used.
#[derive(Debug, thiserror::Error)]
pub enum TokensError {
    /// It can't be read.
    #[error("{}: {source}", path.display())]
    Unread {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// Others may read it.
    #[error("{}: others may read it (mode {mode:o}), expected 600", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// Its mode.
        mode: u32,
    },
    /// A line says something else.
    #[error("{}:{line}: expected `read TOKEN` or `act TOKEN`", path.display())]
    Line {
        /// The file.
        path: PathBuf,
        /// Number of the line.
        line: usize,
    },
    /// A token could be guessed.
    #[error("{}:{line}: the token is shorter than {SHORTEST_TOKEN} characters", path.display())]
    Short {
        /// The file.
        path: PathBuf,
        /// Number of the line.
        line: usize,
    },
    /// There is none.
    #[error("{}: no token in it", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
}

impl TokensError {
    /// What to do next.
    #[must_use]
    pub fn help(&self) -> &'static str {
        match self {
            Self::Unread { .. } => "name a file with lines `read TOKEN` and `act TOKEN`",
            Self::Open { .. } => "chmod 600 it, and choose new tokens if somebody may have read it",
            Self::Line { .. } | Self::Empty { .. } => {
                "write a line for each token: `read` lets look and cut out, `act` lets start as well"
            }
            Self::Short { .. } => "make one with `head -c 24 /dev/urandom | base64`",
        }
    }
}

impl Tokens {
    /// Reads a token file, which nobody else may read.
    ///
    /// # Errors
    ///
    /// [`TokensError`] with file, line and what was expected.
    pub fn load(path: &Path) -> Result<Self, TokensError> {
        use std::os::unix::fs::PermissionsExt;
        let unread = |source| TokensError::Unread { path: path.to_owned(), source };
        let mode = std::fs::metadata(path).map_err(unread)?.permissions().mode() & 0o777;
        if mode & 0o077 != 0 {
            return Err(TokensError::Open { path: path.to_owned(), mode });
        }
        Self::read(path, &std::fs::read_to_string(path).map_err(unread)?)
    }

    fn read(path: &Path, text: &str) -> Result<Self, TokensError> {
        let mut tokens = Vec::new();
        for (number, line) in (1..).zip(text.lines()) {
            let line = line.trim();
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            let (right, token) = match line.split_once(char::is_whitespace) {
                Some(("read", token)) => (Right::Read, token.trim()),
                Some(("act", token)) => (Right::Act, token.trim()),
                _ => return Err(TokensError::Line { path: path.to_owned(), line: number }),
            };
            if token.len() < SHORTEST_TOKEN {
                return Err(TokensError::Short { path: path.to_owned(), line: number });
            }
            tokens.push((right, token.to_owned()));
        }
        if tokens.is_empty() {
            return Err(TokensError::Empty { path: path.to_owned() });
        }
        Ok(Self(tokens))
    }

    /// The highest right of a token. Each one is looked at whole, so that time tells nothing.
    fn right(&self, token: &str) -> Option<Right> {
        self.0.iter().filter(|(_, known)| is_same(known, token)).map(|(right, _)| *right).max()
    }
}

fn is_same(known: &str, token: &str) -> bool {
    let differences = known.bytes().zip(token.bytes()).fold(0, |sum, (a, b)| sum | (a ^ b));
    known.len() == token.len() && differences == 0
}

/// Why a request may not be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Denied {
    Host,
    Origin,
    NoToken,
    NotToAct,
}

/// The middleware: looks at each request before anything else does.
pub(super) async fn watch(State(gate): State<Gate>, request: Request, next: Next) -> Response {
    let denied = gate.denies(request.method(), request.uri().path(), request.headers());
    let mut response = match denied {
        Some(denied) => denied.into_response(),
        None => next.run(request).await,
    };
    add_headers(response.headers_mut());
    response
}

fn add_headers(headers: &mut HeaderMap) {
    let fixed = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "same-origin"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ];
    for (name, value) in fixed {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
}

impl Gate {
    fn denies(&self, method: &Method, path: &str, headers: &HeaderMap) -> Option<Denied> {
        let (port, names, tokens): (u16, &[String], _) = match self {
            Self::Socket => return None,
            Self::Loopback { port } => (*port, &[], None),
            Self::Network { port, names, tokens } => (*port, names, Some(tokens)),
        };
        let host = text(headers, &header::HOST).unwrap_or_default();
        if !is_ours(host, port, names) {
            return Some(Denied::Host);
        }
        let looks = matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS);
        if !looks && !is_from_us(headers, host) {
            return Some(Denied::Origin);
        }
        let tokens = tokens?;
        let Some(right) = token(headers).and_then(|token| tokens.right(&token)) else {
            return Some(Denied::NoToken);
        };
        let needed = if looks || path.ends_with("/stop") || path.ends_with("/plan") {
            Right::Read
        } else {
            Right::Act
        };
        (right < needed).then_some(Denied::NotToAct)
    }
}

/// An address can't be rebound, `localhost` and what the person named is ours.
fn is_ours(host: &str, port: u16, names: &[String]) -> bool {
    let (name, asked) = match host.rsplit_once(':') {
        Some((name, digits)) if !digits.contains(']') => (name, digits.parse().ok()),
        _ => (host, Some(80)),
    };
    let bare = name.trim_start_matches('[').trim_end_matches(']');
    let known = bare.parse::<IpAddr>().is_ok()
        || name.eq_ignore_ascii_case("localhost")
        || names.iter().any(|known| known.eq_ignore_ascii_case(name));
    known && asked == Some(port)
}

/// A browser says where a post comes from; a program that says nothing is no browser.
fn is_from_us(headers: &HeaderMap, host: &str) -> bool {
    let site = headers.get("sec-fetch-site").and_then(|site| site.to_str().ok());
    let from_site = matches!(site, None | Some("same-origin" | "none"));
    let origin = match headers.get(header::ORIGIN).map(HeaderValue::to_str) {
        None => true,
        Some(Ok(origin)) => origin.strip_prefix("http://").is_some_and(|from| from == host),
        Some(Err(_)) => false,
    };
    from_site && origin
}

fn text<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    headers.get(name)?.to_str().ok()
}

/// The token of a request: a bearer's, or the password that a browser asked its user for.
fn token(headers: &HeaderMap) -> Option<String> {
    let authorization = text(headers, &header::AUTHORIZATION)?;
    let (scheme, value) = authorization.split_once(' ')?;
    match scheme.to_ascii_lowercase().as_str() {
        "bearer" => Some(value.trim().to_owned()),
        "basic" => {
            use base64::Engine;
            let bytes = base64::engine::general_purpose::STANDARD.decode(value.trim()).ok()?;
            let pair = String::from_utf8(bytes).ok()?;
            pair.split_once(':').map(|(_user, password)| password.to_owned())
        }
        _ => None,
    }
}

impl IntoResponse for Denied {
    fn into_response(self) -> Response {
        let (status, message, help) = match self {
            Self::Host => (
                StatusCode::MISDIRECTED_REQUEST,
                "the request names a host that this is not",
                "use the address that `reststrom serve` prints, or name the host with --host",
            ),
            Self::Origin => (
                StatusCode::FORBIDDEN,
                "the request comes from another page",
                "act from the page of `reststrom serve` itself",
            ),
            Self::NoToken => (
                StatusCode::UNAUTHORIZED,
                "a token is needed here",
                "give it as a bearer token, or as the password when the browser asks",
            ),
            Self::NotToAct => (
                StatusCode::FORBIDDEN,
                "this token lets look and cut out, not start",
                "use one of the token file's `act` lines",
            ),
        };
        let mut response = problem(status, "gate", message, help);
        if self == Self::NoToken {
            let ask = HeaderValue::from_static("Basic realm=\"reststrom\", charset=\"UTF-8\"");
            response.headers_mut().insert(header::WWW_AUTHENTICATE, ask);
        }
        response
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        let pair = |(name, value): &(&'static str, &str)| {
            (HeaderName::from_static(name), HeaderValue::from_str(value).unwrap())
        };
        pairs.iter().map(pair).collect()
    }

    fn network() -> Gate {
        let text = "# who may what\nread look-only-0123456789\nact may-start-0123456789\n";
        let tokens = Tokens::read(Path::new("tokens"), text).unwrap();
        Gate::Network { port: 7377, names: vec!["bench.lan".into()], tokens: Arc::new(tokens) }
    }

    #[rstest]
    #[case::an_address("127.0.0.1:7377", true)]
    #[case::by_name("localhost:7377", true)]
    #[case::in_brackets("[::1]:7377", true)]
    #[case::a_name_that_was_rebound("harbour.example:7377", false)]
    #[case::another_port("127.0.0.1:80", false)]
    #[case::no_port("127.0.0.1", false)]
    #[case::nothing("", false)]
    #[case::a_longer_name("localhost.harbour.example:7377", false)]
    fn a_host_that_is_not_ours_is_denied(#[case] host: &str, #[case] let_in: bool) {
        let gate = Gate::Loopback { port: 7377 };
        let denied = gate.denies(&Method::GET, "/", &headers(&[("host", host)]));
        assert_eq!(denied, (!let_in).then_some(Denied::Host));
    }

    #[rstest]
    #[case::a_program(&[], true)]
    #[case::our_page(&[("origin", "http://localhost:7377")], true)]
    #[case::another_page(&[("origin", "http://harbour.example")], false)]
    #[case::another_port(&[("origin", "http://localhost:8000")], false)]
    #[case::a_page_without_origin(&[("origin", "null")], false)]
    #[case::another_site(&[("sec-fetch-site", "cross-site")], false)]
    #[case::a_neighbour(&[("sec-fetch-site", "same-site")], false)]
    fn a_post_from_another_page_is_denied(
        #[case] more: &[(&'static str, &str)],
        #[case] let_in: bool,
        #[values("/api/stations/bench/stop", "/api/stations/bench/runs", "/stations/bench/plan")]
        path: &str,
    ) {
        let gate = Gate::Loopback { port: 7377 };
        let all = [&[("host", "localhost:7377")], more].concat();
        let denied = gate.denies(&Method::POST, path, &headers(&all));
        assert_eq!(denied, (!let_in).then_some(Denied::Origin));
    }

    // "any:look-only-0123456789" in base64.
    #[rstest]
    #[case::nothing(None, [Some(Denied::NoToken); 3])]
    #[case::wrong(Some("Bearer may-start-0123456780"), [Some(Denied::NoToken); 3])]
    #[case::a_part_of_it(Some("Bearer may-start"), [Some(Denied::NoToken); 3])]
    #[case::to_look(Some("Bearer look-only-0123456789"), [None, None, Some(Denied::NotToAct)])]
    #[case::by_password(
        Some("Basic YW55Omxvb2stb25seS0wMTIzNDU2Nzg5"),
        [None, None, Some(Denied::NotToAct)]
    )]
    #[case::to_act(Some("Bearer may-start-0123456789"), [None, None, None])]
    fn reading_and_acting_are_two_rights(
        #[case] authorization: Option<&str>,
        #[case] denied: [Option<Denied>; 3],
    ) {
        let mut all = vec![("host", "bench.lan:7377")];
        all.extend(authorization.map(|value| ("authorization", value)));
        let asks = [
            (Method::GET, "/runs"),
            (Method::POST, "/api/stations/bench/stop"),
            (Method::POST, "/api/stations/bench/runs"),
        ];
        let found = asks.map(|(method, path)| network().denies(&method, path, &headers(&all)));
        assert_eq!(found, denied);
    }

    #[rstest]
    #[case::a_word("watch 0123456789abcdef", "tokens:1: expected `read TOKEN` or `act TOKEN`")]
    #[case::short("\nact 0123", "tokens:2: the token is shorter than 16 characters")]
    #[case::nothing("# none\n", "tokens: no token in it")]
    fn a_token_file_that_says_something_else_is_refused(#[case] text: &str, #[case] says: &str) {
        let error = Tokens::read(Path::new("tokens"), text).unwrap_err();
        assert_eq!(error.to_string(), says);
    }

    #[test]
    fn a_token_file_that_others_may_read_is_refused() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tokens");
        std::fs::write(&path, "act 0123456789abcdef\n").unwrap();
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o640)).unwrap();
        assert!(matches!(Tokens::load(&path), Err(TokensError::Open { mode: 0o640, .. })));
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600)).unwrap();
        assert!(Tokens::load(&path).is_ok());
    }
}
