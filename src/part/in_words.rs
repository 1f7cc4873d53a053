//! A rule in words and figures, so that a wrong reading of a sheet is seen at once.

use uom::si::electric_current::ampere;
use uom::si::frequency::hertz;

use super::formula::{Formula, Term};
use super::rating::Rating;
use super::rule::{LeakageRule, Pick, Shape, Threshold};
use crate::quantity::{Current, Resistance, text};

impl LeakageRule {
    /// The rule in words, with the figures of a part of this rating.
    #[must_use]
    pub fn in_words(&self, rating: &Rating) -> String {
        match &self.0 {
            Shape::Constant(current) => {
                format!("{}, whatever the rating", text::exact::current(*current))
            }
            Shape::Formula(formula) => formula.in_words(rating),
            Shape::Resistance(least) => {
                format!("the current through {}", text::exact::resistance(*least))
            }
            Shape::TimeConstant(least) => format!(
                "the current through {} ({} divided by C)",
                text::resistance(*least / rating.capacitance()),
                text::exact::seconds(*least)
            ),
            Shape::Pick { pick, of } => self.pick_in_words(*pick, of, rating),
            Shape::Switch { at, upto, above } => format!(
                "up to {}: {}; above: {}",
                threshold(*at),
                upto.in_words(rating),
                above.in_words(rating)
            ),
            Shape::Multiple { factor, of } => format!("{factor} times: {}", of.in_words(rating)),
        }
    }

    /// The insulation resistance that it asks of a part of this rating, if it is stated as one.
    #[must_use]
    pub fn insulation(&self, rating: &Rating) -> Option<Resistance> {
        let rated = super::rating::MeasuringVoltage::rated(rating);
        self.states_resistance().then(|| rating.voltage() / self.limit(rating, rated))
    }

    fn pick_in_words(&self, pick: Pick, of: &[Self], rating: &Rating) -> String {
        let which = match pick {
            Pick::Smaller => "smaller",
            Pick::Greater => "greater",
        };
        let what = if self.states_resistance() { "resistance" } else { "current" };
        let each: Vec<String> = of.iter().map(|rule| rule.in_words(rating)).collect();
        format!("the {which} {what} of: {}", each.join(", or "))
    }
}

impl Formula {
    fn in_words(&self, rating: &Rating) -> String {
        let charge = text::charge(rating.charge());
        let mut words = match self.term {
            Term::Charge(rate) => {
                format!("{} per second times C·U, which is {charge}", rate.get::<hertz>())
            }
            Term::Power { factor, exponent: 0.5 } => {
                format!("{factor} µA times the root of the whole of C·U in µF·V, which is {charge}")
            }
            Term::Power { factor, exponent } => format!(
                "{factor} µA times the whole of C·U in µF·V to the power of {exponent}; C·U is \
                 {charge}"
            ),
            Term::PerFarad(current) => {
                format!("{} µA for each µF, whatever U", current.get::<ampere>())
            }
        };
        if Current::default() < self.addend {
            words = format!("{words}, plus {}", text::exact::current(self.addend));
        }
        if Current::default() < self.floor {
            words = format!("{words}, but at least {}", text::exact::current(self.floor));
        }
        if let Some(cap) = self.cap {
            words = format!("{words}, but at most {}", text::exact::current(cap));
        }
        words
    }
}

fn threshold(at: Threshold) -> String {
    match at {
        Threshold::Capacitance(capacitance) => text::exact::capacitance(capacitance),
        Threshold::Voltage(voltage) => text::exact::voltage(voltage),
        Threshold::Charge(charge) => text::exact::charge(charge),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{farads, volts};

    fn words(rule: &str) -> String {
        let rating = Rating::new(farads(100e-6), volts(63.0)).unwrap();
        LeakageRule::read(rule).unwrap().in_words(&rating)
    }

    #[test]
    fn a_formula_is_told_with_the_charge_of_the_part() {
        insta::assert_snapshot!(words("0.01CU floor 3uA cap 5mA"),
            @"0.01 per second times C·U, which is 6.3 mC, but at least 3 µA, but at most 5 mA");
    }

    #[test]
    fn resistances_are_told_as_what_the_current_flows_through() {
        insta::assert_snapshot!(words("smaller(R 10Gohm, RC 500s)"),
            @"the smaller resistance of: the current through 10 GΩ, or the current through 5 MΩ (500 s divided by C)");
    }
}
