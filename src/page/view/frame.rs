//! What all pages share: head, way around, the cut-out that is always in reach.

use maud::{DOCTYPE, Markup, html};

use crate::page::objects::ProblemObject;

/// What the cut-out of a page cuts out.
#[derive(Debug, Clone, Copy)]
pub(super) enum CutOut<'a> {
    /// One station.
    Station(&'a str),
    /// All of them.
    All,
}

/// The path of a station's page.
pub(super) fn path_of(station: &str) -> String {
    format!("/stations/{}", escaped(station))
}

/// A name as a part of a path.
#[must_use]
pub fn escaped(name: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"-_.~".contains(&byte);
    let part = |byte: u8| {
        if plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02X}") }
    };
    name.bytes().map(part).collect()
}

/// A page. The cut-out stands first for the keyboard and at the lower edge for the eye.
pub(super) fn frame(title: &str, cut_out: CutOut<'_>, body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title data-title=(title) { (title) " · reststrom" }
                link rel="icon" href="data:,";
                link rel="stylesheet" href="/assets/uplot.css";
                link rel="stylesheet" href="/assets/page.css";
                script src="/assets/uplot.js" defer {}
                script src="/assets/page.js" defer {}
                noscript { meta http-equiv="refresh" content="3"; }
            }
            body {
                (cut_out_bar(cut_out))
                div.sheet {
                    header {
                        a.name href="/" { "reststrom" }
                        nav aria-label="Pages" {
                            a href="/" { "Stations" }
                            a href="/runs" { "Saved runs" }
                        }
                    }
                    main { (body) }
                    footer {
                        "Software is not a protective device. Follow SAFETY.md and local codes. "
                        a href="/api/openapi.json" { "API" } " · "
                        a href="/assets/uplot-LICENSE.txt" { "chart: uPlot, MIT" }
                    }
                }
            }
        }
    }
}

fn cut_out_bar(cut_out: CutOut<'_>) -> Markup {
    let (path, of) = match cut_out {
        CutOut::Station(name) => (format!("{}/stop", path_of(name)), name),
        CutOut::All => ("/stop".to_owned(), "every station"),
    };
    html! {
        form.cut-out method="post" action=(path) data-api={ "/api" (path) } {
            button type="submit" id="cut-out" {
                strong { "CUT OUT" }
                span { "output off, discharge: " (of) }
            }
            output aria-live="assertive" {}
        }
    }
}

/// What is in the way, and what to do.
pub(super) fn problems(object: &ProblemObject) -> Markup {
    html! {
        section.problem role="alert" {
            h2 { "Nothing was begun" }
            @for problem in &object.problems {
                pre { (problem.message) }
                p { (problem.help) }
            }
        }
    }
}

/// A page that says why there is no other.
pub(super) fn problem_page(object: &ProblemObject) -> Markup {
    let body = html! {
        section.problem role="alert" {
            h1 { "That did not work" }
            @for problem in &object.problems {
                pre { (problem.message) }
                p { (problem.help) }
            }
            p { a href="/" { "Back to the stations" } }
        }
    };
    frame("Not found", CutOut::All, &body)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_of_a_station_is_kept_whole_in_its_path() {
        assert_eq!(path_of("terne-bench"), "/stations/terne-bench");
        assert_eq!(path_of("Prüf 1/2"), "/stations/Pr%C3%BCf%201%2F2");
    }
}
