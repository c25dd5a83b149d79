//! A leg: rows added to a run order because of flags; row numbers never change.

use std::collections::BTreeSet;

use darkline_metrology::kind::{Factor, Kind};
use darkline_quality::cost;
use darkline_record::decision::{FlagId, NextStep};
use darkline_record::figure::{Given, Spread, Uncertain, Written};
use darkline_record::method::ResolvedMethod;
use darkline_record::run::{Follows, Leg, Row, RowHolds, Run};

/// A step that no leg can be made of.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LegFault {
    /// The flag is about something that stands at no row of the run.
    #[error("{flag} is about no row of run {run}")]
    NoRow {
        /// The flag.
        flag: FlagId,
        /// The run.
        run: String,
    },
    /// The row holds no portion, so that nothing can be diluted.
    #[error("row {row} holds a {holds}; only the solution of a portion is diluted")]
    NotDiluted {
        /// The row.
        row: u32,
        /// What it holds.
        holds: &'static str,
    },
    /// The method fixes how often a solution is measured again, and that is used up.
    #[error(
        "row {row} was measured again {times} times, as often as method {method} allows: a further repeat is a deviation"
    )]
    NoMoreRepeats {
        /// The row.
        row: u32,
        /// Times it was.
        times: usize,
        /// The method.
        method: String,
    },
    /// The step is done away from the instrument.
    #[error("{flag}: this step is not measured in the same run")]
    NotInThisRun {
        /// The flag.
        flag: FlagId,
    },
}

/// Adds the rows that steps ask for, in the order of the steps, each solution once, and closes them with the checks that close the run.
///
/// # Arguments
/// * `taken_up`: the flags with the step taken up for each.
///
/// # Errors
/// [`LegFault`]: one of the steps asks for nothing that this run could measure.
pub fn extend(run: &Run, method: &ResolvedMethod, taken_up: &[(FlagId, NextStep)]) -> Result<Leg, LegFault> {
    let mut number = run.rows().map(|row| row.number).max().unwrap_or(0);
    let mut cup = run.rows().filter_map(|row| row.cup).max();
    let mut next = || {
        number += 1;
        number
    };
    let mut rows: Vec<Row> = Vec::new();
    let mut of_bracket: BTreeSet<u32> = BTreeSet::new();
    for (place, (flag, step)) in taken_up.iter().enumerate() {
        let row = row_of(run, flag)?;
        if is_covered(run, taken_up, place) {
            continue;
        }
        match step {
            NextStep::Repeat { replicates } => {
                may_repeat(run, method, row)?;
                rows.push(Row {
                    number: next(),
                    replicates: *replicates,
                    follows: Some(Follows::Joins(run.home(row.number))),
                    ..row.clone()
                });
            }
            NextStep::MeasureAgain { replicates } => {
                may_repeat(run, method, row)?;
                // What was carried over once may be again: a blank goes before the row.
                if flag.rule.as_str() == "carry-over"
                    && let Some(blank) = run.rows().filter(|row| matches!(row.holds, RowHolds::CheckBlank)).last()
                {
                    rows.push(Row { number: next(), follows: None, ..blank.clone() });
                }
                rows.push(Row {
                    number: next(),
                    replicates: *replicates,
                    follows: Some(Follows::Replaces(run.home(row.number))),
                    ..row.clone()
                });
            }
            NextStep::Dilute { factor } => {
                cup = cup.map(|cup| cup + 1);
                rows.push(Row {
                    number: next(),
                    cup,
                    name: format!("{}-x{factor}", row.name),
                    holds: diluted(row, *factor, method)?,
                    replicates: method.replicates.n,
                    follows: Some(Follows::Replaces(run.home(row.number))),
                });
            }
            NextStep::RepeatSinceLastCheck => {
                for earlier in cost::since_last_check(run, row) {
                    let home = run.home(earlier.number);
                    if of_bracket.insert(home) && !dilutes(run, taken_up, home) {
                        rows.push(Row { number: next(), follows: Some(Follows::Replaces(home)), ..earlier.clone() });
                    }
                }
            }
            // The checks that close the leg are all of it.
            NextStep::Check => {}
            NextStep::PrepareAgain | NextStep::SampleAgain | NextStep::StandardAdditions | NextStep::Stop => {
                return Err(LegFault::NotInThisRun { flag: flag.clone() });
            }
        }
    }
    // Results of a leg stand on a check after them like all others.
    for check in cost::closing(run) {
        rows.push(Row { number: next(), follows: None, ..check.clone() });
    }
    Ok(Leg { because: taken_up.iter().map(|(flag, _)| flag.clone()).collect(), rows })
}

