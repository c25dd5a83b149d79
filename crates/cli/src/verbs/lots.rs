//! `darkline lots`: which runs, orders and reports rest on a lot, and what they would say if it were other than believed.

use serde::Serialize;

use super::count;
use crate::bench;
use crate::command_line::{Everywhere, Lots};
use crate::ending::{Ending, Failure};
use crate::result_text::significant;
use crate::table::Table;
use crate::talk;

#[derive(Serialize)]
struct UseLine<'a> {
    schema: &'static str,
    lot: &'a str,
    run: &'a str,
    order: &'a str,
    reports: &'a [String],
}

#[derive(Serialize)]
struct WhatIfLine<'a> {
    schema: &'static str,
    lot: &'a str,
    change: f64,
    order: &'a str,
    sample: &'a str,
    element: &'a str,
    unit: &'a str,
    value: Option<f64>,
    says: &'a str,
    value_then: Option<f64>,
    says_then: &'a str,
    changes_what_is_said: bool,
}

pub fn run(everywhere: &Everywhere, options: &Lots) -> Result<Ending, Failure> {
    let laboratory = bench::read(everywhere)?;
    let uses = laboratory.lot_uses(options.lot.as_deref());
    if let Some(lot) = &options.lot
        && uses.is_empty()
    {
        let mut known: Vec<String> = laboratory.lot_uses(None).into_iter().map(|one| one.lot).collect();
        known.dedup();
        let hint = match known.as_slice() {
            [] => "runs name lots in run.toml, lots = [\"…\"]; darkline plan FOLDER --write does so".to_owned(),
            some => format!("lots that runs name: {}", some.join(", ")),
        };
        return Err(Failure::with_hint(format!("no run of this record names the lot {lot}"), hint));
    }
    match (&options.lot, options.what_if) {
        (Some(lot), Some(change)) => what_if(everywhere, &laboratory, lot, change),
        _ => {
            let mut table = Table::new().words("lot").words("run").words("order").words("reports");
            for one in &uses {
                if everywhere.json {
                    talk::print_json(&UseLine {
                        schema: "darkline/lot-use/1",
                        lot: &one.lot,
                        run: one.run.as_str(),
                        order: one.order.as_str(),
                        reports: &one.reports,
                    })?;
                }
                let reports = if one.reports.is_empty() { "none yet".into() } else { one.reports.join(", ") };
                table.row(vec![one.lot.clone(), one.run.to_string(), one.order.to_string(), reports]);
            }
            if !everywhere.json && !uses.is_empty() {
                talk::print(&table.text())?;
            }
            talk::tell(&count(uses.len(), "use"));
            Ok(Ending::Done)
        }
    }
}

fn what_if(
    everywhere: &Everywhere,
    laboratory: &darkline_laboratory::Laboratory,
    lot: &str,
    change: f64,
) -> Result<Ending, Failure> {
    let all = laboratory.what_if(lot, change)?;
    let mut table = Table::new()
        .words("order")
        .words("sample")
        .words("element")
        .figures("now", "")
        .figures("then", "")
        .words("unit")
        .words("what is said");
    let figure = |value: Option<f64>| value.map_or("–".to_owned(), |value| significant(value, 3));
    for one in &all {
        if everywhere.json {
            talk::print_json(&WhatIfLine {
                schema: "darkline/what-if/1",
                lot,
                change,
                order: one.order.as_str(),
                sample: &one.sample,
                element: &one.element,
                unit: &one.unit,
                value: one.before.value,
                says: &one.before.words,
                value_then: one.after.value,
                says_then: &one.after.words,
                changes_what_is_said: one.changes_what_is_said(),
            })?;
        }
        let says = if one.changes_what_is_said() {
            let or_value = |words: &str| if words.is_empty() { "a value".to_owned() } else { words.to_owned() };
            format!("CHANGES: {} → {}", or_value(&one.before.words), or_value(&one.after.words))
        } else {
            one.before.words.clone()
        };
        table.row(vec![
            one.order.to_string(),
            one.sample.clone(),
            one.element.clone(),
            figure(one.before.value),
            figure(one.after.value),
            one.unit.clone(),
            says,
        ]);
    }
    if !everywhere.json && !all.is_empty() {
        talk::print(&table.text())?;
    }
    let changed = all.iter().filter(|one| one.changes_what_is_said()).count();
    talk::tell(&format!(
        "if lot {lot} held {:+} % of what is believed: {} of {} would say something else. Nothing was stored.",
        100.0 * change,
        changed,
        count(all.len(), "result"),
    ));
    Ok(Ending::Done)
}
