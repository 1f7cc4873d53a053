//! The whole demo: eleven invented parts through the same code as a real bench.

mod rig;

use std::time::Duration;

use reststrom::simbench::scenario;
use rig::Rig;

#[test]
fn the_demo_finds_every_known_verdict_and_leaves_record_plots_and_summary() {
    let rig = Rig::holding(1.0, "C14");
    let mut demo = rig.start(&["demo", "--folder", "out"]);
    let ended = demo.ends_within(Duration::from_mins(3));
    assert_eq!(ended.code, Some(0), "{ended:?}");
    let parts = scenario().unwrap().parts;
    let all = format!("{0} of {0} verdicts are the known right ones", parts.len());
    assert!(8 <= parts.len() && ended.stdout.contains(&all), "{ended:?}");
    let summary = std::fs::read_to_string(rig.path("out/summary.txt")).unwrap();
    assert!(summary.contains("simulated"), "{summary}");
    for part in &parts {
        assert!(summary.contains(&part.clip), "{} is not in {summary}", part.clip);
        let png = std::fs::read(rig.path(&format!("out/{}.png", part.clip))).unwrap();
        assert!(png.starts_with(b"\x89PNG\r\n\x1a\n"), "{}", part.clip);
        let svg = std::fs::read_to_string(rig.path(&format!("out/{}-linear.svg", part.clip)));
        assert!(svg.unwrap().contains("simulated"), "{}", part.clip);
    }
    let listed = rig.json(&["runs", "--json", "--record", "out/record.db"]);
    let verdicts: Vec<(&str, &str)> = listed
        .as_array()
        .unwrap()
        .iter()
        .rev()
        .map(|run| (run["part"]["name"].as_str().unwrap(), run["verdict"].as_str().unwrap()))
        .collect();
    let known: Vec<(&str, &str)> =
        parts.iter().map(|part| (part.clip.as_str(), part.truth.verdict.as_str())).collect();
    assert_eq!(verdicts, known);
}
