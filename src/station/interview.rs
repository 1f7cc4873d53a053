//! What is asked of an instrument that nobody knows: questions only, in a safe order.
//!
//! Still without the line: which line settings are tried with which greeting, what else each driver
//! would ask, and whether an answer is of the form that the driver expects. No words in here set
//! anything.

use super::driver::{
    Driver, IdentityForm, LineSettings, MeterTalk, NumberForm, OutputForm, Parity,
};
use super::reply::Unit;
use super::session::{Ends, Timing};
use crate::plan::{OutputState, Sample};
use crate::quantity::{Time, seconds};

/// The question of IEEE 488.2 §10.14.
const IDENTITY: &str = "*IDN?";
/// What serial instruments are usually set to, the likeliest first.
const USUAL_BAUDS: [u32; 8] = [9600, 19200, 115_200, 38400, 57600, 4800, 2400, 1200];
/// Longest time for an answer of one that nobody knows.
const DEADLINE: f64 = 0.6; // s

/// A way to ask who is there.
#[derive(Debug, Clone, PartialEq)]
pub struct Greeting {
    /// On a line with these settings.
    pub line: LineSettings,
    /// With these words.
    pub words: String,
    /// For an answer of this form.
    pub form: IdentityForm,
}

impl Greeting {
    fn of(driver: &Driver) -> Option<Self> {
        let (line, words, form) = match driver {
            Driver::Supply(driver) => {
                (&driver.line, &driver.words.identity, driver.replies.identity)
            }
            Driver::Meter(driver) => match &driver.talk {
                MeterTalk::Asked(words) => (&driver.line, &words.identity, IdentityForm::Fields),
                MeterTalk::Streams(_) => return None,
            },
            Driver::Scanner(driver) => (&driver.line, &driver.words.identity, IdentityForm::Fields),
        };
        Some(Self { line: line.clone(), words: words.clone(), form })
    }

    fn at(&self, baud: u32, end: &str) -> Self {
        let mut greeting = self.clone();
        greeting.line.baud = baud;
        end.clone_into(&mut greeting.line.end);
        greeting
    }

    /// Whether a driver would ask so, whatever its line settings.
    #[must_use]
    pub fn suits(&self, driver: &Driver) -> bool {
        Self::of(driver).is_some_and(|own| {
            own.words == self.words && own.form == self.form && own.line.echo == self.line.echo
        })
    }

    /// The timing of the conversation that begins so.
    #[must_use]
    pub fn timing(&self) -> Timing {
        let deadline = seconds(DEADLINE);
        let timing = Timing { deadline, first_deadline: deadline, ..self.line.timing() };
        Timing { identity: self.form, ..timing }
    }

    /// The line's settings in words.
    #[must_use]
    pub fn settings(&self) -> String {
        let LineSettings { baud, data_bits, stop_bits, end, .. } = &self.line;
        let parity = match self.line.parity {
            Parity::None => 'N',
            Parity::Even => 'E',
            Parity::Odd => 'O',
            Parity::Mark => 'M',
            Parity::Space => 'S',
        };
        format!("{baud} baud {data_bits}{parity}{stop_bits}, lines end with {}", end.escape_debug())
    }
}

/// The greetings for a port, the likeliest first: the standard's at the settings of the drivers, each
/// driver's own, the standard's at what else is usual, and last with the other end mark. On a port
/// without line settings each is said once.
#[must_use]
pub fn greetings(drivers: &[Driver], has_settings: bool) -> Vec<Greeting> {
    let own: Vec<Greeting> = drivers.iter().filter_map(Greeting::of).collect();
    let (standard, others): (Vec<_>, Vec<_>) =
        own.into_iter().partition(|greeting| greeting.words == IDENTITY);
    let usual = |end: &str| -> Vec<Greeting> {
        let pattern = standard.first();
        let bauds = USUAL_BAUDS.iter().filter(|_| has_settings);
        pattern.into_iter().flat_map(|it| bauds.clone().map(|baud| it.at(*baud, end))).collect()
    };
    let (first, last) = (usual("\n"), usual("\r\n"));
    let all = [standard.clone(), others, first, last].concat();
    let mut greetings: Vec<Greeting> = Vec::new();
    for greeting in all {
        let known = greetings.iter().any(|said| said.is_the_same_as(&greeting, has_settings));
        if !known {
            greetings.push(greeting);
        }
    }
    greetings
}

impl Greeting {
    fn is_the_same_as(&self, other: &Self, has_settings: bool) -> bool {
        let bits = |it: &Self| {
            (it.line.baud, it.line.data_bits, it.line.parity, it.line.stop_bits, it.line.flow)
        };
        let words = |it: &Self| (it.words.clone(), it.form, it.line.end.clone(), it.line.echo);
        words(self) == words(other) && (!has_settings || bits(self) == bits(other))
    }
}

/// A question that changes nothing, and the form of its answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// The words.
    pub words: String,
    /// Where the answer ends.
    pub ends: Ends,
    form: Form,
}

#[derive(Debug, Clone, PartialEq)]
enum Form {
    Number(NumberForm, Unit),
    Output(OutputForm),
    Flag,
    Line,
}

impl Question {
    /// The question for an entry of an error queue, whose answer is read elsewhere.
    #[must_use]
    pub fn of_queue(words: &str) -> Self {
        Self { words: words.to_owned(), ends: Ends::Mark, form: Form::Line }
    }

