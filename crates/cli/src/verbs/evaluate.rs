//! `darkline evaluate`: results with their uncertainty, flags, and, once controls have passed, conformity.

use darkline_evaluation::Validated;
use darkline_evaluation::open_points::open_points;
use darkline_evaluation::outcome::{
    CalibrationOutcome, ControlKind, CorrelationOutcome, FlagOutcome, FlagState, MonteCarloOutcome, Outcome,
    ResultOutcome, RunOutcome, StatementOutcome, SumOutcome,
};
use darkline_evaluation::procedure::of_edition;
use darkline_evaluation::rejecting::rejections;
use darkline_evaluation::repeating::repeats;
use darkline_exchange::decimal_sign::DecimalSign;
use darkline_laboratory::deciding::step_words;
use darkline_laboratory::{Evaluated, Laboratory};
use darkline_quality::rules;
use darkline_record::decision::NextStep;
use darkline_record::identity::{Edition, OrderId};
pub use darkline_report::result_words::says;
use serde::Serialize;

use super::{order, put_out};
use crate::bench;
use crate::choice_text::choice_text;
use crate::command_line::{Evaluate, Everywhere};
use crate::conformity_text::conformity_text;
use crate::coverage_text::{correlations_text, coverage_text, measured_twice_text, validated_text};
use crate::ending::{Ending, Failure};
use crate::limits_text::{limits_text, result_limits_text};
use crate::paragraph::indented;
use crate::result_text::{cells, significant, statement};
use crate::sum_text::{sum_lines, sums_text};
use crate::table::Table;
use crate::talk;

#[derive(Serialize)]
#[serde(rename_all = "kebab-case", tag = "line")]
enum Line<'a> {
    Outcome {
        schema: &'static str,
        order: &'a str,
        edition: u32,
        outcome: String,
        package: String,
        controls_passed: bool,
        flags_that_stop: usize,
    },
    Result {
        schema: &'static str,
        #[serde(flatten)]
        result: &'a ResultOutcome,
        // The risk that the statement is wrong; the risks over all that is judged stand in the statement itself.
        #[serde(skip_serializing_if = "Option::is_none")]
        specific_risk: Option<f64>,
    },
    Sum {
        schema: &'static str,
        #[serde(flatten)]
        sum: &'a SumOutcome,
    },
    Flag {
        schema: &'static str,
        id: String,
        says: String,
        stops: bool,
        #[serde(flatten)]
        outcome: &'a FlagOutcome,
    },
    Correlation {
        schema: &'static str,
        #[serde(flatten)]
        correlation: &'a CorrelationOutcome,
    },
    MonteCarlo {
        schema: &'static str,
        sample: &'a str,
        element: &'a str,
        unit: &'a str,
        found: Option<&'a MonteCarloOutcome>,
    },
    Run {
        schema: &'static str,
        #[serde(flatten)]
        run: &'a RunOutcome,
    },
}

pub fn run(everywhere: &Everywhere, options: &Evaluate) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let laboratory = bench::read(everywhere)?;
    let evaluated = match options.edition {
        None => laboratory.evaluate(&order)?,
        Some(number) => {
            let evaluated = laboratory.evaluate_with(&order, Edition(number))?;
            let own = laboratory.edition_of(&order)?.unwrap_or(Edition(number));
            if own != Edition(number) {
                let changed = of_edition(Edition(number)).map_or("", |procedure| procedure.what_changed);
                talk::tell(&format!(
                    "Edition {number} instead of {own}, the edition of this order: {changed}. Nothing is stored."
                ));
            }
            evaluated
        }
    };
    let outcome = &evaluated.outcome;
    let ending = if outcome.stopping().next().is_some() { Ending::Stopped } else { Ending::Done };
    match options.output.as_deref() {
        Some(path) if everywhere.json => put_out(path, &as_json(outcome, &validated(&laboratory, &order, options)?)?)?,
        Some(path) => put_out(path, &as_csv(outcome, DecimalSign::Point))?,
        None if everywhere.json => talk::print(&as_json(outcome, &validated(&laboratory, &order, options)?)?)?,
        None => {
            talk::print(&results_text(outcome, &evaluated.package))?;
            if options.details {
                talk::print(&details_text(outcome))?;
                talk::print(&repeats_text(&evaluated)?)?;
                talk::print(&silent_text(&evaluated.package))?;
                talk::print(&open_text(&evaluated.package, outcome))?;
            }
            if let Some(trials) = options.monte_carlo {
                talk::print(&validated_text(&laboratory.validate(&order, trials)?))?;
            }
            talk::print(&flags_text(outcome, &order))?;
        }
    }
    Ok(ending)
}

