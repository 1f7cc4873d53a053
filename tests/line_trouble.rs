//! One reply that is spoiled on its way in the middle of a soak, over pseudo-terminals: whatever it is, the
//! part is never condemned for it, the output goes off and the part is emptied.

mod rig;

use reststrom::quantity::seconds;
use reststrom::simbench::{Fault, Instrument, LineFault};
use rig::Rig;
use rstest::rstest;

#[rstest]
#[case::missing(LineFault::Missing)]
#[case::split(LineFault::Split(seconds(2.0)))]
#[case::glued(LineFault::Glued)]
#[case::garbled(LineFault::Garbled)]
#[case::cut(LineFault::Cut)]
#[case::echoed(LineFault::Echoed)]
#[case::stale(LineFault::Stale)]
#[case::without_its_end(LineFault::WithoutEnd)]
#[case::with_another_end(LineFault::OtherEnd)]
#[case::with_a_decimal_comma(LineFault::DecimalComma)]
#[case::a_word(LineFault::ErrorWord)]
#[case::with_top_bits(LineFault::TopBits)]
fn one_spoiled_reply_gives_no_wrong_verdict(
    #[case] fault: LineFault,
    #[values(Instrument::Supply, Instrument::Meter)] which: Instrument,
) {
    let rig = Rig::holding(20.0, "C14");
    let mut run = rig.start(&["soak", "C14", "22uF", "25V", "tantalum", "--soak", "60s", "--json"]);
    run.reaches("soak");
    rig.bench.inject(Fault::Line(which, fault));
    let ended = run.ends();
    let object = ended.json();
    let (verdict, left) = (object["verdict"].as_str(), object["left"].as_str());
    // A line that came back into step in time costs nothing, one that did not costs the run.
    let code = match verdict {
        Some("within") => 0,
        Some("untested") => 3,
        _ => panic!("{ended:?}"),
    };
    assert_eq!((left, ended.code), (Some("safe"), Some(code)), "{ended:?}");
    assert_eq!(rig.times_on(), 1);
    rig.is_left_safe();
}
