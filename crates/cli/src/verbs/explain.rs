//! `darkline explain`: how a result came about, from reading to figure, and its budget by source.

use darkline_evaluation::UsedCalibration;
use darkline_evaluation::outcome::{GlobalRiskOutcome, ResultOutcome, ValueOutcome};
use darkline_metrology::model::{Derivation, Step, figure};
use darkline_record::identity::{Element, SampleId};
use serde::Serialize;

use super::order;
use crate::bench;
use crate::choice_text::choice_text;
use crate::command_line::{Everywhere, Explain};
use crate::coverage_text::coverage_text;
use crate::ending::{Ending, Failure};
use crate::limits_text::result_limits_text;
use crate::paragraph::indented;
use crate::result_text::{cells, degrees_of_freedom, significant};
use crate::table::Table;
use crate::talk;

#[derive(Serialize)]
struct ExplanationLine<'a> {
    schema: &'static str,
    result: &'a darkline_evaluation::outcome::ResultOutcome,
    steps: Vec<StepLine<'a>>,
    budget_by_stage: Vec<darkline_evaluation::outcome::BudgetLine>,
    calibrations: &'a [UsedCalibration],
}

#[derive(Serialize)]
struct StepLine<'a> {
    name: &'a str,
    symbols: &'a str,
    numbers: &'a str,
    value: f64,
    u: f64,
    unit: &'a str,
}

pub fn run(everywhere: &Everywhere, options: &Explain) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let sample: SampleId = options.sample.parse().map_err(Failure::told)?;
    let element: Option<Element> =
        options.element.as_deref().map(|text| text.parse().map_err(Failure::told)).transpose()?;
    let laboratory = bench::read(everywhere)?;
    let explanation = laboratory.explain(&order, &sample, element.as_ref())?;
    if everywhere.json {
        let steps =
            explanation.derivation.iter().flat_map(|derivation| derivation.steps.iter().map(StepLine::of)).collect();
        talk::print_json(&ExplanationLine {
            schema: "darkline/explanation/1",
            result: &explanation.result,
            steps,
            budget_by_stage: explanation.result.reported.found().map(ValueOutcome::by_stage).unwrap_or_default(),
            calibrations: &explanation.calibrations,
        })?;
        return Ok(Ending::Done);
    }
    let result = &explanation.result;
    let (value, expanded_u, state) = cells(result);
    let mut text = format!("{} in {}: {}", result.element, result.sample, result.kind);
    text.push_str(&if state.is_empty() {
        format!(" {value} ± {expanded_u} {}\n\n", result.unit)
    } else {
        format!(", {state}\n\n")
    });
    if let Some(derivation) = &explanation.derivation {
        text.push_str(&derivation_text(derivation));
    }
    text.push_str(&calibrations_text(&explanation.calibrations));
    if let Some(found) = result.reported.found() {
        text.push('\n');
        text.push_str(&budget_text(found, &result.unit));
        text.push('\n');
        text.push_str(&stages_text(found, &result.unit));
        text.push_str(&coverage_text(std::slice::from_ref(result)));
        text.push_str(&result_limits_text(std::slice::from_ref(result)));
        text.push_str(&conformity_text(result));
    }
    talk::print(&text)?;
    Ok(Ending::Done)
}

impl<'a> StepLine<'a> {
    fn of(step: &'a Step) -> Self {
        Self {
            name: &step.name,
            symbols: &step.symbols,
            numbers: &step.numbers,
            value: step.value,
            u: step.u,
            unit: step.unit,
        }
    }
}

/// What the amounts were read from, and what decided between functions where the method lets it choose.
fn calibrations_text(calibrations: &[UsedCalibration]) -> String {
    let mut text = String::new();
    for used in calibrations {
        let of = &used.calibration;
        let words = format!("calibration of run {}: {}, weights: {}", used.run, of.model, of.weights);
        text.push_str(&format!("\n{}", indented(&words, 0)));
        if let Some(choice) = &of.choice {
            text.push_str(&choice_text(choice, &used.amount_unit));
        }
    }
    text
}

/// The steps, inputs in one line each, results with their equation in names and in numbers.
fn derivation_text(derivation: &Derivation) -> String {
    let mut text = String::from("derivation\n");
    let width = derivation
        .steps
        .iter()
        .map(|step| unicode_width::UnicodeWidthStr::width(step.name.as_str()))
        .max()
        .unwrap_or(0);
    for step in &derivation.steps {
        let unit = if step.unit == "1" { String::new() } else { format!(" {}", step.unit) };
        let u = if step.u == 0.0 { "exact".into() } else { format!("u = {}{unit}", significant(step.u, 2)) };
        let padding = " ".repeat(width - unicode_width::UnicodeWidthStr::width(step.name.as_str()));
        let value = figure(step.value);
        if step.symbols.is_empty() {
            text.push_str(&format!("  {}{padding} = {value}{unit}    {u}\n", step.name));
            continue;
        }
        text.push_str(&format!("  {}{padding} = {}\n", step.name, step.symbols));
        let indent = " ".repeat(width + 2);
        if step.numbers != step.symbols {
            text.push_str(&format!("{indent} = {}\n", step.numbers));
        }
        text.push_str(&format!("{indent} = {value}{unit}    {u}\n"));
    }
    text
}

/// The statement of conformity with its rule and the risks that go with it.
fn conformity_text(result: &ResultOutcome) -> String {
    let Some(found) = &result.statement else { return String::new() };
    let mut lines =
        vec![format!("{}: at most {}, {}", found.statement, found.limit, found.origin), found.decision_rule.clone()];
    if let Some(probability) = found.probability_of_conformity {
        lines.push(format!("probability of conformity {} %", significant(100.0 * probability, 4)));
    }
    if let Some(width) = found.guard_band {
        lines.push(format!("guard band {} {}", significant(width, 3), result.unit));
    }
    lines.extend(found.replicates.map(|replicates| replicates.words()));
    if let Some(risk) = found.specific_risk() {
        lines.push(format!("risk that this statement is wrong {} %", significant(100.0 * risk, 3)));
    }
    lines.extend(found.global_risk.as_ref().map(GlobalRiskOutcome::words));
    let mut text = String::from("conformity\n");
    for line in lines {
        text.push_str(&indented(&line, 2));
    }
    text
}

fn stages_text(found: &ValueOutcome, unit: &str) -> String {
    let mut table = Table::new().words("budget by stage").figures("u", unit).figures("share", "%");
    for line in found.by_stage() {
        table.row(vec![line.source.clone(), significant(line.u, 3), format!("{:.1}", 100.0 * line.share)]);
    }
    format!("{}\n", table.text())
}

fn budget_text(found: &ValueOutcome, unit: &str) -> String {
    let mut table = Table::new().words("budget by source").figures("u", unit).figures("share", "%");
    for line in &found.budget {
        table.row(vec![line.source.clone(), significant(line.u, 3), format!("{:.1}", 100.0 * line.share)]);
    }
    table.row(vec!["combined".into(), significant(found.u, 3), "100.0".into()]);
    format!(
        "{}\nU = k·u = {} · {} = {} {unit}; degrees of freedom: {}\n",
        table.text(),
        darkline_report::printed::coverage_factor(found),
        significant(found.u, 3),
        significant(found.expanded_u, 3),
        degrees_of_freedom(found)
    )
}
