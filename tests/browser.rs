//! The page in a real browser: a soak is started, watched, cut out and found again.

mod chromium;
mod rig;
mod web;

use chromium::{Browser, Window};
use rig::{Rig, STATION};
use serde_json::json;
use web::Web;

/// Of all that a page fetches, in bytes.
const MOST_BYTES: u64 = 150_000;

/// A browser, a served bench with C14 in its clip, and the page of it; none without a browser.
fn bench(lapse: f64, window: Window) -> Option<(Browser, Rig, Web)> {
    let browser = Browser::start(window)?;
    let rig = Rig::holding(lapse, "C14");
    let web = Web::of(&rig);
    Some((browser, rig, web))
}

/// From the page of the station to a run that goes on.
fn start(browser: &Browser, web: &Web) {
    browser.open(&web.base);
    browser.says("IDLE");
    browser.write("input[name=part]", "C14 22uF 25V tantalum");
    browser.click("details summary");
    browser.write("input[name=soak]", "10h");
    browser.click("section.begin form button");
    browser.until("document.querySelector('.cautions li')");
    browser.click("input[name=cautions_read]");
    browser.click("button.go");
    browser.says("ENERGISED");
}

fn cut_out(browser: &Browser, rig: &Rig) {
    browser.click("#cut-out");
    browser.says("MAY BE UNCLIPPED");
    rig.is_left_safe();
}

#[test]
fn a_soak_is_started_watched_cut_out_and_seen_again() {
    let Some((browser, rig, web)) = bench(25.0, Window::Desk) else { return };
    start(&browser, &web);
    let points = "Number(document.querySelector('[data-chart=live]').dataset.points)";
    browser.until(&format!("5 < {points}"));
    let before = browser.ask(&format!("return {points}")).as_u64().unwrap();
    browser.until(&format!("{before} + 10 < {points}"));
    browser.until("document.querySelector('[data-chart=live] canvas').width > 300");
    browser.until("document.title.startsWith('ENERGISED')");
    browser.until("document.querySelector('[data-field=phase]').innerText === 'soak'");
    cut_out(&browser, &rig);
    browser.until("document.title.startsWith('MAY BE UNCLIPPED')");
    browser.click("section.last a");
    browser.until("document.querySelector('.verdict').innerText.includes('untested')");
    browser.until("document.querySelector('img.plot').naturalWidth > 300");
    browser.until("document.querySelectorAll('.downloads a[download]').length === 7");
}

#[test]
fn a_page_is_light_and_fetches_nothing_from_elsewhere() {
    let Some((browser, _rig, web)) = bench(25.0, Window::Desk) else { return };
    browser.open(&web.base);
    browser.says("IDLE");
    browser.until("performance.getEntriesByName('first-contentful-paint').length");
    let entries = "[...performance.getEntriesByType('navigation'), \
        ...performance.getEntriesByType('resource')]";
    let bytes = browser
        .ask(&format!("return {entries}.reduce((sum, entry) => sum + entry.decodedBodySize, 0)"));
    assert!(bytes.as_u64().is_some_and(|bytes| bytes < MOST_BYTES), "{bytes} bytes");
    let elsewhere = browser.ask(&format!(
        "return {entries}.map((entry) => entry.name).filter((name) => !name.startsWith(location.origin))"
    ));
    assert_eq!(elsewhere, json!([]));
    let painted =
        browser.ask("return performance.getEntriesByName('first-contentful-paint')[0].startTime");
    println!("first contentful paint after {painted} ms, {bytes} bytes in all");
}

#[test]
fn saved_curves_are_laid_over_each_other() {
    let Some((browser, rig, web)) = bench(25.0, Window::Desk) else { return };
    for (clip, token) in [("C14", "overlay-one"), ("C15", "overlay-two")] {
        rig.bench.clip_in(&rig::part(clip));
        let asked =
            json!({ "part": format!("{clip} 22uF 25V tantalum"), "limit": "0.01CU @ 1min" });
        assert_eq!(web.start(&asked, token).status, 201);
        web.ends();
    }
    browser.open(&format!("{}/runs", web.base));
    browser.write("input[name=words]", "tantalum-that-is-not-there");
    browser.click(".search button");
    browser.until("document.body.innerText.includes('No runs on record')");
    browser.open(&format!("{}/runs?words=C1", web.base));
    browser.click("input[value=r1]");
    browser.click("input[value=r2]");
    browser.click("main form[action='/overlay'] button");
    browser.until("document.querySelector('[data-chart=overlay]')?.dataset.curves === '2'");
    browser.until("document.querySelector('.u-legend').innerText.includes('C15')");
}