/// Results held against Monte Carlo, where that was asked for.
fn validated(laboratory: &Laboratory, order: &OrderId, options: &Evaluate) -> Result<Vec<Validated>, Failure> {
    Ok(match options.monte_carlo {
        Some(trials) => laboratory.validate(order, trials)?,
        None => Vec::new(),
    })
}

pub fn as_json(outcome: &Outcome, validated: &[Validated]) -> Result<String, Failure> {
    let schema = "darkline/outcome/1";
    let mut lines = vec![Line::Outcome {
        schema,
        order: outcome.order.as_str(),
        edition: outcome.edition.0,
        outcome: outcome.digest().to_string(),
        package: outcome.package.to_string(),
        controls_passed: outcome.controls_passed,
        flags_that_stop: outcome.stopping().count(),
    }];
    lines.extend(outcome.results.iter().map(|result| Line::Result {
        schema,
        result,
        specific_risk: result.statement.as_ref().and_then(StatementOutcome::specific_risk),
    }));
    lines.extend(outcome.sums.iter().map(|sum| Line::Sum { schema, sum }));
    let correlations = outcome.correlations();
    lines.extend(correlations.iter().map(|correlation| Line::Correlation { schema, correlation }));
    lines.extend(validated.iter().map(|one| Line::MonteCarlo {
        schema,
        sample: one.sample.as_str(),
        element: one.element.as_str(),
        unit: &one.unit,
        found: one.found.as_ref(),
    }));
    lines.extend(outcome.runs.iter().map(|run| Line::Run { schema, run }));
    lines.extend(outcome.flags.iter().map(|flag| Line::Flag {
        schema,
        id: flag.flag.id.to_string(),
        says: says(flag),
        stops: flag.stops(),
        outcome: flag,
    }));
    let texts: Vec<String> =
        lines.iter().map(serde_json::to_string).collect::<Result<_, _>>().map_err(Failure::told)?;
    Ok(texts.iter().map(|text| format!("{text}\n")).collect())
}

/// The results as a table: one block for each determination, since units differ.
pub fn results_text(outcome: &Outcome, package: &darkline_record::package::DataPackage) -> String {
    let mut text = String::new();
    for requested in &package.order.analytes {
        let results: Vec<&ResultOutcome> = outcome
            .results
            .iter()
            .filter(|result| result.element == requested.element && result.method == requested.method)
            .collect();
        let Some(first) = results.first() else { continue };
        let coverage = package
            .method(&requested.method)
            .map_or_else(|| "k = 2".into(), |method| method.result.coverage_factor.label());
        let mut table = Table::new()
            .words("sample")
            .figures(&format!("{} {}", first.element, first.kind), &first.unit)
            .figures(&format!("U ({coverage})"), &first.unit);
        let states = results.iter().any(|result| !cells(result).2.is_empty());
        if states {
            table = table.words("state");
        }
        let shows_conformity = outcome.controls_passed && requested.limit.is_some();
        if let Some(limit) = requested.limit.as_ref().filter(|_| shows_conformity) {
            table = table.words(&format!("at most {} ({})", limit.at_most, limit.decision_rule.words()));
        }
        for result in results {
            let (value, expanded_u, state) = cells(result);
            let mut row = vec![result.sample.to_string(), value, expanded_u];
            if states {
                row.push(state);
            }
            if shows_conformity {
                row.push(result.statement.as_ref().map_or(String::new(), |found| statement(found, result)));
            }
            table.row(row);
        }
        text.push_str(&table.text());
        text.push('\n');
    }
    text.push_str(&sums_text(&package.order.sums, &outcome.sums, outcome.controls_passed));
    text
}

