//! The pages, one file a place; each fetches, asks the laboratory, and lays out what it says.

pub(crate) mod account;
pub(crate) mod documents;
pub(crate) mod element;
pub(crate) mod find;
pub(crate) mod handbook;
pub(crate) mod order;
pub(crate) mod people;
pub(crate) mod quality;
pub(crate) mod result;
pub(crate) mod review;
pub(crate) mod run;
pub(crate) mod sign_in;
pub(crate) mod today;
pub(crate) mod trail;

mod deciding;
mod flag;

use darkline_record::identity::{OrderId, RunId};

use crate::answer::Refused;
use crate::asked::{Asked, escape};

/// The order of an address.
fn order_of(asked: &Asked) -> Result<OrderId, Refused> {
    asked.part(0).parse().map_err(|_| Refused::no_page(format!("\"{}\" is no order", asked.part(0))))
}

/// The run of an address.
fn run_of(asked: &Asked) -> Result<RunId, Refused> {
    asked.part(1).parse().map_err(|_| Refused::no_page(format!("\"{}\" is no run", asked.part(1))))
}

/// The address of an order.
fn at_order(order: &OrderId) -> String {
    format!("/order/{}", escape(order.as_str()))
}

/// The address of a run of an order.
fn at_run(order: &OrderId, run: &RunId) -> String {
    format!("{}/run/{}", at_order(order), escape(run.as_str()))
}

/// One thing or many: "1 reading", "3 readings".
fn count(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}

/// How many flags stop something: "1 flag stops", "2 flags stop".
fn flags_stop(n: usize) -> String {
    if n == 1 { "1 flag stops".to_owned() } else { format!("{n} flags stop") }
}

/// A time as people read it, to the minute.
fn to_the_minute(at: &str) -> String {
    at.chars().take(16).collect::<String>().replace('T', " ")
}

/// Only an address of these pages is gone back to.
fn local(to: &str) -> Option<&str> {
    let is_local = to.starts_with('/') && !to.starts_with("//") && !to.contains(['\\', '\r', '\n']) && to.len() < 500;
    is_local.then_some(to)
}

/// What the record says about an issue, for the report.
fn issued(
    laboratory: &darkline_laboratory::Laboratory,
    draft: &darkline_laboratory::IssueDraft,
) -> darkline_report::composing::Issued {
    darkline_report::composing::Issued {
        report: draft.report.clone(),
        supersedes: draft.supersedes.clone(),
        at: draft.at.to_string(),
        signatures: draft.signatures.iter().map(signed_by).collect(),
        issued_by: draft.by.to_string(),
        size: draft.size,
        root: draft.root.to_string(),
        laboratory: laboratory.state().laboratory.clone(),
        program: draft.program.clone(),
        because: draft.because.as_ref().map(ToString::to_string),
        changes: draft.changes.clone(),
        justified_by: draft.justified_by.clone(),
    }
}

/// A signature with name and key of its person as they were when they signed.
fn signed_by(signature: &darkline_laboratory::state::SignatureState) -> darkline_report::composing::SignedBy {
    let person = signature.person.as_ref();
    let name = person.map(|person| format!("{} ({})", person.full_name, person.id));
    let roles = person.map(|person| person.roles.iter().map(|role| role.as_str()).collect::<Vec<_>>().join(", "));
    let key = person.and_then(|person| person.public_key.as_ref()).map(|key| key.fingerprint().to_string());
    darkline_report::composing::SignedBy {
        name: name.unwrap_or_else(|| signature.by.to_string()),
        roles: roles.unwrap_or_default(),
        meaning: signature.meaning.words().into(),
        at: signature.at.clone(),
        key: key.unwrap_or_default(),
    }
}
