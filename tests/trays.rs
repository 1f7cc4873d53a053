//! Whole trays as a person runs them, beside a simulated bench: by hand and by scanner, cut off and
//! taken up again.

mod rig;

use std::io::Write;
use std::time::Duration;

use reststrom::simbench::{BenchOptions, SimPart, SwitchModel};
use rig::{PATIENCE, Rig, Running, sound, until};
use rustix::process::Signal;

/// Bench seconds per second: as fast as the lines and the readings bear.
const LAPSE: f64 = 40.0;
const TRAY: [&str; 4] = ["tray", "tray.csv", "--until", "early"];

/// A sound tantalum, so large that the charge of a step flows for longer than the gap between two
/// readings, whatever else the host does.
fn tantalum() -> SimPart {
    sound(220e-6, 25.0)
}

/// A file with so many equal tantalums, on channels where `first` gives one.
fn tray(parts: u32, first: Option<u32>) -> String {
    let head = String::from("position;part;family;value;rating;channel");
    let row = |part: u32| {
        let channel = first.map_or(String::new(), |first| (first + part - 1).to_string());
        format!("{part};C{part};tantalum;220 µF;25 V;{channel}")
    };
    let lines: Vec<String> = std::iter::once(head).chain((1..=parts).map(row)).collect();
    lines.join("\n") + "\n"
}

/// A bench with an empty clip and a tray of so many parts in a file.
fn by_hand(parts: u32) -> Rig {
    by_hand_at(LAPSE, parts)
}

fn by_hand_at(lapse: f64, parts: u32) -> Rig {
    let rig = Rig::new(lapse, &tantalum());
    rig.bench.unclip();
    let text = tray(parts, None).replace(";channel", "").replace("25 V;", "25 V");
    rig.write("tray.csv", &text);
    rig
}

/// The program at a tray, and somebody who types.
struct Sitting {
    run: Running,
    keys: std::io::PipeWriter,
}

impl Sitting {
    fn at(rig: &Rig, words: &[&str]) -> Self {
        let (reader, keys) = std::io::pipe().expect("a pipe");
        let mut command = rig.command(words);
        command.stdin(reader);
        Self { run: Running::start(command), keys }
    }

    fn types(&mut self, line: &str) {
        self.keys.write_all(format!("{line}\n").as_bytes()).expect("a reader of the keys");
    }

