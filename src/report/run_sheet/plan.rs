//! The plan of a run as it was kept, in words. A plan of an older program may lack some of them.

use serde_json::Value;

use crate::quantity::{amperes, joules, seconds, text, volts};

/// A plan as it was kept.
pub(super) struct Plan(Value);

impl Plan {
    /// Reads a plan; one that can't be read has no rows, and says so.
    pub(super) fn read(json: &str) -> Self {
        Self(serde_json::from_str(json).unwrap_or(Value::Null))
    }

    fn number(&self, name: &str) -> Option<f64> {
        self.0.get(name)?.as_f64()
    }

    /// What was to be done, a row each.
    pub(super) fn rows(&self) -> Vec<(&'static str, String)> {
        let volt = |name: &str| self.number(name).map(|value| text::voltage(volts(value)));
        let ampere = |name: &str| self.number(name).map(|value| text::current(amperes(value)));
        let time = |name: &str| self.number(name).map(|value| text::time(seconds(value.round())));
        let rows = [
            ("test voltage", volt("test_volt")),
            ("probe", volt("probe_volt")),
            ("soak", time("soak_second")),
            ("read", time("reading_time_second").map(|at| format!("{at} after full voltage"))),
            ("current limit", ampere("current_limit_ampere")),
            ("cut-out", ampere("cut_out_ampere").map(|at| format!("above {at} in the soak"))),
            ("over-voltage", volt("over_voltage_volt")),
            ("over-current", ampere("over_current_ampere")),
            ("energy", self.number("energy_joule").map(|value| text::energy(joules(value)))),
            ("time in all", time("duration_second").map(|time| format!("about {time}"))),
        ];
        let rows: Vec<_> =
            rows.into_iter().filter_map(|(name, value)| Some((name, value?))).collect();
        if rows.is_empty() {
            vec![("plan", "not kept in a form that can be shown".into())]
        } else {
            rows
        }
    }

    /// The cautions and warnings that were shown.
    pub(super) fn cautions(&self) -> Vec<String> {
        let list = |name: &str| self.0.get(name).and_then(Value::as_array).into_iter().flatten();
        let texts = list("cautions").chain(list("warnings")).filter_map(Value::as_str);
        texts.map(|text| text.replace('`', "")).collect()
    }
}