#[test]
fn a_phone_shows_it_all_without_scrolling_sideways_and_cuts_out_at_a_touch() {
    let Some((browser, rig, web)) = bench(25.0, Window::Phone) else { return };
    let fits = "document.documentElement.scrollWidth <= 360 && innerWidth === 360";
    browser.open(&format!("{}/runs", web.base));
    browser.until(fits);
    start(&browser, &web);
    browser.until(fits);
    browser.until(
        "(() => { const at = document.querySelector('#cut-out').getBoundingClientRect(); \
         return at.top >= 0 && at.bottom <= innerHeight && at.height >= 64 && at.width > 300; })()",
    );
    cut_out(&browser, &rig);
    browser.open(&format!("{}/runs/r1", web.base));
    browser.until("document.querySelector('img.plot')?.naturalWidth > 300");
    browser.until(fits);
}

#[test]
fn the_keyboard_alone_starts_and_cuts_out() {
    use fantoccini::key::Key;
    let Some((browser, rig, web)) = bench(25.0, Window::Desk) else { return };
    browser.open(&web.base);
    browser.says("IDLE");
    browser.press(Key::Tab.into());
    browser.until("document.activeElement.id === 'cut-out'");
    browser.tab_to("input[name=part]");
    browser.strike("C14 22uF 25V tantalum");
    browser.press(Key::Enter.into());
    browser.until("document.querySelector('.cautions li')");
    browser.tab_to("input[name=cautions_read]");
    browser.press(' ');
    browser.tab_to("button.go");
    browser.press(Key::Enter.into());
    browser.says("ENERGISED");
    browser.until("document.querySelector('[data-field=phase]')?.innerText === 'soak'");
    browser.tab_to("#cut-out");
    browser.press(Key::Enter.into());
    browser.says("MAY BE UNCLIPPED");
    rig.is_left_safe();
}

#[test]
fn many_windows_of_a_browser_leave_room_for_the_cut_out() {
    let Some((browser, rig, web)) = bench(25.0, Window::Desk) else { return };
    start(&browser, &web);
    // A browser opens six connections to an address: more windows than that must not use them up.
    for _ in 0..8 {
        browser.further_window();
        browser.open(&web.base);
        browser.until("document.querySelector('[data-field=reads]')?.innerText.includes('A')");
    }
    cut_out(&browser, &rig);
}

#[test]
fn a_page_that_hears_nothing_any_more_does_not_say_that_it_is_safe() {
    let Some((browser, rig, web)) = bench(25.0, Window::Desk) else { return };
    let asked = json!({ "part": "C14 22uF 25V tantalum", "limit": "0.01CU @ 1min" });
    assert_eq!(web.start(&asked, "then-silence").status, 201);
    web.ends();
    browser.open(&web.base);
    browser.says("MAY BE UNCLIPPED");
    drop(web);
    browser.says("UNKNOWN");
    browser.until("document.title.startsWith('UNKNOWN')");
    rig.is_left_safe();
}

#[test]
fn every_field_has_a_name_and_every_picture_its_words() {
    let Some((browser, _rig, web)) = bench(25.0, Window::Desk) else { return };
    for path in ["/", &format!("/stations/{STATION}"), "/runs"] {
        browser.open(&format!("{}{path}", web.base));
        let nameless = browser.ask(
            "return [...document.querySelectorAll('input:not([type=hidden]), select, button, a, img')]\
             .filter((one) => !(one.labels?.length || one.getAttribute('aria-label') || \
             one.innerText?.trim() || one.alt)).map((one) => one.outerHTML)",
        );
        assert_eq!(nameless, json!([]), "{path}");
        assert_eq!(browser.ask("return document.documentElement.lang"), "en");
        assert_eq!(browser.ask("return document.querySelectorAll('h1').length"), 1);
    }
}