/// Whether another step of the leg measures the same solution at least as much: several flags about one solution ask for
/// it once.
fn is_covered(run: &Run, taken_up: &[(FlagId, NextStep)], place: usize) -> bool {
    let home = |place: usize| cost::row_of(run, &taken_up[place].0.subject).map(|row| run.home(row.number));
    let Some(weight) = weight(&taken_up[place].1) else { return false };
    (0..taken_up.len()).filter(|other| *other != place).any(|other| match &taken_up[other].1 {
        NextStep::RepeatSinceLastCheck => {
            weight < DILUTES
                && cost::row_of(run, &taken_up[other].0.subject).is_some_and(|failing| {
                    cost::since_last_check(run, failing).iter().any(|row| Some(run.home(row.number)) == home(place))
                })
        }
        step => {
            home(other) == home(place)
                && self::weight(step).is_some_and(|of_other| of_other > weight || (of_other == weight && other < place))
        }
    })
}

/// Whether a step of the leg dilutes a solution.
fn dilutes(run: &Run, taken_up: &[(FlagId, NextStep)], home: u32) -> bool {
    taken_up.iter().any(|(flag, step)| {
        matches!(step, NextStep::Dilute { .. })
            && cost::row_of(run, &flag.subject).is_some_and(|row| run.home(row.number) == home)
    })
}

/// How much a step measures of one solution: replicates more, the whole row, the row diluted; `None` for other steps.
fn weight(step: &NextStep) -> Option<(u8, u32)> {
    match step {
        NextStep::Repeat { replicates } => Some((0, u32::from(*replicates))),
        NextStep::MeasureAgain { replicates } => Some((1, u32::from(*replicates))),
        NextStep::Dilute { factor } => Some((2, *factor)),
        _ => None,
    }
}

/// The least weight of a dilution.
const DILUTES: (u8, u32) = (2, 0);

fn row_of<'r>(run: &'r Run, flag: &FlagId) -> Result<&'r Row, LegFault> {
    cost::row_of(run, &flag.subject).ok_or_else(|| LegFault::NoRow { flag: flag.clone(), run: run.id.to_string() })
}

/// Whether the solution of a row may be measured once more; a bracket that failed and a dilution are no repeats.
fn may_repeat(run: &Run, method: &ResolvedMethod, row: &Row) -> Result<(), LegFault> {
    let times = times_repeated(run, row.number);
    match method.limits.most_repeats {
        Some(most) if times >= usize::from(most) && matches!(row.holds, RowHolds::Portion { .. }) => {
            Err(LegFault::NoMoreRepeats { row: row.number, times, method: method.id.to_string() })
        }
        _ => Ok(()),
    }
}

/// Times that the solution of a row was measured again so far: rows that join it or stand in its place, down to the first.
fn times_repeated(run: &Run, row: u32) -> usize {
    let home = first(run, row);
    run.rows().filter(|other| other.number != home && first(run, other.number) == home).count()
}

fn first(run: &Run, number: u32) -> u32 {
    match run.row(number).and_then(|row| row.follows) {
        // Rows only follow earlier ones, which the door checks; the comparison keeps a broken record from looping.
        Some(Follows::Joins(earlier) | Follows::Replaces(earlier)) if earlier < number => first(run, earlier),
        _ => number,
    }
}

