//! Word to a person who is elsewhere: when a run has ended, and how.
//!
//! By a notification on the desktop, or by a command of the user's in its place; and to a web address
//! if one is named. A notice is sent from a task of its own: one that hangs holds up nothing.

use std::process::Stdio;
use std::time::Duration;

use serde::Serialize;
use tokio::io::AsyncWriteExt;
use tokio::process::Command;
use utoipa::ToSchema;

use crate::daemon::served::Served;
use crate::daemon::{Last, Standing};
use crate::judge::{Left, Verdict};
use crate::words::words;

/// A command or an address that has not taken a notice by then does not get it.
const PATIENCE: Duration = Duration::from_secs(20);

words! {
    /// What a notice is about.
    Notice {
        /// A run has ended, and the part is not over its limit.
        Finished = "finished",
        /// The part is over its limit.
        Over = "over",
        /// The run was cut out before anything could be said of the part.
        CutOut = "cut-out",
        /// The station is locked out.
        LockedOut = "locked-out",
    }
}

/// Where notices go.
#[derive(Debug, Clone, Default)]
pub struct Ways {
    /// A command for the shell, in place of a notification on the desktop: it has the notice as JSON
    /// on its standard input, and its words in `RESTSTROM_NOTICE` and `RESTSTROM_SAYS`.
    pub command: Option<String>,
    /// An address that is sent the notice as JSON.
    pub webhook: Option<String>,
}

/// A notice.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct NoticeObject {
    /// `finished`, `over`, `cut-out` or `locked-out`.
    pub notice: &'static str,
    /// The station.
    pub station: String,
    /// The run, if the notice is about one.
    pub run: Option<String>,
    /// The part in words.
    pub part: Option<String>,
    /// `within`, `over`, `undecided` or `untested`.
    pub verdict: Option<&'static str>,
    /// Why, the reason first.
    pub findings: Vec<&'static str>,
    /// A sentence for a person.
    pub says: String,
}

/// Looks at a station and tells of each end.
pub(super) async fn tell(served: Served, ways: Ways) {
    let mut standing = served.standing();
    let mut before = standing.borrow_and_update().clone();
    while standing.changed().await.is_ok() {
        let now = standing.borrow_and_update().clone();
        if let Some(notice) = news(&served.station().name, &before, &now) {
            tokio::spawn(send(notice, ways.clone()));
        }
        before = now;
    }
}

/// What there is to tell between two standings.
fn news(station: &str, before: &Standing, now: &Standing) -> Option<NoticeObject> {
    let ended = |standing: &Standing| {
        standing.last.clone().filter(|last| last.verdict.is_some()).map(|last| last.run)
    };
    if ended(before) != ended(now) {
        return now.last.as_ref().map(|last| about(station, last));
    }
    let locked = now.locked_out.as_ref().filter(|_| before.locked_out.is_none())?;
    Some(NoticeObject {
        notice: Notice::LockedOut.tag(),
        station: station.to_owned(),
        run: None,
        part: None,
        verdict: None,
        findings: Vec::new(),
        says: format!("{station}: LOCKED OUT, do not touch: {locked}"),
    })
}

fn about(station: &str, last: &Last) -> NoticeObject {
    let verdict = last.verdict.map_or("no verdict", Verdict::tag);
    let notice = match (last.left, last.verdict) {
        (Some(Left::LockedOut), _) => Notice::LockedOut,
        (_, Some(Verdict::Over)) => Notice::Over,
        (_, Some(Verdict::Untested)) => Notice::CutOut,
        (_, Some(Verdict::Within | Verdict::Undecided) | None) => Notice::Finished,
    };
    let findings: Vec<&'static str> = last.findings.iter().map(|finding| finding.tag()).collect();
    let left = match last.left {
        Some(Left::Safe) => "may be unclipped",
        Some(Left::LockedOut) => "LOCKED OUT, do not touch",
        None => "nobody saw it empty, do not touch",
    };
    let says = format!("{station}: {} is {verdict} ({}); {left}", last.part, findings.join(", "));
    NoticeObject {
        notice: notice.tag(),
        station: station.to_owned(),
        run: Some(last.run.to_string()),
        part: Some(last.part.clone()),
        verdict: last.verdict.map(Verdict::tag),
        findings,
        says,
    }
}

async fn send(notice: NoticeObject, ways: Ways) {
    let json = serde_json::to_string(&notice).unwrap_or_default();
    if let Some(address) = ways.webhook {
        tokio::spawn(post(address, json.clone()));
    }
    let sent = match &ways.command {
        Some(command) => {
            let mut shell = Command::new("sh");
            shell
                .args(["-c", command])
                .env("RESTSTROM_NOTICE", notice.notice)
                .env("RESTSTROM_SAYS", &notice.says);
            run(shell, &json).await
        }
        None if has_desktop() => run(notification(&notice), "").await,
        None => Ok(()),
    };
    if let Err(error) = sent {
        tracing::warn!(%error, notice.notice, "a notice was not taken");
    }
}

