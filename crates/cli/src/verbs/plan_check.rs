//! `darkline plan FOLDER --check`: can we? The techniques for each element of an order, ranked against its limits.

use std::path::Path;

use darkline_exchange::{order, text_file};
use darkline_handbook::Handbook;
use darkline_planning::choice::{Question, Weighed, weigh};
use darkline_planning::demand::{self, Demand};
use darkline_planning::method_draft::digits;
use darkline_record::order::{Order, Requested};
use serde::Serialize;

use super::count;
use super::method::{TAKEN_OF_SOLID, TAKEN_OF_WATER};
use crate::command_line::Everywhere;
use crate::ending::{Ending, Failure};
use crate::paragraph;
use crate::table::Table;
use crate::talk;

#[derive(Serialize)]
struct ChoiceLine<'a> {
    schema: &'static str,
    order: &'a str,
    element: &'a str,
    method: &'a str,
    samples: usize,
    demand: &'a Demand,
    choice: &'a Weighed,
}

pub fn run(everywhere: &Everywhere, folder: &Path) -> Result<Ending, Failure> {
    let path = if folder.is_dir() { folder.join("order.toml") } else { folder.to_owned() };
    let name = path.file_name().map_or_else(|| "order.toml".into(), |name| name.to_string_lossy().into_owned());
    let order = order::read(&name, &text_file::read_as(&path, &name)?)?;
    let handbook = Handbook::shipped();
    let mut without_limit = Vec::new();
    let mut cannot = Vec::new();
    for analyte in &order.analytes {
        let symbol = analyte.element.as_str();
        let Some(limit) = &analyte.limit else {
            without_limit.push(symbol);
            continue;
        };
        let demand =
            demand::of(handbook, symbol, limit).map_err(|fault| Failure::told(format!("{symbol}: {fault}")))?;
        let question = Question {
            element: symbol,
            limit: demand.limit,
            is_solid: demand.is_solid,
            taken: if demand.is_solid { TAKEN_OF_SOLID } else { TAKEN_OF_WATER },
            largest_loq: Some(demand.largest_loq),
            largest_u: demand.largest_u,
            rule: limit.decision_rule,
        };
        let weighed = weigh(handbook, &question).map_err(Failure::told)?;
        if weighed.ranked.first().is_none_or(|first| !first.lacks.is_empty()) {
            cannot.push(symbol);
        }
        if everywhere.json {
            talk::print_json(&ChoiceLine {
                schema: "darkline/choice/1",
                order: order.id.as_str(),
                element: symbol,
                method: analyte.method.as_str(),
                samples: order.samples.len(),
                demand: &demand,
                choice: &weighed,
            })?;
        } else {
            talk::print(&text(&order, analyte, &demand, &weighed))?;
        }
    }
    if !without_limit.is_empty() {
        talk::tell(&format!("No limit stands beside {}: nothing to forecast against.", without_limit.join(", ")));
    }
    match cannot.as_slice() {
        [] => {
            talk::tell("Forecasts rest on printed figures of other instruments. Next: darkline method ELEMENT …");
            Ok(Ending::Done)
        }
        some => {
            talk::tell(&format!(
                "No technique meets what is demanded of {}: agree another limit or rule with the customer, or enrich the \
                 sample before it is measured.",
                some.join(", ")
            ));
            Ok(Ending::Stopped)
        }
    }
}

fn text(order: &Order, analyte: &Requested, demand: &Demand, weighed: &Weighed) -> String {
    let unit = demand.unit;
    let mut text = String::new();
    if let Some(limit) = &analyte.limit {
        let head = format!(
            "{}, at most {} ({}), {}; {}",
            analyte.element,
            limit.at_most,
            limit.origin,
            limit.decision_rule.words(),
            count(order.samples.len(), "sample"),
        );
        text.push_str(&paragraph::indented(&head, 0));
    }
    let mut demands =
        format!("LOQ at most {} {unit} ({})", digits(demand.in_unit(demand.largest_loq), 2), demand.loq_by);
    if let Some(largest) = demand.largest_u {
        demands.push_str(&format!(", U (k = 2) at most {:.0} % at the limit", 100.0 * largest));
    }
    if let Some(species) = &demand.species {
        demands.push_str(&format!(", for the species: {species}; a total does not answer it by itself"));
    }
    if let Some(kept) = &demand.kept {
        demands.push_str(&format!("; keep samples: {kept}"));
    }
    text.push_str(&paragraph::indented(&format!("demanded: {demands}"), 2));
    let mut table = Table::new()
        .words("technique")
        .figures("line", "nm")
        .figures("diluted", "")
        .figures("injected", "")
        .figures("response", "")
        .figures("LOQ", unit)
        .figures("u", "%")
        .figures("decides", "%")
        .figures("time", "min");
    for forecast in &weighed.ranked {
        table.row(vec![
            forecast.way.words().into(),
            forecast.line_nm.to_string(),
            format!("{:.0}", forecast.dilution),
            forecast.injections.to_string(),
            format!("{:.3}", forecast.response),
            digits(demand.in_unit(forecast.loq), 2),
            format!("{:.1}", 100.0 * forecast.u),
            format!("{:.0}", 100.0 * forecast.decides),
            format!("{:.1}", forecast.seconds / 60.0),
        ]);
    }
    text.extend(table.text().lines().map(|line| format!("  {line}\n")));
    for (place, forecast) in weighed.ranked.iter().enumerate() {
        let why = if place == 0 { forecast.lacks.join("; ") } else { weighed.why_lower(place) };
        let why = if why.is_empty() { "meets everything demanded".into() } else { why };
        text.push_str(&paragraph::indented(&format!("{}: {why}", forecast.way.words()), 2));
    }
    for left_out in &weighed.left_out {
        text.push_str(&paragraph::indented(&format!("{}: not looked at, {}", left_out.way.words(), left_out.why), 2));
    }
    text.push('\n');
    text
}
