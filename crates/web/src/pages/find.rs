//! The one field that waits: a barcode or a word leads to the order, the row or the reading it names.

use darkline_record::identity::{OrderId, ReadingId};

use super::{at_order, at_run};
use crate::answer::{Answer, Refused};
use crate::asked::{Asked, escape};
use crate::desk::Desk;

/// Leads to what was scanned or typed.
pub(crate) fn find(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let what = asked.query.get("what").trim();
    let laboratory = desk.laboratory()?;
    let state = laboratory.state();
    if what.is_empty() {
        return Ok(Answer::Go("/orders".into()));
    }
    if let Ok(order) = what.parse::<OrderId>()
        && (state.orders.contains_key(&order) || state.restored.contains_key(&order))
    {
        return Ok(Answer::Go(at_order(&order)));
    }
    if let Ok(reading) = what.parse::<ReadingId>() {
        let has = |order: &&OrderId| state.runs_of(order).iter().any(|run| run.run.id == reading.run);
        if let Some(order) = state.orders.keys().rev().find(has) {
            return Ok(Answer::Go(format!("{}/reading/{}", at_run(order, &reading.run), reading.number)));
        }
    }
    // Orders that are worked on come before those that are done; among them the newest.
    let mut orders: Vec<_> = state.orders.iter().rev().collect();
    orders.sort_by_key(|(_, known)| !known.issues.is_empty());
    for (order, _) in orders {
        for run in state.runs_of(order) {
            if run.run.id.as_str().eq_ignore_ascii_case(what) {
                return Ok(Answer::Go(at_run(order, &run.run.id)));
            }
            if run.run.rows().any(|row| row.name.eq_ignore_ascii_case(what)) {
                return Ok(Answer::Go(format!("{}?scan={}#scanned", at_run(order, &run.run.id), escape(what))));
            }
        }
    }
    Ok(Answer::Go(format!("/orders?what={}", escape(what))))
}
