//! An element in a run: its calibration with residuals and band, checks and blanks over time, and its solutions.

use darkline_evaluation::outcome::{CalibrationOutcome, ControlKind, ControlOutcome, Outcome, RunOutcome};
use darkline_metrology::kind::Kind;
use darkline_quality::sensitivity::characteristic_mass;
use darkline_record::decision::Subject;
use darkline_record::method::{ResolvedMethod, Technique};
use darkline_report::calibration_part::because;
use darkline_report::drawn;
use darkline_report::figure::{ControlChart, ControlPoint, Medium, Scale, control_chart};
use darkline_report::printed::significant;
use maud::html;

use super::run::of_run;
use super::{at_order, at_run, order_of, run_of};
use crate::answer::{Answer, Refused};
use crate::asked::Asked;
use crate::desk::Desk;
use crate::page::{Fact, Page};
use crate::sheet::{Cell, Mark, Sheet};

/// The characteristic mass that a calibration shows, in pg; where the method injects a stated volume into a furnace.
///
/// # Arguments
/// * `calibration`: a straight line over µg/L.
pub(crate) fn mass_of(run: &RunOutcome, method: &ResolvedMethod, calibration: &CalibrationOutcome) -> Option<f64> {
    let line = calibration.line.as_ref()?;
    let volume = method.limits.injected_volume.as_ref().filter(|_| method.technique == Technique::Furnace)?;
    // µL times µg/L is pg; the response of 1 µg/L above the intercept is the slope.
    let microlitres = volume.value().si() * 1e9;
    (run.amount_unit == "µg/L" && run.response_unit == "s").then(|| characteristic_mass(microlitres, line.slope))?
}

/// Whether a flag about this row stops the report.
fn is_out(outcome: &Outcome, run: &RunOutcome, row: u32) -> bool {
    let about = |subject: &Subject| matches!(subject, Subject::Row(id) if id.run == run.run && id.number == row);
    outcome.flags.iter().any(|flag| {
        about(&flag.flag.id.subject)
            && ["check-outside-limits", "blank-above-limit"]
                .iter()
                .any(|rule| flag.flag.id.rule.as_str().starts_with(rule))
    })
}

/// The page of an element in a run.
pub(crate) fn show(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let (order, run) = (order_of(asked)?, run_of(asked)?);
    let evaluated = desk.evaluated(&order)?;
    let of = of_run(&evaluated, &run)?;
    let Some(method) = evaluated.package.method(&of.run.method) else {
        return Err(Refused::no_page("the method of this run is not in the record"));
    };
    let mut page = Page::new(format!("{} in run {run}", method.element))
        .under(format!("Order {order}"), at_order(&order))
        .under(format!("Run {run}"), at_run(&order, &run));
    page.foot = format!("order {order}, run {run}, {}", method.element);
    match &of.outcome.calibration {
        Some(calibration) => {
            page.heading("Calibration");
            calibrated(&mut page, of.outcome, method, calibration);
        }
        None => page.words(html! { p.nothing { "There is no calibration yet." } }),
    }
    page.heading("Checks and blanks over the run");
    let kinds = [ControlKind::CheckStandard, ControlKind::CheckBlank, ControlKind::MethodBlank];
    for kind in kinds {
        let of_kind: Vec<&ControlOutcome> =
            of.outcome.controls.iter().filter(|control| control.control == kind).collect();
        if !of_kind.is_empty() {
            page.figure(over_time(&evaluated.outcome, of.outcome, method, kind, &of_kind));
        }
    }
    page.sheet(controls(&evaluated.outcome, of.outcome));
    page.heading("Readings");
    page.sheet(super::run::readings(&order, &of, 0));
    Ok(page.into())
}

