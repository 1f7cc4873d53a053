//! A headless Chromium that is driven as a person drives it: pages, clicks, keys; conditions are
//! waited for, times are not.
//!
//! Where there is no `chromedriver`, a test says that it is skipped; with `RESTSTROM_BROWSER=required`
//! that is a failure.

use std::future::Future;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use fantoccini::actions::{InputSource, KeyAction, KeyActions};
use fantoccini::key::Key;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use tokio::runtime::Runtime;

/// Longest wait for anything: a loaded machine is slow.
const PATIENCE: Duration = Duration::from_mins(2);
/// Between two looks.
const LOOK: Duration = Duration::from_millis(100);
/// One browser at a time: two cores carry no more beside the bench.
static TURN: Mutex<()> = Mutex::new(());

/// A browser with one window.
pub(crate) struct Browser {
    client: Client,
    runtime: Runtime,
    driver: Child,
    _turn: MutexGuard<'static, ()>,
}

/// How large the window is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Window {
    /// 1280 by 900.
    Desk,
    /// A phone of 360 by 740 that is touched.
    Phone,
}

impl Browser {
    /// Starts one; none where there is none and nobody requires it.
    pub(crate) fn start(window: Window) -> Option<Self> {
        let turn = TURN.lock().unwrap_or_else(PoisonError::into_inner);
        let Some((driver, address)) = driver() else {
            let required = std::env::var_os("RESTSTROM_BROWSER").is_some_and(|is| is == "required");
            assert!(!required, "RESTSTROM_BROWSER=required, but there is no chromedriver");
            eprintln!("skipped: no chromedriver here (Debian packages chromium, chromium-driver)");
            return None;
        };
        let runtime =
            tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        let Value::Object(capabilities) = capabilities(window) else { unreachable!("an object") };
        let client = runtime.block_on(async {
            ClientBuilder::new(HttpConnector::new())
                .capabilities(capabilities)
                .connect(&address)
                .await
                .expect("a session")
        });
        Some(Self { client, runtime, driver, _turn: turn })
    }

    fn wait<T>(&self, work: impl Future<Output = Result<T, fantoccini::error::CmdError>>) -> T {
        self.runtime.block_on(work).expect("the browser does it")
    }

    /// Opens an address.
    pub(crate) fn open(&self, address: &str) {
        self.wait(self.client.goto(address));
    }

    /// What a script gives.
    pub(crate) fn ask(&self, script: &str) -> Value {
        self.wait(self.client.execute(script, Vec::new()))
    }

    /// Waits until an expression holds. A page that is just being left counts as not yet.
    #[track_caller]
    pub(crate) fn until(&self, expression: &str) {
        let script = format!("return Boolean({expression})");
        let start = Instant::now();
        loop {
            let asked = self.runtime.block_on(self.client.execute(&script, Vec::new()));
            if matches!(asked, Ok(Value::Bool(true))) {
                return;
            }
            if PATIENCE < start.elapsed() {
                let page = self.ask("return document.body ? document.body.innerText : ''");
                panic!("not within {PATIENCE:?}: {expression}; {asked:?}; the page says: {page}");
            }
            std::thread::sleep(LOOK);
        }
    }

    /// Waits until the condition of the station is said in these words.
    #[track_caller]
    pub(crate) fn says(&self, words: &str) {
        self.until(&format!(
            "document.querySelector('.condition .says')?.innerText.trim() === {words:?}"
        ));
    }

    /// Clicks, or touches, what a selector finds.
    #[track_caller]
    pub(crate) fn click(&self, selector: &str) {
        self.until(&format!("document.querySelector({selector:?})"));
        let found = self.wait(self.client.find(Locator::Css(selector)));
        self.wait(found.click());
    }

    /// Types into what a selector finds.
    #[track_caller]
    pub(crate) fn write(&self, selector: &str, text: &str) {
        self.until(&format!("document.querySelector({selector:?})"));
        let found = self.wait(self.client.find(Locator::Css(selector)));
        self.wait(found.send_keys(text));
    }

    /// Presses a key.
    pub(crate) fn press(&self, key: char) {
        let keys = KeyActions::new("keyboard".into())
            .then(KeyAction::Down { value: key })
            .then(KeyAction::Up { value: key });
        self.wait(self.client.perform_actions(keys));
    }

    /// Types with the keyboard alone.
    pub(crate) fn strike(&self, text: &str) {
        text.chars().for_each(|letter| self.press(letter));
    }

    /// Goes on with the tabulator until what a selector finds has the focus.
    #[track_caller]
    pub(crate) fn tab_to(&self, selector: &str) {
        let reached = format!("return document.activeElement.matches({selector:?})");
        for _ in 0..60 {
            if self.ask(&reached) == true {
                return;
            }
            self.press(char::from(Key::Tab));
        }
        panic!("the tabulator does not reach {selector}");
    }

    /// Opens a further window and goes there.
    pub(crate) fn further_window(&self) {
        let new = self.wait(self.client.new_window(true));
        self.wait(self.client.switch_to_window(new.handle));
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if let Err(error) = self.runtime.block_on(self.client.clone().close()) {
            eprintln!("the session had ended: {error}");
        }
        if let Err(error) = self.driver.kill().and_then(|()| self.driver.wait()) {
            eprintln!("the driver had ended: {error}");
        }
    }
}

/// A driver and its address; none if there is no such program.
fn driver() -> Option<(Child, String)> {
    let mut driver =
        Command::new("chromedriver").arg("--port=0").stdout(Stdio::piped()).spawn().ok()?;
    let mut lines = BufReader::new(driver.stdout.take().expect("piped")).lines();
    let port = lines.find_map(|line| {
        let line = line.expect("text");
        let (_, port) = line.rsplit_once("successfully on port ")?;
        Some(port.trim_end_matches('.').to_owned())
    });
    // Whatever it says from now on has to go somewhere.
    std::thread::spawn(move || lines.for_each(drop));
    Some((driver, format!("http://127.0.0.1:{}", port.expect("a port"))))
}

fn capabilities(window: Window) -> Value {
    let arguments = [
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--window-size=1280,900",
    ];
    let mut options = json!({ "args": arguments });
    if window == Window::Phone {
        options["mobileEmulation"] = json!({
            "deviceMetrics": { "width": 360, "height": 740, "pixelRatio": 2.0, "touch": true }
        });
    }
    json!({ "goog:chromeOptions": options })
}