fn details_text(outcome: &Outcome) -> String {
    let mut text = String::new();
    for run in &outcome.runs {
        text.push_str(&pulses_text(run));
        if let Some(calibration) = &run.calibration {
            text.push_str(&calibration_text(run, calibration));
        }
        if let Some(limits) = &run.limits {
            text.push_str(&limits_text(&run.run, &run.amount_unit, limits));
        }
        if !run.controls.is_empty() {
            let mut table = Table::new()
                .figures("row", "")
                .words("control")
                .words("name")
                .figures("found", "")
                .figures("should be", "")
                .words("unit");
            for control in &run.controls {
                let should_be = match control.control {
                    ControlKind::SpikeRecovery => None,
                    _ => control.should_be,
                };
                table.row(vec![
                    control.row.to_string(),
                    control.control.words().into(),
                    control.name.clone(),
                    significant(control.found, 3),
                    should_be.map_or(String::new(), |value| significant(value, 3)),
                    control.unit.clone(),
                ]);
            }
            text.push_str(&table.text());
            text.push('\n');
        }
        let mut table = Table::new()
            .figures("row", "")
            .words("name")
            .words("holds")
            .figures("response", if run.response_unit == "1" { "" } else { &run.response_unit })
            .figures("amount", &run.amount_unit)
            .figures("u", &run.amount_unit)
            .words("readings");
        for solution in &run.solutions {
            let figure = |value: Option<f64>, digits| value.map_or("–".into(), |value| significant(value, digits));
            let replaced = if solution.replaced { ", replaced" } else { "" };
            table.row(vec![
                solution.row.to_string(),
                solution.name.clone(),
                solution.holds.clone(),
                figure(solution.mean_response, 4),
                figure(solution.amount, 4),
                figure(solution.u_amount, 2),
                format!("{} of {}{replaced}", solution.n_counted, solution.n_planned),
            ]);
        }
        text.push_str(&table.text());
        text.push('\n');
        text.push_str(&solids_text(run));
    }
    text.push_str(&result_limits_text(&outcome.results));
    text.push_str(&coverage_text(&outcome.results));
    text.push_str(&measured_twice_text(&outcome.measured_twice()));
    text.push_str(&correlations_text(&outcome.correlations()));
    text.push_str(&conformity_text(outcome));
    text
}

/// How the pulses of a run were read, where that is not by the limits of the method alone.
fn pulses_text(run: &RunOutcome) -> String {
    let mut text = String::new();
    if let Some(limits) = run.integration_limits {
        text.push_str(&format!(
            "run {}: integrated from {:.3} s to {:.3} s, as its standards draw the limits\n\n",
            run.run, limits.from_s, limits.to_s
        ));
    }
    let mut table = Table::new().figures("reading", "").figures("row", "").figures("area measured", "s");
    table = table
        .figures("restored", "s")
        .figures("u of noise", "s")
        .figures("u of curve", "s")
        .figures("beyond roll-over from", "s");
    table = table.figures("to", "s");
    let mut any = false;
    for reading in &run.readings {
        let Some(restored) = reading.restored else { continue };
        let Some((from_s, to_s)) = restored.dip_s else { continue };
        any = true;
        let u_of_curve = (restored.by_roll_over * restored.by_roll_over
            + restored.by_sensitivity_ratio * restored.by_sensitivity_ratio
            + restored.by_left_at_middle * restored.by_left_at_middle)
            .sqrt();
        let figure = |value: Option<f64>| value.map_or("–".into(), |value| significant(value, 3));
        table.row(vec![
            reading.reading.number.to_string(),
            reading.row.to_string(),
            significant(restored.measured, 4),
            reading.response.map_or("–".into(), |response| significant(response, 4)),
            figure(reading.u_noise),
            figure(Some(u_of_curve)),
            format!("{from_s:.2}"),
            format!("{to_s:.2}"),
        ]);
    }
    if any {
        text.push_str(&table.text());
        text.push('\n');
    }
    text
}

/// Weighed portions one by one, and what they tell of their material.
fn solids_text(run: &RunOutcome) -> String {
    let Some(unit) = run.solids.first().map(|solid| solid.unit.as_str()) else { return String::new() };
    let mut portions = Table::new().figures("row", "").words("name").figures("reading", "");
    portions = portions.figures("mass", "mg").figures("mass fraction", unit);
    for solid in &run.solids {
        for portion in &solid.portions {
            portions.row(vec![
                solid.row.to_string(),
                solid.name.clone(),
                portion.number.to_string(),
                format!("{:.3}", portion.mass_mg),
                significant(portion.mass_fraction, 4),
            ]);
        }
    }
    let mut table = Table::new().figures("row", "").words("name").figures("portions", "").figures("mean", unit);
    table = table.figures("scatter", "%").figures("K_s", "mg").figures("H_E", "% mg^½").figures("needed", "");
    for solid in &run.solids {
        let figure = |value: Option<f64>| value.map_or("–".into(), |value| significant(value, 3));
        table.row(vec![
            solid.row.to_string(),
            solid.name.clone(),
            solid.portions.len().to_string(),
            significant(solid.mean, 4),
            figure(solid.rsd_percent),
            figure(solid.sampling_constant_mg),
            figure(solid.homogeneity_factor),
            solid.portions_needed.map_or("–".into(), |n| n.to_string()),
        ]);
    }
    let mut text = format!("{}\n{}\n", portions.text(), table.text());
    for solid in &run.solids {
        let Some((found, u)) = solid.powder_recovery else { continue };
        let apart = (found - 1.0).abs() / u;
        let verdict = if apart <= 2.0 { "agree" } else { "do not agree" };
        text.push_str(&format!(
            "{}: solutions find {} of what the powder holds, u = {}: powders and solutions {verdict} ({} u apart)\n",
            solid.name,
            significant(found, 3),
            significant(u, 2),
            significant(apart, 2)
        ));
    }
    text.push('\n');
    text
}

