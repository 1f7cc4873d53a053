//! A bench that could not be proven safe: kept off, refused, and freed by a person's word.

mod rig;

use reststrom::simbench::Fault;
use rig::Rig;

const SOAK: [&str; 6] = ["soak", "C14", "22µF", "25V", "tantalum", "--soak=60s"];

#[test]
fn a_locked_out_station_is_refused_until_a_person_says_that_it_is_safe() {
    let rig = Rig::holding(25.0, "C14");
    let mut run = rig.start(&SOAK);
    run.reaches("soak");
    rig.bench.inject(Fault::SupplyOutputStuckOn);
    assert_eq!(run.ends().code, Some(4));

    let refused = rig.run(&SOAK);
    assert_eq!(refused.code, Some(4), "{refused:?}");
    assert!(refused.stderr.contains("is locked out: r1"), "{refused:?}");
    assert!(refused.stderr.contains("--unlock"), "{refused:?}");
    assert_eq!(rig.times_on(), 1);

    // The output obeys again: the keeper, which went on by itself, proves the bench and ends.
    rig.bench.mend();
    rig.keeper_ends();
    rig.is_left_safe();
    let unlocked = rig.run(&[&SOAK[..], &["--unlock"]].concat());
    assert_eq!(unlocked.code, Some(0), "{unlocked:?}");
    let next = rig.run(&SOAK);
    assert_eq!(next.code, Some(0), "{next:?}");
}