    fn number(words: &str, form: &NumberForm, unit: Unit) -> Self {
        Self { words: words.to_owned(), ends: form.ends(), form: Form::Number(form.clone(), unit) }
    }

    /// Whether an answer is of the form that the driver expects.
    #[must_use]
    pub fn is_answered_by(&self, line: &[u8]) -> bool {
        match &self.form {
            Form::Number(form, unit) => {
                matches!(form.read(line, *unit), Ok(Sample::Value(_) | Sample::Overload { .. }))
            }
            Form::Output(form) => form.read(line) != OutputState::Unknown,
            Form::Flag => matches!(line.trim_ascii(), b"0" | b"1"),
            Form::Line => true,
        }
    }

    /// The output state, if this is what was asked.
    #[must_use]
    pub fn output(&self, line: &[u8]) -> Option<OutputState> {
        match &self.form {
            Form::Output(form) => Some(form.read(line)),
            Form::Number(..) | Form::Flag | Form::Line => None,
        }
    }
}

/// What a driver would ask without changing anything; the output state of a supply first.
#[must_use]
pub fn questions(driver: &Driver) -> Vec<Question> {
    match driver {
        Driver::Supply(driver) => {
            let (words, replies) = (&driver.words, &driver.replies);
            let output = Question {
                words: words.ask_output.clone(),
                ends: replies.output.ends(),
                form: Form::Output(replies.output.clone()),
            };
            let volt = |words, form| Question::number(words, form, Unit::Volt);
            let ampere = |words, form| Question::number(words, form, Unit::Ampere);
            vec![
                output,
                volt(&words.measure_voltage, &replies.measure_voltage),
                volt(&words.ask_set_voltage, &replies.set_voltage),
                ampere(&words.ask_current_limit, &replies.current_limit),
                volt(&words.ask_over_voltage, &replies.over_voltage),
                ampere(&words.ask_over_current, &replies.over_current),
            ]
        }
        Driver::Meter(driver) => match &driver.talk {
            MeterTalk::Asked(words) => {
                let form = NumberForm::default();
                vec![
                    Question::number(&words.ask_current_range, &form, Unit::Ampere),
                    Question::number(&words.ask_voltage_range, &form, Unit::Volt),
                ]
            }
            MeterTalk::Streams(_) => Vec::new(),
        },
        Driver::Scanner(driver) => {
            let words = driver.words.ask_closed.replacen("{}", "101", 1);
            vec![Question { words, ends: Ends::Mark, form: Form::Flag }]
        }
    }
}

/// How a driver asks for its instrument's error queue.
#[must_use]
pub fn error_question(driver: &Driver) -> Option<String> {
    match driver {
        Driver::Supply(driver) => driver.words.next_error.clone(),
        Driver::Meter(driver) => match &driver.talk {
            MeterTalk::Asked(words) => words.next_error.clone(),
            MeterTalk::Streams(_) => None,
        },
        Driver::Scanner(driver) => driver.words.next_error.clone(),
    }
}

/// How long to listen for a stream: a few readings of one a second.
#[must_use]
pub fn listening_time() -> Time {
    seconds(2.5)
}

#[cfg(test)]
mod tests {
    use super::super::driver::all;
    use super::*;

    fn drivers() -> Vec<Driver> {
        all(None).unwrap().iter().map(|found| Driver::read(found).unwrap()).collect()
    }

    #[test]
    fn the_standard_is_asked_before_anything_else_and_nothing_twice() {
        let greetings = greetings(&drivers(), true);
        assert_eq!((greetings[0].words.as_str(), greetings[0].line.baud), ("*IDN?", 9600));
        for (index, greeting) in greetings.iter().enumerate() {
            assert!(!greetings[..index].contains(greeting), "{greeting:?}");
        }
        for words in ["N?", "name ?"] {
            let own: Vec<_> = greetings.iter().filter(|it| it.words == words).collect();
            assert_eq!(own.len(), 1, "{words}: only on the line of its driver");
        }
    }

    #[test]
    fn a_port_without_line_settings_hears_each_greeting_once() {
        let greetings = greetings(&drivers(), false);
        let standard = greetings.iter().filter(|greeting| greeting.words == "*IDN?").count();
        assert_eq!(standard, 1, "{greetings:?}");
    }

    /// A question ends with a question mark or, with channels behind it, holds one (IEEE 488.2 §7.4).
    #[test]
    fn nothing_that_is_asked_sets_anything() {
        let drivers = drivers();
        let asked = drivers.iter().flat_map(questions).map(|question| question.words);
        let greeted = greetings(&drivers, true).into_iter().map(|greeting| greeting.words);
        let queues = drivers.iter().filter_map(error_question);
        for words in asked.chain(greeted).chain(queues) {
            assert!(words.contains('?'), "{words}");
        }
    }

    #[test]
    fn an_answer_counts_only_in_the_form_that_its_driver_expects() {
        let drivers = drivers();
        let supply = drivers
            .iter()
            .find(|driver| driver.kind() == "supply" && error_question(driver).is_some());
        let questions = questions(supply.unwrap());
        assert!(questions[0].is_answered_by(b"0\n") && !questions[0].is_answered_by(b"4.7\n"));
        assert!(questions[1].is_answered_by(b"+1.25E+01") && !questions[1].is_answered_by(b"ERR"));
    }
}
