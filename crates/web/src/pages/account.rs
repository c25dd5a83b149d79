//! One's own account: passphrase and sign-ins.

use darkline_laboratory::LaboratoryError;
use darkline_laboratory::accounts::Passphrase;

use super::deciding::capital;
use super::order::{done, gone_back};
use super::people::LEAST_ONLY_FACTOR;
use crate::answer::{Answer, Refused};
use crate::asked::Asked;
use crate::desk::Desk;
use crate::form::{Fault, Field, Form};
use crate::page::{Fact, Page};
use crate::rate::Takes;
use crate::sheet::{Cell, Sheet};

fn passphrase_form() -> Form {
    Form::act("passphrase", "/account/passphrase")
        .legend("Change the passphrase")
        .field(Field::passphrase("old", "Passphrase until now"))
        .field(Field::new_passphrase("new", "New passphrase").hint(format!(
            "{LEAST_ONLY_FACTOR} characters or more; any characters; it never has to be changed for its age"
        )))
        .field(Field::new_passphrase("again", "The same again"))
        .button("Change it")
}

fn page(desk: &Desk, asked: &Asked) -> Result<Page, Refused> {
    let viewer = asked.viewer();
    let mut page = Page::new(format!("Account of {}", viewer.person.full_name));
    page.done = done(asked);
    let laboratory = desk.laboratory()?;
    let set = laboratory.state().accounts.get(viewer.id()).and_then(|account| account.passphrase_at.clone());
    drop(laboratory);
    page.facts(vec![
        Fact::new("name", "name", viewer.id().as_str()),
        Fact::new(
            "roles",
            "roles",
            viewer.person.roles.iter().map(|role| role.as_str()).collect::<Vec<_>>().join(", "),
        ),
        Fact::new("passphrase", "passphrase set", set.as_deref().map_or_else(|| "–".into(), super::to_the_minute)),
        Fact::new(
            "lasts",
            "a sign-in lasts",
            format!(
                "{} min without use, {} h in all",
                desk.settings.lasts.idle_s / 60,
                desk.settings.lasts.whole_s / 3600
            ),
        ),
    ]);
    let mut sheet = Sheet::new("sign-ins", "Your sign-ins")
        .figures("number", "number", "")
        .words("from", "from")
        .words("which", "which");
    for session in desk.sessions().of(Some(viewer.id()), desk.now(), desk.settings.lasts) {
        let which = if session.number == viewer.session { "this one" } else { "" };
        sheet.row(vec![Cell::count(session.number), Cell::text(session.from.to_string()), Cell::text(which)]);
    }
    page.sheet(sheet);
    page.form(Form::act("end", "/account/end").button("End all the others"));
    page.form(passphrase_form());
    Ok(page)
}

/// The page.
pub(crate) fn show(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    Ok(page(desk, asked)?.into())
}

/// Changes the passphrase; the other sign-ins end.
pub(crate) fn passphrase(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let (old, new) = (asked.form.get("old"), asked.form.get("new"));
    let mut faults = Vec::new();
    if old.is_empty() {
        faults.push(Fault::at("passphrase", "old", "Enter the passphrase until now"));
    }
    if new.chars().count() < LEAST_ONLY_FACTOR {
        faults.push(Fault::at(
            "passphrase",
            "new",
            format!("New passphrase must have {LEAST_ONLY_FACTOR} characters or more"),
        ));
    } else if new != asked.form.get("again") {
        faults.push(Fault::at("passphrase", "again", "The two differ; type the new one again"));
    }
    if faults.is_empty() {
        desk.take(asked.from, Takes::APassphrase)?;
        let by = asked.viewer().id().clone();
        let given = Passphrase::typed(old);
        match desk.act(|laboratory| laboratory.change_passphrase(&by, &given, new)) {
            Ok(entry) => {
                desk.sessions().end_all_of(&by, Some(asked.viewer().session));
                return Ok(Answer::Go(gone_back("/account", [entry])));
            }
            Err(error @ LaboratoryError::WrongPassphrase { .. }) => {
                faults.push(Fault::at("passphrase", "old", capital(&error.to_string())))
            }
            Err(error @ (LaboratoryError::GuessedFirst { .. } | LaboratoryError::Key(_))) => {
                faults.push(Fault::at("passphrase", "new", capital(&error.to_string())));
            }
            Err(error) => return Err(error.into()),
        }
    }
    Ok(Page { faults, ..page(desk, asked)? }.into())
}

/// Ends the other sign-ins.
pub(crate) fn end(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    desk.sessions().end_all_of(asked.viewer().id(), Some(asked.viewer().session));
    Ok(Answer::Go("/account".into()))
}
