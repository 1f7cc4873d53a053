//! `limit`: a part's leakage limit in amperes, and how it comes about.

mod object;

use std::path::PathBuf;

use super::failure::Failure;
use super::{Exit, screen};
use crate::daemon::refused::Refused;
use crate::part::sheet::{Answer, Printed};
use crate::part::{Limit, Loose, Part, PartError, stated};
use crate::quantity::{Celsius, Current, celsius, read, text};
use object::AnswerObject;

/// Arguments of `limit`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The data sheet's line in quotes, then the part: "0.01CV or 3 µA, whichever is greater" 100µF
    /// 63V; the part alone, with its family, for the limit of the family
    #[arg(required_unless_present = "lines", value_name = "[LINE] PART")]
    words: Vec<String>,
    /// The line, in place of the first argument
    #[arg(long, visible_alias = "line", value_name = "LINE")]
    limit: Option<String>,
    /// What the limit means at this temperature, as a guide
    #[arg(long, value_name = "TEMPERATURE")]
    at: Option<String>,
    /// Read many lines: one JSON object a line with phrase, `c_farad`, `u_volt` and family
    #[arg(long, value_name = "FILE", conflicts_with_all = ["words", "limit", "at"])]
    lines: Option<PathBuf>,
    /// Print it as JSON
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    if let Some(path) = &arguments.lines {
        return object::many(path);
    }
    let (line, part) = split(arguments);
    let loose = Loose::read(&part).map_err(|error| bad_part(&error))?;
    let Some(line) = line else { return of_family(&part, arguments) };
    let answer = stated(&line, &loose.rating, loose.dielectric);
    if arguments.json {
        screen::tell_json(&AnswerObject::of(&answer, &loose.rating, at(arguments)?, &loose));
    }
    match &answer {
        Answer::Limits(_) if arguments.json => Ok(Exit::Within),
        Answer::Limits(printed) => {
            screen::tell(&told(printed, &loose, at(arguments)?));
            Ok(Exit::Within)
        }
        Answer::Question(_) if arguments.json => Ok(Exit::Undecided),
        Answer::Question(question) => Err(Refused::question(&line, question).into()),
    }
}

fn bad_part(error: &PartError) -> Failure {
    Failure::usage(error.to_string(), error.help())
}

/// The line, if there is one, and the words of the part.
///
/// The first argument is a line if it is no part of a part and the others are a part without it.
fn split(arguments: &Arguments) -> (Option<String>, String) {
    let all = arguments.words.join(" ");
    if let Some(line) = &arguments.limit {
        return (Some(line.clone()), all);
    }
    let Some((first, rest)) = arguments.words.split_first() else { return (None, all) };
    let rest = rest.join(" ");
    if Loose::read(&all).is_err() && Loose::read(&rest).is_ok() {
        return (Some(first.clone()), rest);
    }
    (None, all)
}

fn at(arguments: &Arguments) -> Result<Option<Celsius>, Failure> {
    let refused = |error: read::ReadError| Failure::usage(error.to_string(), error.help());
    arguments.at.as_deref().map(read::temperature_celsius).transpose().map_err(refused)
}

/// The limit of a family, where no line is given.
fn of_family(words: &str, arguments: &Arguments) -> Result<Exit, Failure> {
    let part = Part::read(words).map_err(|error| bad_part(&error))?;
    let limit =
        part.default_limit().map_err(|error| Failure::usage(error.to_string(), error.help()))?;
    let loose = Loose {
        rating: part.rating,
        dielectric: Some(part.family.dielectric()),
        family: Some(part.family),
    };
    let printed = Printed { limits: vec![limit], conventions: Vec::new() };
    if arguments.json {
        let answer = Answer::Limits(printed);
        let mut object = AnswerObject::of(&answer, &part.rating, at(arguments)?, &loose);
        object.name_source(&answer);
        screen::tell_json(&object);
    } else {
        screen::tell(&told(&printed, &loose, at(arguments)?));
    }
    Ok(Exit::Within)
}

fn told(printed: &Printed, part: &Loose, at: Option<Celsius>) -> String {
    let limits = printed.limits.iter().map(|limit| one(limit, part, at));
    let conventions = object::conventions(printed);
    let rests = conventions.iter().map(|convention| format!("  rests on  {convention}\n"));
    limits.chain(rests).collect()
}

