//! One result: what is reported, how it came about as an auditor reads it, and its budget as a figure and a table.

use darkline_laboratory::LaboratoryError;
use darkline_metrology::model::figure;
use darkline_record::identity::{Element, SampleId};
use darkline_report::drawn;
use darkline_report::figure::Medium;
use darkline_report::printed::significant;
use darkline_report::result_words::{cells, degrees_of_freedom};
use maud::html;

use super::{at_order, at_run, count, order_of};
use crate::answer::{Answer, Refused};
use crate::asked::Asked;
use crate::desk::Desk;
use crate::page::{Fact, Page, Part};
use crate::sheet::{Cell, Sheet};

/// The page of a result.
pub(crate) fn show(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let order = order_of(asked)?;
    let no_page = || Refused::no_page("order, sample and element stand in this address");
    let sample: SampleId = asked.part(1).parse().map_err(|_| no_page())?;
    let element: Element = asked.part(2).parse().map_err(|_| no_page())?;
    let evaluated = desk.evaluated(&order)?;
    let explained = darkline_evaluation::explain(&evaluated.package, &evaluated.decisions, &sample, Some(&element));
    let explained = explained.map_err(LaboratoryError::from)?;
    let result = &explained.result;
    let mut page = Page::new(format!("{element} in {sample}"))
        .under("Orders", "/orders")
        .under(format!("Order {order}"), at_order(&order));
    page.foot = format!("order {order}, {element} in {sample}");
    let (value, expanded_u, state) = cells(result);
    let says = if state.is_empty() {
        format!("{}: ({value} ± {expanded_u}) {}", result.kind, result.unit)
    } else {
        format!("{}, {state}", result.kind)
    };
    page.words(html! { div.large.plain { (super::deciding::capital(&says)) } });
    let described = evaluated.package.order.samples.iter().find(|known| known.id == sample);
    let mut facts = vec![
        Fact::new("sample", "sample", described.map_or("", |known| known.description.as_str())),
        Fact::new("method", "method", result.method.as_str()),
    ];
    for row in &result.rows {
        facts.push(Fact::new("row", "rests on", format!("row {row}")).linked(format!(
            "{}?scan={}",
            at_run(&order, &row.run),
            row.number
        )));
    }
    if let Some(statement) = result.statement.as_ref().filter(|_| evaluated.outcome.controls_passed) {
        facts.push(Fact::new(
            "statement",
            "conformity",
            format!("{}: at most {}, {}", statement.statement, statement.limit, statement.origin),
        ));
        facts.push(Fact::new("rule", "decision rule", statement.decision_rule.as_str()));
        if let Some(probability) = statement.probability_of_conformity {
            facts.push(Fact::new(
                "probability",
                "probability of conformity",
                format!("{} %", significant(100.0 * probability, 4)),
            ));
        }
        if let Some(replicates) = statement.replicates {
            facts.push(Fact::new("replicates", "more readings", replicates.words()));
        }
    }
    page.facts(facts);
    if let Some(found) = result.reported.found() {
        page.heading("Uncertainty budget");
        let id = format!("budget-{sample}-{element}");
        page.figure(drawn::budget(found, &id, &format!("{element} in {sample}"), &result.unit, Medium::Page));
        let mut stages = Sheet::new("budget", "Budget by stage, largest share first")
            .words("source", "stage")
            .figures("u", "u", &result.unit)
            .figures("share", "share of the variance", "%")
            .in_order();
        for line in found.by_stage() {
            stages.row(vec![
                Cell::text(line.source.as_str()),
                Cell::figure(line.u, significant(line.u, 3)),
                Cell::figure(100.0 * line.share, format!("{:.1}", 100.0 * line.share)),
            ]);
        }
        page.sheet(stages);
        page.facts(vec![
            Fact::new("u", "combined standard uncertainty", format!("{} {}", significant(found.u, 3), result.unit)),
            Fact::new("coverage_factor", "coverage factor", darkline_report::printed::coverage_factor(found)),
            Fact::new("expanded_u", "U = k·u", format!("{} {}", significant(found.expanded_u, 3), result.unit)),
            Fact::new("dof", "degrees of freedom", degrees_of_freedom(found)),
        ]);
        let mut sources = Sheet::new("sources", "Budget by source")
            .words("source", "source")
            .figures("u", "u", &result.unit)
            .figures("share", "share of the variance", "%");
        for line in &found.budget {
            sources.row(vec![
                Cell::text(line.source.as_str()),
                Cell::figure(line.u, significant(line.u, 3)),
                Cell::figure(100.0 * line.share, format!("{:.1}", 100.0 * line.share)),
            ]);
        }
        page.parts
            .push(Part::Opens(format!("All {}", count(found.budget.len(), "source")), vec![Part::Sheet(sources)]));
    }
    page.heading("How it came about");
    match &explained.derivation {
        None => page.words(html! { p.nothing { "It has not been measured." } }),
        Some(derivation) => {
            let mut steps = Sheet::new("steps", "Steps, each resting only on those above it")
                .words("name", "quantity")
                .words("symbols", "equation")
                .words("numbers", "with numbers")
                .figures("value", "value", "")
                .figures("u", "u", "")
                .words("unit", "unit")
                .in_order();
            for step in &derivation.steps {
                let unit = if step.unit == "1" { "" } else { step.unit };
                let u = if step.u == 0.0 { Cell::text("exact") } else { Cell::figure(step.u, significant(step.u, 2)) };
                steps.row(vec![
                    Cell::text(step.name.as_str()),
                    Cell::text(step.symbols.as_str()),
                    Cell::text(if step.numbers == step.symbols { "" } else { step.numbers.as_str() }),
                    Cell::figure(step.value, figure(step.value)),
                    u,
                    Cell::text(unit),
                ]);
            }
            page.words(html! {
                ol.steps {
                    @for step in derivation.steps.iter().filter(|step| !step.symbols.is_empty()) {
                        @let unit = if step.unit == "1" { String::new() } else { format!(" {}", step.unit) };
                        li {
                            b { (step.name) }
                            span.equation { "= " (step.symbols) }
                            @if step.numbers != step.symbols { span.equation { "= " (step.numbers) } }
                            span.equation { "= " (figure(step.value)) (unit) @if step.u > 0.0 { ",  u = " (significant(step.u, 2)) (unit) } }
                        }
                    }
                }
            });
            let n_inputs = derivation.steps.iter().filter(|step| step.symbols.is_empty()).count();
            page.parts.push(Part::Opens(
                format!("All {} and {}", count(derivation.steps.len(), "step"), count(n_inputs, "input")),
                vec![Part::Sheet(steps)],
            ));
        }
    }
    Ok(page.into())
}
