//! Sign-in and sign-out. Whatever was wrong, the answer is the same and takes as long.

use darkline_audit_trail::PersonId;
use darkline_laboratory::LaboratoryError;
use darkline_laboratory::accounts::Passphrase;
use maud::html;

use super::local;
use crate::answer::{Answer, Refused};
use crate::asked::Asked;
use crate::desk::Desk;
use crate::form::{Fault, Field, Form};
use crate::page::Page;
use crate::rate::Takes;

const SAME_ANSWER: &str = "Name and passphrase do not fit together, or the account waits or is closed. After three that do \
                           not fit an account waits a minute, then longer";

fn form(to: &str) -> Form {
    Form::act("sign-in", "/sign-in")
        .field(Field::line("name", "Name").hint("As you are entered in the record, like j.alder").filled_by("username"))
        .field(Field::passphrase("passphrase", "Passphrase"))
        .field(Field::hidden("to", to))
        .button("Sign in")
}

fn page(form: Form) -> Page {
    let mut page = Page::new("Sign in");
    page.form(form);
    page.words(html! {
        p.hint { "Whoever has lost a passphrase asks an administrator for a new key. Nobody else can see or choose yours." }
    });
    page
}

/// The form.
pub(crate) fn show(_: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let to = local(asked.query.get("to")).unwrap_or("/");
    if asked.viewer.is_some() {
        return Ok(Answer::Go(to.to_owned()));
    }
    Ok(page(form(to)).into())
}

/// Tries a name and a passphrase.
pub(crate) fn sign_in(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let to = local(asked.form.get("to")).unwrap_or("/").to_owned();
    let (name, passphrase) = (asked.form.get("name").trim(), asked.form.get("passphrase"));
    let mut faults = Vec::new();
    if name.is_empty() {
        faults.push(Fault::at("sign-in", "name", "Enter your name"));
    }
    if passphrase.is_empty() {
        faults.push(Fault::at("sign-in", "passphrase", "Enter your passphrase"));
    }
    if !faults.is_empty() {
        return Ok(Page { faults, ..page(form(&to).filled(&asked.form)) }.into());
    }
    desk.take(asked.from, Takes::APassphrase)?;
    let person = PersonId::new(name).ok();
    let is_known = match &person {
        None => Err(None),
        Some(person) => {
            let given = Passphrase::typed(passphrase);
            desk.act(|laboratory| laboratory.sign_in(person, &given)).map_err(Some)
        }
    };
    match (is_known, person) {
        (Ok(()), Some(person)) => {
            desk.write_down(asked.from, Some(person.as_str()), "signed in", &asked.path)?;
            // What was signed in here before is another person's or an older one.
            if let Some(before) = &asked.viewer {
                desk.sessions().end(before.session);
            }
            let token = desk.sessions().begin(&person, asked.from, desk.now()).ok_or_else(Refused::fault)?;
            Ok(Answer::SignedIn { token, to })
        }
        (Err(Some(fault @ (LaboratoryError::Store(_) | LaboratoryError::Fold(_)))), _) => Err(fault.into()),
        (refused, _) => {
            if !matches!(refused, Err(Some(LaboratoryError::WrongPassphrase { .. }))) {
                desk.try_the_decoy(passphrase);
            }
            desk.write_down(asked.from, Some(name), "refused: sign-in", &asked.path)?;
            let faults = vec![Fault::at("sign-in", "passphrase", SAME_ANSWER)];
            Ok(Page { faults, ..page(form(&to).filled(&asked.form)) }.into())
        }
    }
}

/// Ends the sign-in.
pub(crate) fn sign_out(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let viewer = asked.viewer();
    desk.sessions().end(viewer.session);
    desk.write_down(asked.from, Some(viewer.id().as_str()), "signed out", &asked.path)?;
    Ok(Answer::SignedOut)
}
