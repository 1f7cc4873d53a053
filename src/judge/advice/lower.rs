//! Up to which lower voltage a part would be within, as an estimate by its family's voltage law.

use crate::judge::{Evidence, Reading};
use crate::quantity::{Voltage, volts};

/// Below this share of the test voltage no estimate is worth telling: no law was seen that far.
const LEAST_SHARE: f64 = 0.25;
/// Halvings of the interval that is searched: one in a million of the test voltage.
const HALVINGS: u32 = 20;

/// The highest voltage, in round numbers, at which the upper end of the reading would be at the
/// limit; none where that is hardly a voltage any more or the reading has no upper end.
pub(super) fn within_up_to(evidence: &Evidence, reading: &Reading) -> Option<Voltage> {
    let test = evidence.test_voltage;
    let wanted = (evidence.limit / reading.upper()).value;
    let is_within =
        |voltage| evidence.law.ratio(test, voltage, evidence.rated) <= wanted && wanted < 1.0;
    let (mut within, mut beyond) = (test * LEAST_SHARE, test);
    if !is_within(within) {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle = (within + beyond) / 2.0;
        if is_within(middle) { within = middle } else { beyond = middle }
    }
    Some(two_digits(within))
}

/// Two significant digits, rounded down: an estimate promises no more.
fn two_digits(voltage: Voltage) -> Voltage {
    let place = 10_f64.powf(voltage.value.log10().floor() - 1.0);
    volts((voltage.value / place + 1e-9).floor() * place)
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::judge::Budget;
    use crate::part::{Reach, VoltageLaw};
    use crate::quantity::{amperes, seconds};

    fn estimate(times_the_limit: f64, law: VoltageLaw) -> Option<f64> {
        let (current, voltage) = (amperes(1e-6 * times_the_limit), volts(25.0));
        let (budget, at, reach) = (Budget::default(), seconds(300.0), Reach::Near);
        let reading =
            Reading { current, raw: current, budget, reach, rise: amperes(0.0), at, voltage };
        let evidence = Evidence { law, ..Evidence::sound(amperes(1e-6), reading) };
        within_up_to(&evidence, &reading).map(|voltage| voltage.value)
    }

    // By hand: 25 V / 2; 25 V · (1 − ln 2/3) = 19.2 V; u·exp(6·(√u − 1)) = 0.5 at u = 0.836.
    #[rstest]
    #[case::ohmic(2.0, VoltageLaw::Ohmic, Some(12.0))]
    #[case::exponential(2.0, VoltageLaw::Exponential(3.0), Some(19.0))]
    #[case::poole_frenkel(2.0, VoltageLaw::PooleFrenkel(6.0), Some(20.0))]
    #[case::far_over(50.0, VoltageLaw::Ohmic, None)]
    #[case::not_over(0.5, VoltageLaw::Ohmic, None)]
    fn the_estimate_follows_the_law(
        #[case] times: f64,
        #[case] law: VoltageLaw,
        #[case] volt: Option<f64>,
    ) {
        let found = estimate(times, law);
        let near = found.zip(volt).is_none_or(|(found, volt)| (found - volt).abs() < 1e-9);
        assert!(near && found.is_some() == volt.is_some(), "{found:?}, expected {volt:?}");
    }
}
