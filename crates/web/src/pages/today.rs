//! Today: runs that are going, what waits for this person, orders that are not finished.
//!
//! Only the newest orders that are worked on are evaluated here; how many there are besides is said.

use darkline_audit_trail::people::{Stage, Verb};
use darkline_evaluation::outcome::Reported;
use darkline_laboratory::accounts::WAITS_FROM;
use darkline_laboratory::state::{RunState, State};
use darkline_laboratory::{stage_of, what_stops};
use darkline_record::identity::OrderId;
use darkline_record::preparation::PortionRole;
use darkline_record::run::RowHolds;
use maud::html;

use super::order::stage;
use super::run::progress;
use super::{at_order, at_run, count, flags_stop, to_the_minute};
use crate::answer::{Answer, Refused};
use crate::asked::Asked;
use crate::desk::Desk;
use crate::page::Page;
use crate::sheet::{Cell, Mark, Sheet};

/// Orders that are looked into.
const MOST: usize = 12;
/// Days before an authorisation ends from which on it is told.
const DAYS_AHEAD: i64 = 60;

/// The page.
pub(crate) fn show(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let viewer = asked.viewer();
    let laboratory = desk.laboratory()?;
    let state = laboratory.state();
    let unfinished: Vec<OrderId> = state
        .orders
        .iter()
        .rev()
        .filter(|(_, known)| known.issues.is_empty() && known.edition.is_some())
        .map(|(order, _)| order.clone())
        .collect();
    let mut going = Sheet::new("runs", "Runs that are going")
        .words("run", "run")
        .words("order", "order")
        .words("element", "element")
        .words("now", "now")
        .words("readings", "readings")
        .or_else_say("No run is going.");
    let is_going = |run: &&RunState| !run.run.readings.is_empty() && progress(&run.run).next.is_some();
    for run in state.runs.values().rev().filter(is_going).take(MOST) {
        let Some(order) = order_of(state, run).filter(|order| unfinished.contains(order)) else { continue };
        let progress = progress(&run.run);
        let Some((row, replicate)) = progress.next else { continue };
        let element = state.methods.get(&run.run.method).map(|method| method.element.to_string()).unwrap_or_default();
        going.row(vec![
            Cell::text(run.run.id.as_str()).linked(at_run(order, &run.run.id)),
            Cell::text(order.as_str()).linked(at_order(order)),
            Cell::text(element),
            Cell::text(format!("row {}, {}, replicate {replicate}", row.number, row.name)),
            Cell::text(format!("{} of {}", progress.done, progress.planned)),
        ]);
    }
    let mut waits = Sheet::new("waits", format!("What waits for {}", viewer.person.full_name))
        .words("what", "what")
        .words("where", "where")
        .or_else_say("Nothing waits for you.");
    let now = laboratory.state().last_at.clone();
    if viewer.has_right(Verb::Authorise) || viewer.has_right(Verb::Decide) {
        authorisations(&mut waits, state, viewer, now.as_ref());
    }
    if viewer.has_right(Verb::ManagePeople) {
        for (person, account) in state.accounts.iter().filter(|(_, account)| account.failures >= WAITS_FROM) {
            let what =
                format!("{} that did not open the key of {person}", count(account.failures as usize, "passphrase"));
            waits.row(vec![Cell::text(what), Cell::text(person.as_str()).linked(format!("/person/{person}"))]);
        }
    }
    let first_entries: Vec<(OrderId, String, String)> = unfinished
        .iter()
        .take(MOST)
        .filter_map(|order| {
            let known = state.orders.get(order)?;
            Some((order.clone(), known.order.customer.clone(), known.order.received.as_str().to_owned()))
        })
        .collect();
    let mut orders = Sheet::new("orders", "Orders that are not finished, newest first")
        .words("order", "order")
        .words("customer", "customer")
        .words("received", "received")
        .words("state", "state")
        .words("stops", "what stops it")
        .figures("results", "results in", "")
        .of_all(unfinished.len())
        .or_else_say("No order is open.");
    drop(laboratory);
    for (order, customer, received) in first_entries {
        let Ok(evaluated) = desk.evaluated(&order) else {
            orders.row(vec![
                Cell::text(order.as_str()).linked(at_order(&order)),
                Cell::text(customer),
                Cell::text(to_the_minute(&received)),
                Cell::text("documents are missing"),
                Cell::nothing(),
                Cell::nothing(),
            ]);
            continue;
        };
        let laboratory = desk.laboratory()?;
        let Some(known) = laboratory.state().orders.get(&order) else { continue };
        let outcome = &evaluated.outcome;
        let found = stage_of(known, outcome);
        let n_in =
            outcome.results.iter().filter(|result| !matches!(result.reported, Reported::Awaiting { .. })).count();
        let n_stops = outcome.stopping().count();
        let stops = match what_stops(outcome) {
            Some(why) if n_stops > 0 => Cell::status(Mark::Stops, why),
            Some(why) => Cell::text(why),
            None => Cell::status(Mark::InOrder, "nothing"),
        };
        orders.row(vec![
            Cell::text(order.as_str()).linked(at_order(&order)),
            Cell::text(customer),
            Cell::text(to_the_minute(&received)),
            stage(found),
            stops,
            Cell::count(n_in),
        ]);
        let review = format!("{}/review", at_order(&order));
        let may = |verb| {
            let relation = laboratory.state().relation(viewer.id(), &order);
            viewer.person.may(verb, &relation).is_ok()
        };
        let mut add = |what: String, to: String| {
            waits.row(vec![Cell::text(what), Cell::text(format!("order {order}")).linked(to)]);
        };
        match found {
            Stage::Open | Stage::Measured if n_stops > 0 && may(Verb::Decide) => {
                add(format!("{} the report", flags_stop(n_stops)), at_order(&order));
            }
            Stage::Measured if what_stops(outcome).is_none() && may(Verb::SignAsAnalyst) => {
                add("to be signed by who measured it".into(), review)
            }
            Stage::InReview
                if known.signature(darkline_laboratory::SignatureMeaning::Reviewed, &outcome.digest()).is_none()
                    && may(Verb::SignAsReviewer) =>
            {
                add("to be reviewed".into(), review);
            }
            Stage::InReview | Stage::Approved
                if known.signature(darkline_laboratory::SignatureMeaning::Reviewed, &outcome.digest()).is_some()
                    && may(Verb::Issue) =>
            {
                add("to be issued".into(), review);
            }
            _ => {}
        }
        for remark in known.open_remarks().iter().filter(|_| may(Verb::Decide)) {
            add(format!("returned: {}, {}", remark.on, remark.remark), at_order(&order));
        }
    }
    let mut page = Page::new("Today");
    page.sheet(going);
    page.sheet(waits);
    page.sheet(orders);
    page.words(html! { p { a href="/orders" { "All orders" } } });
    let laboratory = desk.laboratory()?;
    let issued = laboratory.state().orders.values().filter(|known| !known.issues.is_empty()).count();
    page.facts(vec![
        crate::page::Fact::new("entries", "entries in the record", laboratory.state().n_entries.to_string())
            .linked("/trail"),
        crate::page::Fact::new("issued", "orders issued", issued.to_string()).linked("/orders"),
    ]);
    Ok(page.into())
}