fn has_desktop() -> bool {
    ["DISPLAY", "WAYLAND_DISPLAY"].iter().any(|name| std::env::var_os(name).is_some())
}

fn notification(notice: &NoticeObject) -> Command {
    let grave = notice.notice == Notice::LockedOut.tag();
    let mut command = Command::new("notify-send");
    command.args([
        "--app-name=reststrom",
        if grave { "--urgency=critical" } else { "--urgency=normal" },
    ]);
    command.args(["--", &format!("reststrom: {}", notice.notice), &notice.says]);
    command
}

/// Runs a command to its end, for so long; one that is not there is no fault.
async fn run(mut command: Command, input: &str) -> std::io::Result<()> {
    command.stdin(Stdio::piped()).stdout(Stdio::null()).kill_on_drop(true);
    let mut child = match command.spawn() {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            tracing::debug!(%error, "no such command");
            return Ok(());
        }
        started => started?,
    };
    let work = async {
        if let Some(mut stdin) = child.stdin.take() {
            // A command that does not read is as good.
            if let Err(error) = stdin.write_all(input.as_bytes()).await {
                tracing::debug!(%error, "the notice's command does not read");
            }
        }
        child.wait().await
    };
    let status = tokio::time::timeout(PATIENCE, work).await??;
    if status.success() { Ok(()) } else { Err(std::io::Error::other(status.to_string())) }
}

async fn post(address: String, json: String) {
    let posted = tokio::task::spawn_blocking(move || {
        let agent: ureq::Agent =
            ureq::Agent::config_builder().timeout_global(Some(PATIENCE)).build().into();
        agent.post(&address).header("content-type", "application/json").send(json).map(|_| ())
    });
    match posted.await {
        Ok(Ok(())) => {}
        Ok(Err(error)) => tracing::warn!(%error, "the webhook did not take a notice"),
        Err(error) => tracing::warn!(%error, "the webhook did not take a notice"),
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::daemon::Doing;
    use crate::judge::Finding;

    fn standing(last: Option<Last>, locked_out: Option<&str>) -> Standing {
        let locked_out = locked_out.map(str::to_owned);
        Standing { doing: Doing::Idle, going: None, last, locked_out, trouble: None }
    }

    fn last(run: i64, verdict: Option<Verdict>, left: Left) -> Last {
        Last {
            run: format!("r{run}").parse().unwrap(),
            part: "C14 22 µF 25 V ta-mno2".into(),
            verdict,
            findings: vec![Finding::Settled],
            left: verdict.map(|_| left),
        }
    }

    #[rstest]
    #[case::good(Verdict::Within, Left::Safe, "finished")]
    #[case::open(Verdict::Undecided, Left::Safe, "finished")]
    #[case::bad(Verdict::Over, Left::Safe, "over")]
    #[case::cut_out(Verdict::Untested, Left::Safe, "cut-out")]
    #[case::not_empty(Verdict::Over, Left::LockedOut, "locked-out")]
    fn each_end_is_told_by_its_word(
        #[case] verdict: Verdict,
        #[case] left: Left,
        #[case] word: &str,
    ) {
        let before = standing(Some(last(1, Some(Verdict::Within), Left::Safe)), None);
        let now = standing(Some(last(2, Some(verdict), left)), None);
        assert_eq!(news("bench", &before, &now).map(|notice| notice.notice), Some(word));
        assert_eq!(news("bench", &now, &now), None, "it is told once");
    }

    #[test]
    fn a_notice_says_all_in_one_sentence() {
        let now = standing(Some(last(2, Some(Verdict::Over), Left::Safe)), None);
        let notice = news("bench", &standing(None, None), &now).unwrap();
        insta::assert_snapshot!(notice.says, @"bench: C14 22 µF 25 V ta-mno2 is over (settled); may be unclipped");
    }

    #[test]
    fn a_run_that_has_only_begun_is_no_news() {
        let now = standing(Some(last(2, None, Left::Safe)), None);
        assert_eq!(news("bench", &standing(None, None), &now), None);
    }

    #[test]
    fn a_lock_out_without_a_run_is_told_as_well() {
        let now = standing(None, Some("the bench could not be made safe"));
        let notice = news("bench", &standing(None, None), &now).unwrap();
        assert_eq!(notice.notice, "locked-out");
        assert!(notice.says.contains("LOCKED OUT, do not touch"), "{}", notice.says);
    }

    #[tokio::test]
    async fn a_command_gets_the_notice_in_its_environment_and_as_json() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("told");
        let command = format!("echo \"$RESTSTROM_NOTICE\" > {0}; cat >> {0}", file.display());
        let notice = about("bench", &last(2, Some(Verdict::Over), Left::Safe));
        send(notice, Ways { command: Some(command), webhook: None }).await;
        let told = std::fs::read_to_string(&file).unwrap();
        assert!(told.starts_with("over\n{\"notice\":\"over\",\"station\":\"bench\""), "{told}");
    }
}