    /// Waits until it has ended, and tells what it said where it does not.
    #[track_caller]
    fn comes_to_its_end(&mut self) {
        let start = std::time::Instant::now();
        while !self.run.has_ended() {
            assert!(start.elapsed() < PATIENCE, "no end: {}", self.run.said());
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Waits until it asks for the part at a position for the n-th time.
    #[track_caller]
    fn asks_for(&mut self, position: u32) {
        let (first, next) = (
            format!("position {position}: clip in"),
            format!("position {position}: take the last part out and clip in"),
        );
        until(PATIENCE, &next, || {
            let said = self.run.said();
            assert!(!self.run.has_ended(), "ended: {said}");
            said.contains(&first) || said.contains(&next)
        });
    }
}

/// Takes out what is in the clip and puts another part in, as hands do.
fn swap(rig: &Rig, part: &SimPart) {
    rig.bench.unclip();
    let seen = rig.bench.look().time;
    until(PATIENCE, "some seconds with an empty clip", || {
        12.0 < (rig.bench.look().time - seen).value
    });
    rig.bench.clip_in(part);
}

fn verdicts(rig: &Rig) -> Vec<(String, String)> {
    let runs = rig.json(&["runs", "--json"]);
    let mut found: Vec<_> = runs
        .as_array()
        .expect("a list")
        .iter()
        .map(|run| {
            let text = |value: &serde_json::Value| value.as_str().unwrap_or_default().to_owned();
            (text(&run["part"]["name"]), text(&run["verdict"]))
        })
        .collect();
    found.reverse();
    found
}

#[test]
fn twenty_four_parts_go_through_the_clip_without_a_key_and_a_kill_costs_one_run() {
    let rig = by_hand(24);
    let mut sitting = Sitting::at(&rig, &TRAY);
    for position in 1..=10 {
        sitting.asks_for(position);
        swap(&rig, &tantalum());
    }
    until(PATIENCE, "the tenth soak", || {
        sitting.run.said().matches("\nsoak ").count() == 10 || sitting.run.has_ended()
    });
    sitting.run.signal(Signal::KILL);
    sitting.run.ends();
    until(PATIENCE, "the keeper switched off", || !rig.bench.look().output_on);
    // The tenth part still lies in the clip, and is tested again: its run was cut off.
    let mut sitting = Sitting::at(&rig, &["tray", "tray.csv", "--until", "early", "--resume"]);
    for position in 10..=24 {
        sitting.asks_for(position);
        swap(&rig, &tantalum());
    }
    sitting.comes_to_its_end();
    let ended = sitting.run.ends();
    assert_eq!(ended.code, Some(0), "{ended:?}");
    rig.is_left_safe();
    let within: Vec<String> = verdicts(&rig)
        .into_iter()
        .filter(|(_, verdict)| verdict == "within")
        .map(|(part, _)| part)
        .collect();
    let expected: Vec<String> = (1..=24).map(|part| format!("C{part}")).collect();
    assert_eq!(within, expected, "each part once, in order");
}

#[test]
fn a_wrong_part_is_asked_about_and_an_empty_clip_is_untested() {
    let rig = by_hand(2);
    let mut sitting = Sitting::at(&rig, &TRAY);
    sitting.asks_for(1);
    // 100 µF where 220 µF should be: its charge is that of a part, its capacitance is not.
    rig.bench.clip_in(&sound(100e-6, 25.0));
    sitting.run.says("position 1: its capacitance is far off: is it the right part?");
    sitting.types("go on");
    sitting.asks_for(2);
    rig.bench.unclip();
    sitting.types("");
    let ended = sitting.run.ends();
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert_eq!(
        verdicts(&rig),
        [("C1".into(), "undecided".into()), ("C2".into(), "untested".into())]
    );
    rig.is_left_safe();
}

#[test]
fn a_part_swapped_while_charged_is_noticed_and_never_judged_for_the_other() {
    let rig = by_hand_at(4.0, 2);
    let mut sitting = Sitting::at(&rig, &["tray", "tray.csv"]);
    sitting.asks_for(1);
    rig.bench.clip_in(&tantalum());
    until(PATIENCE, "the soak", || sitting.run.said().contains("\nsoak "));
    rig.bench.unclip();
    let seen = rig.bench.look().time;
    until(PATIENCE, "a second between the two", || 1.0 < (rig.bench.look().time - seen).value);
    rig.bench.clip_in(&tantalum());
    sitting.comes_to_its_end();
    let ended = sitting.run.ends();
    // The part that was taken out is charged, and nobody can prove otherwise.
    assert_eq!(ended.code, Some(4), "{ended:?}");
    assert!(ended.stderr.contains("contact-lost"), "{ended:?}");
    assert!(verdicts(&rig).iter().all(|(_, verdict)| verdict != "within"), "{ended:?}");
    assert!(!rig.bench.look().output_on);
}

#[test]
fn words_leave_parts_out_repeat_them_and_stop_after_one() {
    let rig = by_hand(4);
    let mut sitting = Sitting::at(&rig, &TRAY);
    sitting.asks_for(1);
    sitting.types("skip");
    sitting.asks_for(2);
    rig.bench.clip_in(&tantalum());
    until(PATIENCE, "the soak", || sitting.run.said().contains("\nsoak "));
    sitting.types("stop after");
    let ended = sitting.run.ends();
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert!(ended.stderr.contains("`reststrom tray --resume` goes on"), "{ended:?}");
    assert_eq!(verdicts(&rig), [("C2".into(), "within".into())]);
    // What was left out comes first when it is taken up again.
    let mut sitting = Sitting::at(&rig, &["tray", "tray.csv", "--until", "early", "--resume"]);
    sitting.asks_for(1);
    sitting.types("stop");
    assert_eq!(sitting.run.ends().code, Some(2));
    rig.is_left_safe();
}

#[test]
fn a_file_that_changed_is_not_resumed() {
    let rig = by_hand(2);
    let mut sitting = Sitting::at(&rig, &TRAY);
    sitting.asks_for(1);
    sitting.types("stop");
    sitting.run.ends();
    rig.write("tray.csv", &tray(3, None).replace(";channel", "").replace("25 V;", "25 V"));
    let ended = rig.run(&["tray", "tray.csv", "--resume"]);
    assert_eq!(ended.code, Some(64), "{ended:?}");
    assert!(ended.stderr.contains("differs from the tray"), "{ended:?}");
}

#[test]
fn twenty_channels_of_a_scanner_are_tested_alone_and_taken_up_after_a_kill() {
    let options =
        BenchOptions { lapse: LAPSE, switch: Some(SwitchModel::of(20)), ..BenchOptions::default() };
    let rig = Rig::on(options, &tantalum());
    for channel in 101..=120 {
        rig.bench.clip_in_at(channel, &tantalum());
    }
    let channels: Vec<String> = (1..=20).map(|clip| format!("C{clip} = {}", 100 + clip)).collect();
    rig.rewire("C1 = 101, C2 = 102, C3 = 103", &channels.join(", "));
    rig.write("tray.csv", &tray(20, Some(101)));
    let words = ["tray", "tray.csv", "--scanner", "--until", "early"];
    let mut run = rig.start(&words);
    until(Duration::from_mins(2), "the seventh soak", || {
        7 <= run.said().matches("\nsoak ").count() || run.has_ended()
    });
    run.signal(Signal::KILL);
    run.ends();
    until(PATIENCE, "the keeper switched off", || !rig.bench.look().output_on);
    let again = [&words[..], &["--resume", "--sheet", "sheet.html"]].concat();
    let ended = rig.start(&again).ends_within(Duration::from_mins(2));
    assert_eq!(ended.code, Some(0), "{ended:?}");
    assert!(rig.bench.closed_channels().is_empty());
    rig.is_left_safe();
    let found = verdicts(&rig);
    let within = found.iter().filter(|(_, verdict)| verdict == "within").count();
    assert_eq!(within, 20, "{found:?}");
    let sheet = std::fs::read_to_string(rig.path("sheet.html")).expect("a sheet");
    for part in 1..=20 {
        assert!(sheet.contains(&format!("C{part}")), "C{part} is not on the sheet");
    }
}

#[test]
fn a_part_reads_on_a_tray_what_it_reads_alone() {
    let rig = by_hand(1);
    let mut sitting = Sitting::at(&rig, &TRAY);
    sitting.asks_for(1);
    rig.bench.clip_in(&tantalum());
    until(PATIENCE, "the end of the tray", || {
        assert!(!sitting.run.said().contains("position 1: UN"), "{}", sitting.run.said());
        sitting.run.has_ended()
    });
    let ended = sitting.run.ends();
    assert_eq!(ended.code, Some(0), "{ended:?}");
    // The same part again, fresh, so that its absorption begins anew.
    rig.bench.unclip();
    rig.bench.clip_in(&tantalum());
    let alone = rig.json(&["soak", "C1", "220µF", "25V", "tantalum", "--until", "early", "--json"]);
    let on_tray = rig.json(&["show", "r1", "--json"]);
    let number =
        |run: &serde_json::Value, key: &str| run["current"][key].as_f64().expect("a number");
    let both = number(&alone, "uncertainty_ampere").hypot(number(&on_tray, "uncertainty_ampere"));
    let apart = (number(&alone, "ampere") - number(&on_tray, "ampere")).abs();
    assert!(apart <= both, "{apart:e} A apart, {both:e} A allowed");
}
