//! Quality over many runs: control charts with their rules, and the diary of the characteristic mass, one method after the other.
//!
//! Only the newest runs are looked into; each point is worked out from its own order as it stands now.

use std::collections::BTreeMap;

use darkline_evaluation::outcome::ControlKind;
use darkline_quality::chart::run_rules::NELSON;
use darkline_quality::chart::shewhart::individuals;
use darkline_record::identity::OrderId;
use darkline_report::figure::{ControlChart, ControlPoint, Medium, Scale, control_chart};
use darkline_report::printed::significant;
use maud::html;

use super::deciding::as_id;
use super::element::mass_of;
use super::{at_order, at_run};
use crate::answer::{Answer, Refused};
use crate::asked::Asked;
use crate::desk::Desk;
use crate::page::Page;
use crate::sheet::{Cell, Mark, Sheet};

/// Orders that are looked into.
const MOST_ORDERS: usize = 40;
/// Points that a chart needs before it has limits of its own (our choice).
const LEAST_POINTS: usize = 5;

/// A point of a chart.
struct Point {
    order: OrderId,
    run: String,
    at: String,
    found: f64,
}

/// What is charted: method, what, unit.
type Series = BTreeMap<(String, String, String), Vec<Point>>;

fn series(desk: &Desk) -> Result<Series, Refused> {
    let orders: Vec<OrderId> = {
        let laboratory = desk.laboratory()?;
        let known = laboratory.state().orders.values().rev().filter(|known| known.edition.is_some());
        known.take(MOST_ORDERS).map(|known| known.order.id.clone()).collect()
    };
    let mut series = Series::new();
    for order in orders.iter().rev() {
        let Ok(evaluated) = desk.evaluated(order) else { continue };
        for run in &evaluated.outcome.runs {
            let Some(planned) = evaluated.package.runs.iter().find(|known| known.id == run.run) else { continue };
            let Some(method) = evaluated.package.method(&run.method) else { continue };
            let at = planned.readings.first().map_or_else(String::new, |reading| reading.at.as_str().to_owned());
            let mut add = |what: String, unit: &str, found: f64| {
                let point = Point { order: order.clone(), run: run.run.to_string(), at: at.clone(), found };
                series.entry((run.method.to_string(), what, unit.to_owned())).or_default().push(point);
            };
            for control in &run.controls {
                let what = match (control.control, control.should_be) {
                    (ControlKind::CheckStandard | ControlKind::ControlSample, Some(should_be)) => {
                        format!("{}, should be {} {}", control.control.words(), significant(should_be, 3), control.unit)
                    }
                    (ControlKind::Duplicates, _) => "difference of duplicates".to_owned(),
                    (kind, _) => kind.words().to_owned(),
                };
                add(what, &control.unit, control.found);
            }
            if let Some(mass) = run.calibration.as_ref().and_then(|calibration| mass_of(run, method, calibration)) {
                add("characteristic mass".into(), "pg", mass);
            }
        }
    }
    for points in series.values_mut() {
        points.sort_by(|one, other| one.at.cmp(&other.at));
    }
    Ok(series)
}

/// The page.
pub(crate) fn show(desk: &Desk, _: &Asked) -> Result<Answer, Refused> {
    let mut page = Page::new("Quality");
    let series = series(desk)?;
    let mut sheet = Sheet::new("points", "Every point of the charts")
        .words("method", "method")
        .words("what", "what")
        .words("order", "order")
        .words("run", "run")
        .words("at", "at")
        .figures("found", "found", "")
        .words("unit", "unit")
        .words("rules", "rules broken")
        .or_else_say("No control was measured yet.");
    page.words(html! {
        p {
            "Controls in the order they were measured. Limits are those of the moving range, from " (LEAST_POINTS)
            " points on; a cross broke one of Nelson's rules (J. Qual. Technol. 16, 1984, 237)."
        }
    });
    let mut method_before = String::new();
    for ((method, what, unit), points) in &series {
        if *method != method_before {
            page.heading(method.clone());
            method_before.clone_from(method);
        }
        let values: Vec<f64> = points.iter().map(|point| point.found).collect();
        let chart = Some(&values).filter(|values| values.len() >= LEAST_POINTS).and_then(|values| individuals(values));
        let mut broken: Vec<Vec<String>> = vec![Vec::new(); points.len()];
        if let Some(chart) = &chart {
            let sd = (chart.location.upper - chart.location.centre) / 3.0;
            if sd > 0.0 {
                let z: Vec<f64> = values.iter().map(|value| (value - chart.location.centre) / sd).collect();
                for rule in NELSON {
                    for place in rule.fires(&z) {
                        broken[place].push(rule.name());
                    }
                }
            }
        }
        let shown: Vec<ControlPoint<'_>> = points
            .iter()
            .zip(&broken)
            .map(|(point, broken)| ControlPoint { name: &point.run, found: point.found, out: !broken.is_empty() })
            .collect();
        page.figure(control_chart(
            &ControlChart {
                id: &as_id(&format!("{method} {what}")),
                title: &format!("{what}, {method}"),
                found: Scale { kind: "found", unit },
                along: "run",
                points: &shown,
                centre: chart.map(|chart| chart.location.centre),
                lower: chart.map(|chart| chart.location.lower),
                upper: chart.map(|chart| chart.location.upper),
            },
            Medium::Page,
        ));
        for (point, broken) in points.iter().zip(&broken) {
            let run = point.run.parse().map_or_else(|_| at_order(&point.order), |run| at_run(&point.order, &run));
            let rules = if broken.is_empty() { Cell::nothing() } else { Cell::status(Mark::Stops, broken.join(", ")) };
            sheet.row(vec![
                Cell::text(method.as_str()),
                Cell::text(what.as_str()),
                Cell::text(point.order.as_str()).linked(at_order(&point.order)),
                Cell::text(point.run.as_str()).linked(run),
                Cell::text(super::to_the_minute(&point.at)),
                Cell::figure(point.found, significant(point.found, 3)),
                Cell::text(unit.as_str()),
                rules,
            ]);
        }
    }
    page.heading("Points");
    page.sheet(sheet);
    Ok(page.into())
}