/// For the internal part: what each rejection changed, and what chance of passing repeats gave.
fn repeats_text(evaluated: &Evaluated) -> Result<String, Failure> {
    let mut text = String::new();
    let rejections = rejections(&evaluated.package, &evaluated.decisions).map_err(Failure::told)?;
    for rejection in rejections {
        text.push_str(&format!("reading {} rejected: {}\n", rejection.reading, rejection.reason));
        if rejection.changed.is_empty() {
            text.push_str("  it changes no result\n");
        }
        for changed in &rejection.changed {
            let figure = |value: Option<f64>| value.map_or("no result".into(), |value| significant(value, 4));
            let (with, without) = (figure(changed.with), figure(changed.without));
            let line = format!(
                "{} {}: {with} with it, {without} without it ({})",
                changed.sample, changed.element, changed.unit
            );
            text.push_str(&indented(&line, 2));
        }
    }
    for repeats in repeats(&evaluated.package) {
        let allowed = repeats.allowed.map_or("the method fixes no number".into(), |most| format!("{most} allowed"));
        let line = format!(
            "{} {}: measured again {} times ({allowed}); a true value at the limit passes with a chance of {} %",
            repeats.sample,
            repeats.element,
            repeats.repeated,
            significant(100.0 * repeats.chance, 2)
        );
        text.push_str(&indented(&line, 0));
    }
    if !text.is_empty() {
        text.push('\n');
    }
    Ok(text)
}

/// The rules that keep silent because a method states no limit for them.
fn silent_text(package: &darkline_record::package::DataPackage) -> String {
    let mut text = String::new();
    for method in &package.methods {
        let silent: Vec<&str> =
            rules::silent_without(&method.limits, method.technique).into_iter().map(|(_, keys)| keys).collect();
        if !silent.is_empty() {
            let line = format!("method {} has no limits that some rules need: {}", method.id, silent.join(", "));
            text.push_str(&indented(&line, 0));
        }
    }
    text
}

/// What is open while the instrument is warm.
fn open_text(package: &darkline_record::package::DataPackage, outcome: &Outcome) -> String {
    let points = open_points(package, outcome);
    points.iter().map(|point| indented(&format!("open: {}", point.words()), 0)).collect()
}

fn calibration_text(run: &RunOutcome, calibration: &CalibrationOutcome) -> String {
    let unit = if run.response_unit == "1" { "" } else { &run.response_unit };
    let CalibrationOutcome { model, n_points, weights, dof, slope_unit, .. } = calibration;
    let mut table = Table::new().words("").figures("value", "").figures("u", "").words("unit");
    let row = |name: &str, value: String, u: String, unit: &str| vec![name.into(), value, u, unit.to_owned()];
    if let Some(line) = &calibration.line {
        table.row(row("intercept", significant(line.intercept, 4), significant(line.u_intercept, 2), unit));
        table.row(row("slope", significant(line.slope, 5), significant(line.u_slope, 2), slope_unit));
    }
    for parameter in &calibration.parameters {
        let u = parameter.u.map_or_else(String::new, |u| significant(u, 2));
        table.row(row(&parameter.name, significant(parameter.value, 5), u, &parameter.unit));
    }
    if let Some(residual_sd) = calibration.residual_sd {
        // Under weights by 1/u² it is a ratio, without the unit of the responses.
        let (residual_sd, of_weight_one) = (significant(residual_sd, 4), weights != "equal");
        let name =
            if of_weight_one { "residual standard deviation of weight one" } else { "residual standard deviation" };
        table.row(row(name, residual_sd, String::new(), if of_weight_one { "" } else { unit }));
    }
    table.row(row("degrees of freedom", dof.to_string(), String::new(), ""));
    if let Some(line) = &calibration.line {
        table.row(row("correlation coefficient", format!("{:.4}", line.r), String::new(), ""));
    }
    let amounts = if calibration.amounts.are_exact() { "" } else { ", amounts uncertain" };
    let mut text =
        format!("run {}: {model}, {n_points} points, weights: {weights}{amounts}\n{}\n", run.run, table.text());
    if let Some(choice) = &calibration.choice {
        text.push_str(&choice_text(choice, &run.amount_unit));
    }
    text
}

