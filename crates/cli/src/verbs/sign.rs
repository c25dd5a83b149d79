//! `darkline sign`: everything that will be signed is shown, then signed with name and passphrase.

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::Role;
use darkline_evaluation::outcome::FlagState;
use darkline_laboratory::{Laboratory, LaboratoryError, SignatureMeaning};
use darkline_record::identity::OrderId;
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
    let meaning = match &options.meaning {
        Some(words) => meaning(words)?,
        None => {
            // An analyst who gives the command a second time does not mean to review.
            let given = laboratory.order(&order)?.signature_of(&by, &outcome.digest());
            if given.is_some() && !laboratory.person(&by)?.roles.contains(&Role::Reviewer) {
                return given_before(everywhere, &laboratory, &order, &by);
            }
            laboratory.next_meaning(&order, &outcome.digest())?
        }
    };
    match laboratory.may_sign(&by, &order, meaning, outcome) {
        Ok(()) => {}
        Err(LaboratoryError::AlreadySigned { .. }) => return given_before(everywhere, &laboratory, &order, &by),
        Err(error) => {
            if outcome.stopping().next().is_some() && !everywhere.json {
                talk::print(&flags_text(outcome, &order))?;
            }
            laboratory.note_refused(&by, meaning.verb(), Some(&order), &error);
            return Err(error.into());
        }
    }
    if !everywhere.json {
        talk::print(&results_text(outcome, &evaluated.package))?;
    }
    for remark in laboratory.order(&order)?.open_remarks() {
        talk::tell(&format!("Remark on {}: {}", remark.on, remark.remark));
    }
    if let Err(error) = laboratory.may_try(&by) {
        laboratory.note_refused(&by, meaning.verb(), Some(&order), &error);
        return Err(error.into());
    }
    let role = meaning.signer();
    let justified: Vec<String> = outcome
        .flags
        .iter()
        .filter_map(|flag| match &flag.state {
            FlagState::Justified { reason } => Some(format!("{}: {}, \"{reason}\"", flag.flag.id, says(flag))),
            _ => None,
        })
        .collect();
    let flags = if justified.is_empty() {
        "No flag was justified.".into()
    } else {
        format!("Justified: {}.", justified.join("; "))
    };
    talk::tell(&format!(
        "You sign {} as {role} {by}: {}. {flags}",
        count(outcome.results.len(), "result"),
        meaning.words()
    ));
    if let Some(statement) = &laboratory.state().statement {
        talk::tell(&format!("By signing: {statement}"));
    }
    secret::confirm(everywhere, order.as_str(), options.confirm.as_deref(), "sign")?;
    let passphrase = secret::passphrase(everywhere, by.as_str(), options.key_file.as_deref())?;
    let signed = laboratory.sign(&by, &order, meaning, passphrase)?;
    if everywhere.json {
        print_line(&order, &by, signed.entry, meaning, &signed.outcome.to_string(), &signed.root.to_string())?;
    }
    talk::tell(&format!("entry {}: signed by {by}, {}.", signed.entry, meaning.words()));
    tell_next(&order, meaning);
    Ok(Ending::Done)
}

/// The meaning that was named.
fn meaning(words: &str) -> Result<SignatureMeaning, Failure> {
    SignatureMeaning::from_words(words).ok_or_else(|| {
        let known = SignatureMeaning::ALL.map(|meaning| format!("\"{}\"", meaning.words()));
        Failure::with_hint(format!("\"{words}\" is no meaning of a signature"), format!("write {}", known.join(" or ")))
    })
}

/// The same command given twice appends nothing and says what there is.
fn given_before(
    everywhere: &Everywhere,
    laboratory: &Laboratory,
    order: &OrderId,
    by: &PersonId,
) -> Result<Ending, Failure> {
    let outcome = laboratory.evaluate(order)?.outcome.digest();
    if let Some(given) = laboratory.order(order)?.signature_of(by, &outcome) {
        if everywhere.json {
            print_line(order, by, given.entry, given.meaning, &given.outcome.to_string(), &given.root.to_string())?;
        }
        let (by, entry, meaning) = (by.clone(), given.entry, given.meaning.words());
        talk::tell(&format!("{}; nothing was appended", LaboratoryError::AlreadySigned { by, entry, meaning }));
        tell_next(order, given.meaning);
    }
    Ok(Ending::Done)
}

fn print_line(
    order: &OrderId,
    by: &PersonId,
    entry: u64,
    meaning: SignatureMeaning,
    outcome: &str,
    root: &str,
) -> Result<(), Failure> {
    talk::print_json(&SignatureLine {
        schema: "darkline/signature/1",
        order: order.as_str(),
        entry,
        by: by.as_str(),
        meaning: meaning.words(),
        outcome: outcome.into(),
        root: root.into(),
    })
}

fn tell_next(order: &OrderId, meaning: SignatureMeaning) {
    talk::tell(&match meaning {
        SignatureMeaning::Measured => {
            format!("Next: a reviewer who had no hand in it: darkline sign {order} --as NAME")
        }
        SignatureMeaning::Reviewed | SignatureMeaning::Approved => format!("Next: darkline issue {order} --as NAME"),
    });
}