fn one(limit: &Limit, part: &Loose, at: Option<Celsius>) -> String {
    let rating = &part.rating;
    let (Ok(current), Ok(measured)) = (limit.current(rating), limit.measured_at.voltage(rating))
    else {
        return format!("{rating}: the limit does not fit the part\n");
    };
    let time = limit.reading_time.map(|time| format!(" after {}", text::time(time)));
    let reference =
        limit.reference.map(|celsius| format!(" and {}", text::temperature_celsius(celsius)));
    let family = part.family.map(|family| format!(" {family}"));
    let mut told = format!(
        "{rating}{}: {}{} at {}{}\n  formula   {}\n  in words  {}\n  source    {}\n",
        family.unwrap_or_default(),
        text::current(current),
        time.unwrap_or_default(),
        text::voltage(measured.get()),
        reference.unwrap_or_default(),
        limit.rule,
        limit.rule.in_words(rating),
        limit.source
    );
    if let Some(at) = at {
        told.push_str(&guide(limit, current, part, at));
    }
    told
}

/// What a limit without a reference temperature is taken to hold at.
pub(super) const USUAL_REFERENCE: f64 = 20.0;

/// The limit at another temperature: usual, least and most.
fn carried(limit: &Limit, current: Current, part: &Loose, at: Celsius) -> Option<[Current; 3]> {
    let from = limit.reference.unwrap_or_else(|| celsius(USUAL_REFERENCE));
    Some(part.dielectric?.doubling().carry(current, from, at))
}

fn guide(limit: &Limit, current: Current, part: &Loose, at: Celsius) -> String {
    let degrees = text::temperature_celsius(at);
    match carried(limit, current, part, at) {
        Some([usual, least, most]) => format!(
            "  guide     at {degrees} about {}, between {} and {}; no limit of the sheet\n",
            text::current(rounded(usual)),
            text::current(rounded(least)),
            text::current(rounded(most))
        ),
        None => {
            format!("  guide     at {degrees}: name the family, which says how leakage rises\n")
        }
    }
}

/// Two digits: a guide has no more.
fn rounded(current: Current) -> Current {
    let value = current.value;
    if !value.is_normal() {
        return current;
    }
    let place = 10_f64.powf(value.abs().log10().floor() - 1.0);
    crate::quantity::amperes((value / place).round() * place)
}

#[cfg(test)]
mod tests {
    use clap::Parser;
    use rstest::rstest;

    use super::*;

    #[derive(Parser)]
    struct Typed {
        #[command(flatten)]
        arguments: Arguments,
    }

    fn typed(words: &[&str]) -> Arguments {
        Typed::parse_from(["limit"].iter().chain(words)).arguments
    }

    #[rstest]
    #[case::line_first(&["0.01CV or 3 µA", "100µF", "63V"], Some("0.01CV or 3 µA"), "100µF 63V")]
    #[case::line_without_blanks(&["3√CV", "100µF", "63V"], Some("3√CV"), "100µF 63V")]
    #[case::line_with_family(&["0.01CV", "100µF 63V", "film"], Some("0.01CV"), "100µF 63V film")]
    #[case::line_by_name(&["--line", "0.01CV", "100µF", "63V"], Some("0.01CV"), "100µF 63V")]
    #[case::limit_by_name(&["100µF", "63V", "--limit", "0.01CV"], Some("0.01CV"), "100µF 63V")]
    #[case::part_alone(&["22µF", "25V", "tantalum"], None, "22µF 25V tantalum")]
    #[case::slip_in_the_part(&["22µFF", "25V", "tantalum"], None, "22µFF 25V tantalum")]
    fn the_first_argument_is_a_line_if_it_is_no_part(
        #[case] words: &[&str],
        #[case] line: Option<&str>,
        #[case] part: &str,
    ) {
        let (found, rest) = split(&typed(words));
        assert_eq!((found.as_deref(), rest.as_str()), (line, part));
    }

    fn shown(words: &[&str]) -> String {
        let arguments = typed(words);
        let (line, part) = split(&arguments);
        let loose = Loose::read(&part).unwrap();
        let answer = stated(&line.unwrap(), &loose.rating, loose.dielectric);
        let Answer::Limits(printed) = answer else { panic!("asked") };
        told(&printed, &loose, at(&arguments).unwrap())
    }

    // 0.01·6300 = 63 µA; 25 K above 20 °C at 20 K for each doubling is 2^1.25 = 2.38 times.
    #[test]
    fn a_limit_is_told_with_formula_words_conventions_and_guide() {
        let words = ["I ≤ 0.01CV or 3 µA", "100µF", "63V", "al-wet", "--at", "45°C"];
        insta::assert_snapshot!(shown(&words), @r"
        100 µF 63 V al-wet: 63 µA at 63 V
          formula   0.01CU floor 3 µA
          in words  0.01 per second times C·U, which is 6.3 mC, but at least 3 µA
          source    the printed line
          guide     at 45 °C about 150 µA, between 100 µA and 360 µA; no limit of the sheet
          rests on  a second value of some µA is the least limit: the greater of both holds
          rests on  C and U are the values printed on the part, not measured ones
          rests on  the result is in µA, as no unit is printed
          rests on  C is in µF and U in V, as no unit is printed
        ");
    }
}