/// The flags, those that stop the report last, with what may be done about each.
pub fn flags_text(outcome: &Outcome, order: &OrderId) -> String {
    let mut text = String::new();
    let settled: Vec<&FlagOutcome> = outcome.flags.iter().filter(|flag| !flag.stops()).collect();
    for flag in &settled {
        let state = match &flag.state {
            FlagState::Justified { reason } => format!("justified: {reason}"),
            _ => "told, stops nothing".into(),
        };
        text.push_str(&format!("  {}\n{}{}", flag.flag.id, indented(&says(flag), 4), indented(&state, 4)));
    }
    let stopping: Vec<&FlagOutcome> = outcome.stopping().collect();
    if stopping.is_empty() {
        if !outcome.controls_passed {
            text.push_str("conformity is not stated until all controls have been measured\n");
        }
        return text;
    }
    let (what, they) = if stopping.len() == 1 { ("flag stops", "it is") } else { ("flags stop", "they are") };
    text.push_str(&format!("{} {what} this report; conformity is not stated until {they} settled\n", stopping.len()));
    for flag in stopping {
        text.push_str(&format!("  {}\n{}", flag.flag.id, indented(&says(flag), 4)));
        let waiting = match &flag.state {
            FlagState::TakenUp { step } => Some(indented(
                &format!("taken up: {}; its readings are awaited (darkline plan {order})", step_words(step)),
                4,
            )),
            FlagState::Reopened => Some("    justified once on other evidence: look again\n".into()),
            _ => None,
        };
        match waiting {
            Some(waiting) => text.push_str(&waiting),
            None => text.push_str(&next_text(flag, order)),
        }
    }
    text
}

fn next_text(flag: &FlagOutcome, order: &OrderId) -> String {
    let mut text = String::new();
    let step = |(place, step): (usize, &NextStep)| match flag.costs.get(place).and_then(Option::as_ref) {
        Some(cost) => format!("{} ({})", step_words(step), cost.words()),
        None => step_words(step),
    };
    let steps: Vec<String> = flag.flag.next.iter().enumerate().map(step).collect();
    if let Some(first) = flag.flag.next.first() {
        let reject = match (&flag.flag.id.subject, first) {
            (darkline_record::decision::Subject::Reading(reading), NextStep::Repeat { .. }) => {
                format!("--reject {reading} ")
            }
            _ => String::new(),
        };
        text.push_str(&indented(&format!("Next: {}", steps.join(", or ")), 4));
        text.push_str(&format!("      darkline decide {order} {reject}--take-up {} --reason \"…\"\n", flag.flag.id));
    }
    text
}

pub fn as_csv(outcome: &Outcome, sign: DecimalSign) -> String {
    use darkline_evaluation::outcome::Reported;
    let head = [
        "sample",
        "element",
        "kind",
        "unit",
        "state",
        "value",
        "u",
        "expanded_u",
        "coverage_factor",
        "limit",
        "statement",
    ];
    let figure = |figure: Option<f64>| figure.map_or(String::new(), |figure| format!("{figure}"));
    let line = |result: &ResultOutcome| {
        let (state, value) = match &result.reported {
            Reported::Value { result } => ("value".to_owned(), Some(result)),
            Reported::BelowLoq { written, .. } => (format!("below LOQ {written}"), None),
            Reported::Awaiting { .. } => ("awaiting".into(), None),
            Reported::Withheld { because, .. } => (format!("withheld {because}"), None),
        };
        vec![
            result.sample.to_string(),
            result.element.to_string(),
            result.kind.clone(),
            result.unit.clone(),
            state,
            figure(value.map(|value| value.value)),
            figure(value.map(|value| value.u)),
            figure(value.map(|value| value.expanded_u)),
            figure(value.map(|value| value.coverage_factor)),
            result.statement.as_ref().map_or(String::new(), |found| found.limit.clone()),
            result.statement.as_ref().map_or(String::new(), |found| found.statement.to_string()),
        ]
    };
    let results = outcome.results.iter().map(line);
    let lines: Vec<Vec<String>> = results.chain(outcome.sums.iter().flat_map(sum_lines)).collect();
    darkline_exchange::results::write_in(&head, &lines, sign)
}
