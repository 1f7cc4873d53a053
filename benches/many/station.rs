//! One station's run, as the daemon carries it out.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use reststrom::daemon::{Line, OpenStation, Progress};
use reststrom::judge::{Left, Verdict};
use reststrom::part::Part;
use reststrom::plan::{Phase, Wish, draw_up};
use reststrom::quantity::seconds;
use reststrom::record::Record;
use reststrom::station::wiring;
use tokio::sync::{mpsc, watch};

use super::wired::{new_run, station_file};
use super::{LAPSE, Result};

/// A soak at station `number`, which sets `soaking` while it soaks and is to be cut out there.
pub(crate) fn soak(
    number: usize,
    supply: &str,
    meter: &str,
    record: PathBuf,
    soaking: Arc<AtomicBool>,
) -> Result<impl Future<Output = Result<()>> + Send + 'static> {
    let text = station_file(&format!("benchmark-{number}"), LAPSE, supply, meter);
    let station = wiring::read(Path::new("benchmark"), &text)?;
    let part = Part::read("22µF 25V tantalum")?;
    let limit = part.default_limit()?;
    let wish = Wish { soak: Some(seconds(300.0)), ..Wish::of(part, limit) };
    let drawn = draw_up(&wish, &station.bench).map_err(|refused| format!("{refused:?}"))?;
    let plan = Arc::new(drawn.plan);
    Ok(async move {
        let keeper = Path::new(env!("CARGO_BIN_EXE_reststrom"));
        let mut open = OpenStation::open(&station, keeper).await?;
        let (progress, watched) = watch::channel(Progress::default());
        let (_wishes, mut stops) = mpsc::unbounded_channel();
        let aimed = tokio::spawn(aim(watched, soaking));
        let begun = new_run(&station, &plan);
        let line = Line { progress: &progress, stops: &mut stops };
        let finished = open.run(Record::open(&record)?, begun, plan, line).await?;
        drop(progress);
        aimed.await?;
        open.close().await?;
        let outcome = finished.outcome;
        // One reading alone condemns no part that then gives its charge back; it cuts out all the same.
        if outcome.ruling.verdict == Verdict::Within || outcome.left != Left::Safe {
            let notes = finished.notes;
            return Err(format!("station {number}: {:?} {notes:?}", outcome.ruling).into());
        }
        Ok(())
    })
}

async fn aim(mut watched: watch::Receiver<Progress>, soaking: Arc<AtomicBool>) {
    while watched.changed().await.is_ok() {
        let phase = watched.borrow_and_update().phase;
        soaking.store(phase == Phase::Soak, Ordering::Release);
    }
}