fn diluted(row: &Row, factor: u32, method: &ResolvedMethod) -> Result<RowHolds, LegFault> {
    let RowHolds::Portion { batch, portion, dilution } = &row.holds else {
        return Err(LegFault::NotDiluted { row: row.number, holds: row.holds.word() });
    };
    let before = dilution.value.value().si();
    let after = before * f64::from(factor);
    let unit = Factor::usual_unit();
    let written =
        |value: f64| Written::in_unit(&format!("{value}"), unit).expect("a product of finite factors reads back");
    // Two dilutions one after the other: their relative uncertainties add in squares.
    let u_before = dilution.spread.as_ref().map_or(0.0, |spread| spread.given.u() / before);
    let u_step = method.u_dilution.as_ref().map_or(0.0, |u| u.value().si());
    let u_relative = (u_before * u_before + u_step * u_step).sqrt();
    let spread =
        (u_relative > 0.0).then(|| Spread { given: Given::U(written(u_relative * after)), dof: None, shared: None });
    Ok(RowHolds::Portion {
        batch: batch.clone(),
        portion: portion.clone(),
        dilution: Uncertain { value: written(after), spread },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use darkline_record::run::Run;

    fn run() -> Run {
        let row = |number: u32, name: &str, holds: &str| {
            format!(r#"{{"number": {number}, "cup": {number}, "name": "{name}", "holds": {holds}, "replicates": 3}}"#)
        };
        let portion = |id: &str| {
            format!(r#"{{"is": "portion", "batch": "P1", "portion": "{id}", "dilution": {{"value": "1"}}}}"#)
        };
        let check = r#"{"is": "check", "amount": {"value": "20 µg/L"}}"#;
        let rows = [
            row(1, "check", check),
            row(2, "sage", &portion("sage")),
            row(3, "thyme", &portion("thyme")),
            row(4, "check", check),
            row(5, "check-blank", r#"{"is": "check-blank"}"#),
        ];
        let text = format!(
            r#"{{"id": "R1", "method": "m", "instrument": "bench", "legs": [{{"rows": [{}]}}],
                "readings": [{{"number": 7, "row": 2, "replicate": 1, "attempt": 1, "at": "2026-03-14T09:30:00Z", "signal": {{"bare": "0.1"}}}}]}}"#,
            rows.join(",")
        );
        serde_json::from_str(&text).unwrap()
    }

    fn method() -> ResolvedMethod {
        serde_json::from_str(
            r#"{"id": "m", "version": "1", "title": "t", "element": "Pb", "technique": "furnace",
                "response": {"kind": "integrated-absorbance"},
                "calibration": {"model": "straight-line", "weights": "equal"},
                "replicates": {"n": 3, "sd_at_zero": "0.001 s", "rsd": "2 %"},
                "blank": {"subtract": "nothing"}, "check": {"lowest": "90 %", "highest": "110 %"},
                "u_dilution": "0.5 %",
                "result": {"kind": "mass-fraction", "unit": "mg/kg", "coverage_factor": "2"}}"#,
        )
        .unwrap()
    }

    fn flag(text: &str) -> FlagId {
        text.parse().unwrap()
    }

    #[test]
    fn a_repeat_joins_its_row_and_a_dilution_replaces_it() {
        let steps = [
            (flag("replicate-outlier:reading:R1/7"), NextStep::Repeat { replicates: 1 }),
            (flag("over-range:row:R1/3"), NextStep::Dilute { factor: 5 }),
        ];
        let leg = extend(&run(), &method(), &steps).unwrap();
        let seen: Vec<_> =
            leg.rows.iter().map(|row| (row.number, row.name.as_str(), row.replicates, row.follows)).collect();
        assert_eq!(
            seen,
            [
                (6, "sage", 1, Some(Follows::Joins(2))),
                (7, "thyme-x5", 3, Some(Follows::Replaces(3))),
                (8, "check", 3, None),
                (9, "check-blank", 3, None),
            ]
        );
        let RowHolds::Portion { dilution, .. } = &leg.rows[1].holds else { panic!("a portion stays a portion") };
        assert_eq!(dilution.value.to_string(), "5");
        assert_eq!(dilution.spread.as_ref().unwrap().given.u(), 0.025);
    }

    #[test]
    fn a_failed_bracket_is_measured_again_with_its_check() {
        let steps = [(flag("check-outside-limits:row:R1/4"), NextStep::RepeatSinceLastCheck)];
        let leg = extend(&run(), &method(), &steps).unwrap();
        let follows: Vec<_> = leg.rows.iter().filter_map(|row| row.follows).collect();
        assert_eq!(follows, [Follows::Replaces(2), Follows::Replaces(3), Follows::Replaces(4)]);
    }

    #[test]
    fn repeats_are_fixed_in_number_beforehand_and_a_bracket_is_no_repeat() {
        let (mut run, mut method) = (run(), method());
        method.limits.most_repeats = Some(1);
        let repeat = [(flag("replicate-outlier:reading:R1/7"), NextStep::Repeat { replicates: 1 })];
        let leg = extend(&run, &method, &repeat).unwrap();
        run.legs.push(leg);
        let told = extend(&run, &method, &repeat).unwrap_err();
        assert_eq!(told, LegFault::NoMoreRepeats { row: 2, times: 1, method: "m".into() });
        let bracket = [(flag("check-outside-limits:row:R1/4"), NextStep::RepeatSinceLastCheck)];
        assert!(extend(&run, &method, &bracket).is_ok());
    }

    #[test]
    fn several_flags_about_one_solution_ask_for_it_once() {
        let steps = [
            (flag("replicate-outlier:reading:R1/7"), NextStep::Repeat { replicates: 1 }),
            (flag("pulse-late:reading:R1/7"), NextStep::Repeat { replicates: 1 }),
            (flag("carry-over:row:R1/3"), NextStep::MeasureAgain { replicates: 3 }),
            (flag("over-range:row:R1/3"), NextStep::Dilute { factor: 5 }),
        ];
        let leg = extend(&run(), &method(), &steps).unwrap();
        let seen: Vec<_> = leg.rows.iter().map(|row| (row.name.as_str(), row.replicates)).collect();
        assert_eq!(seen, [("sage", 1), ("thyme-x5", 3), ("check", 3), ("check-blank", 3)]);
        assert_eq!(leg.because.len(), 4, "every flag is a reason of the leg");

        // A bracket measured again covers its rows, but not the dilution of one of them.
        let mut with_bracket = steps.to_vec();
        with_bracket.push((flag("check-outside-limits:row:R1/4"), NextStep::RepeatSinceLastCheck));
        let leg = extend(&run(), &method(), &with_bracket).unwrap();
        let names: Vec<_> = leg.rows.iter().map(|row| row.name.as_str()).collect();
        assert_eq!(names, ["thyme-x5", "sage", "check", "check", "check-blank"]);
    }

    #[test]
    fn a_blank_goes_before_a_row_that_something_was_carried_into() {
        let steps = [(flag("carry-over:row:R1/3"), NextStep::MeasureAgain { replicates: 3 })];
        let leg = extend(&run(), &method(), &steps).unwrap();
        let seen: Vec<_> = leg.rows.iter().map(|row| (row.name.as_str(), row.follows)).collect();
        assert_eq!(
            seen,
            [("check-blank", None), ("thyme", Some(Follows::Replaces(3))), ("check", None), ("check-blank", None)]
        );
    }

    #[test]
    fn a_bracket_is_closed_by_a_check_and_a_blank_alone() {
        let leg = extend(&run(), &method(), &[(flag("bracket-open:row:R1/3"), NextStep::Check)]).unwrap();
        let names: Vec<_> = leg.rows.iter().map(|row| row.name.as_str()).collect();
        assert_eq!(names, ["check", "check-blank"]);
    }

    #[test]
    fn what_this_run_cannot_do_is_told() {
        let on_a_check = [(flag("over-range:row:R1/4"), NextStep::Dilute { factor: 2 })];
        assert_eq!(extend(&run(), &method(), &on_a_check), Err(LegFault::NotDiluted { row: 4, holds: "check" }));
        let elsewhere = [(flag("over-range:row:R2/4"), NextStep::Dilute { factor: 2 })];
        assert!(matches!(extend(&run(), &method(), &elsewhere), Err(LegFault::NoRow { .. })));
        let at_the_digester = [(flag("x:row:R1/2"), NextStep::PrepareAgain)];
        assert!(matches!(extend(&run(), &method(), &at_the_digester), Err(LegFault::NotInThisRun { .. })));
    }
}