fn calibrated(page: &mut Page, run: &RunOutcome, method: &ResolvedMethod, calibration: &CalibrationOutcome) {
    page.figure(drawn::calibration(run, method, calibration, Medium::Page));
    let mut facts = vec![
        Fact::new("model", "calibration function", calibration.model.as_str()),
        Fact::new("weights", "weights", calibration.weights.as_str()),
        Fact::new("points", "points", calibration.n_points.to_string()),
        Fact::new("dof", "degrees of freedom", calibration.dof.to_string()),
    ];
    if let Some(choice) = &calibration.choice {
        facts.push(Fact::new("chosen", "chosen", because(choice)));
    }
    if let Some(mass) = mass_of(run, method, calibration) {
        let usual = method
            .limits
            .characteristic_mass
            .as_ref()
            .map_or_else(String::new, |usual| format!(", the method expects {usual}"));
        let says = format!("{} pg{usual}", significant(mass, 3));
        facts.push(Fact::new("characteristic_mass", "characteristic mass", says).linked("/quality"));
    }
    page.facts(facts);
    let unit = if run.response_unit == "1" { "" } else { run.response_unit.as_str() };
    let mut coefficients = Sheet::new("coefficients", "Coefficients")
        .words("name", "name")
        .figures("value", "value", "")
        .figures("u", "standard uncertainty", "")
        .words("unit", "unit")
        .in_order();
    let mut add = |name: &str, value: f64, u: Option<f64>, unit: &str| {
        coefficients.row(vec![
            Cell::text(name),
            Cell::figure(value, significant(value, 5)),
            Cell::maybe(u, |u| significant(u, 2)),
            Cell::text(unit),
        ]);
    };
    if let Some(line) = &calibration.line {
        add("intercept", line.intercept, Some(line.u_intercept), unit);
        add("slope", line.slope, Some(line.u_slope), &calibration.slope_unit);
    }
    for parameter in &calibration.parameters {
        add(&parameter.name, parameter.value, parameter.u, &parameter.unit);
    }
    page.sheet(coefficients);
    let mut points = Sheet::new("points", "Calibration points")
        .words("reading", "reading")
        .figures("amount", "amount", &run.amount_unit)
        .figures("response", "response", unit)
        .figures("residual", "residual", unit)
        .figures("weight", "weight", "");
    for point in &calibration.points {
        points.row(vec![
            Cell::text(point.reading.to_string()),
            Cell::figure(point.amount, significant(point.amount, 4)),
            Cell::figure(point.response, significant(point.response, 4)),
            Cell::figure(point.residual, significant(point.residual, 2)),
            Cell::figure(point.weight, significant(point.weight, 3)),
        ]);
    }
    page.sheet(points);
}

fn over_time(
    outcome: &Outcome,
    run: &RunOutcome,
    method: &ResolvedMethod,
    kind: ControlKind,
    controls: &[&ControlOutcome],
) -> darkline_report::figure::Figure {
    let names: Vec<String> = controls.iter().map(|control| control.row.to_string()).collect();
    let points: Vec<ControlPoint<'_>> = controls
        .iter()
        .zip(&names)
        .map(|(control, name)| ControlPoint { name, found: control.found, out: is_out(outcome, run, control.row) })
        .collect();
    let unit = controls.first().map_or("", |control| control.unit.as_str());
    // The limits of a check are percentages of what it should be; only where all are of one level is there one line.
    let should_be = controls.first().and_then(|control| control.should_be);
    let is_one_level = controls.iter().all(|control| control.should_be == should_be);
    let of_level = |ratio: f64| {
        should_be.filter(|_| is_one_level && kind == ControlKind::CheckStandard).map(|level| level * ratio)
    };
    let blank = (kind == ControlKind::MethodBlank)
        .then_some(method.blank.highest.as_ref())
        .flatten()
        .filter(|highest| highest.unit().symbol() == unit)
        .map(|highest| highest.unit().read_si(highest.value().si()));
    control_chart(
        &ControlChart {
            id: &format!("{}-{}", kind.words().replace(' ', "-"), run.run),
            title: &format!("{} in run {}", kind.words(), run.run),
            found: Scale { kind: "found", unit },
            along: "row of the run",
            points: &points,
            centre: should_be.filter(|_| is_one_level),
            lower: of_level(method.check.lowest.value().si()),
            upper: of_level(method.check.highest.value().si()).or(blank),
        },
        Medium::Page,
    )
}

/// The controls of a run as a table.
pub(crate) fn controls(outcome: &Outcome, run: &RunOutcome) -> Sheet {
    let mut sheet = Sheet::new("controls", format!("Controls of run {}", run.run))
        .figures("row", "row", "")
        .words("control", "control")
        .words("name", "name on the cup")
        .figures("found", "found", "")
        .figures("should_be", "should be", "")
        .words("unit", "unit")
        .words("outcome", "outcome")
        .or_else_say("No control was measured yet.");
    for control in &run.controls {
        let is_out = is_out(outcome, run, control.row);
        let (mark, word) = if is_out { (Mark::Stops, "flagged") } else { (Mark::InOrder, "in order") };
        sheet.row(vec![
            Cell::count(control.row),
            Cell::text(control.control.words()),
            Cell::text(control.name.as_str()),
            Cell::figure(control.found, significant(control.found, 3)),
            Cell::maybe(control.should_be, |value| significant(value, 3)),
            Cell::text(control.unit.as_str()),
            Cell::status(mark, word),
        ]);
    }
    sheet
}