/// An order that a run measures: that of the first portion that is a sample.
fn order_of<'a>(state: &'a State, run: &RunState) -> Option<&'a OrderId> {
    run.run.rows().find_map(|row| {
        let RowHolds::Portion { batch, .. } = &row.holds else { return None };
        state.preparations.get(batch)?.portions.iter().find_map(|portion| match &portion.role {
            PortionRole::Sample { order, .. } => Some(order),
            _ => None,
        })
    })
}

/// Authorisations that end soon: one's own, or everybody's for who gives them.
fn authorisations(
    waits: &mut Sheet,
    state: &State,
    viewer: &crate::asked::Viewer,
    now: Option<&darkline_audit_trail::Timestamp>,
) {
    let Some(now) = now else { return };
    let ahead = now.instant() + jiff::SignedDuration::from_hours(24 * DAYS_AHEAD);
    let last = ahead.to_string().chars().take(10).collect::<String>();
    for (method, people) in &state.authorisations {
        for (person, authorisation) in people {
            let Some(until) = authorisation.until.as_ref().filter(|until| **until <= last) else { continue };
            if person == viewer.id() || viewer.has_right(Verb::Authorise) {
                let what = format!("{person} is authorised for method {method} until {until}");
                waits.row(vec![Cell::text(what), Cell::text(person.as_str()).linked(format!("/person/{person}"))]);
            }
        }
    }
}
