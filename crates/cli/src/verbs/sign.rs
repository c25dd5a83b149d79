//! `darkline sign`: everything that will be signed is shown, then signed with name and passphrase.

use darkline_evaluation::outcome::FlagState;
use darkline_laboratory::SignatureMeaning;
use serde::Serialize;

use super::evaluate::{flags_text, results_text, says};
use super::{count, order};
use crate::bench;
use crate::command_line::{Everywhere, Sign};
use crate::ending::{Ending, Failure};
use crate::{secret, talk};

#[derive(Serialize)]
struct SignatureLine<'a> {
    schema: &'static str,
    order: &'a str,
    entry: u64,
    by: &'a str,
    meaning: &'static str,
    outcome: String,
    root: String,
}

pub fn run(everywhere: &Everywhere, options: &Sign) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let by = bench::person(everywhere)?;
    let mut laboratory = bench::write(everywhere)?;
    let evaluated = laboratory.evaluate(&order)?;
    let outcome = &evaluated.outcome;
    let meaning = laboratory.next_meaning(&order, &outcome.digest())?;
    if let Err(error) = laboratory.may_sign(&by, &order, meaning, outcome) {
        if outcome.stopping().next().is_some() {
            talk::print(&flags_text(outcome, &order))?;
        }
        return Err(error.into());
    }
    if !everywhere.json {
        talk::print(&results_text(outcome, &evaluated.package))?;
    }
    let role = match meaning {
        SignatureMeaning::Measured => "analyst",
        SignatureMeaning::Reviewed => "reviewer",
    };
    let justified: Vec<String> = outcome
        .flags
        .iter()
        .filter_map(|flag| match &flag.state {
            FlagState::Justified { reason } => Some(format!("{}: {}, \"{reason}\"", flag.flag.id, says(flag))),
            _ => None,
        })
        .collect();
    let flags = if justified.is_empty() { "No flag was justified.".into() } else { format!("Justified: {}.", justified.join("; ")) };
    talk::tell(&format!("You sign {} as {role} {by}: {}. {flags}", count(outcome.results.len(), "result"), meaning.words()));
    secret::confirm(everywhere, order.as_str(), options.confirm.as_deref(), "sign")?;
    let passphrase = secret::passphrase(everywhere, by.as_str(), options.key_file.as_deref())?;
    let signed = laboratory.sign(&by, &order, meaning, &passphrase)?;
    if everywhere.json {
        talk::print_json(&SignatureLine {
            schema: "darkline/signature/1",
            order: order.as_str(),
            entry: signed.entry,
            by: by.as_str(),
            meaning: meaning.words(),
            outcome: signed.outcome.to_string(),
            root: signed.root.to_string(),
        })?;
    }
    talk::tell(&format!("entry {}: signed by {by}, {}.", signed.entry, meaning.words()));
    talk::tell(&match meaning {
        SignatureMeaning::Measured => format!("Next: a reviewer who had no hand in it: darkline sign {order} --as NAME"),
        SignatureMeaning::Reviewed => format!("Next: darkline issue {order} --as NAME"),
    });
    Ok(Ending::Done)
}
