//! People and roles: who works here, what each may do, accounts, authorisations, sign-ins.

use std::collections::BTreeSet;

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::{Person, Role, TABLE, Verb};
use darkline_laboratory::LaboratoryError;
use darkline_laboratory::accounts::{Change, LOCKED_FROM};
use darkline_record::decision::Reason;
use maud::html;

use super::deciding::capital;
use super::order::{done, gone_back};
use super::to_the_minute;
use crate::answer::{Answer, Refused};
use crate::asked::{Asked, escape};
use crate::desk::Desk;
use crate::form::{Fault, Field, Form};
use crate::page::{Fact, Page, Part};
use crate::sheet::{Cell, Mark, Sheet};

fn roles_of(person: &Person) -> String {
    person.roles.iter().map(|role| role.as_str()).collect::<Vec<_>>().join(", ")
}

/// Roles that people have; a device is entered at the terminal, where its key is made.
fn role_choices() -> Vec<(String, String)> {
    let of_people = Role::ALL.iter().filter(|role| **role != Role::Device);
    of_people.map(|role| (role.as_str().to_owned(), role.as_str().to_owned())).collect()
}

fn add_form() -> Form {
    Form::act("add", "/people/add")
        .field(Field::line("id", "Name in the record, like j.alder").hint("It is never given to another"))
        .field(Field::line("full_name", "Full name, as reports print it"))
        .field(Field::any_of("role", "Roles", role_choices()))
        .field(Field::line("identity", "By what the person is known: who saw which paper"))
        .field(
            Field::new_passphrase("passphrase", "Passphrase")
                .hint("The person types it; it has 15 characters or more and nobody else sees it"),
        )
        .button("Enter the person")
}

/// All people, and the table of rights.
pub(crate) fn show(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let laboratory = desk.laboratory()?;
    let state = laboratory.state();
    let mut page = Page::new("People and roles");
    page.done = done(asked);
    let mut sheet = Sheet::new("people", "People of this record")
        .words("name", "name")
        .words("full_name", "full name")
        .words("roles", "roles")
        .words("account", "account")
        .words("last_entry", "last entry");
    for person in state.people.values() {
        let account = state.accounts.get(&person.id);
        let failures = account.map_or(0, |account| account.failures);
        let stands = match (person.disabled, failures) {
            (true, _) => Cell::status(Mark::Rejected, "closed"),
            (_, failures) if failures >= LOCKED_FROM => Cell::status(Mark::Stops, "locked"),
            (_, 0) => Cell::status(Mark::InOrder, "open"),
            (_, failures) => Cell::text(format!("open, {failures} wrong passphrases in a row")),
        };
        sheet.row(vec![
            Cell::text(person.id.as_str()).linked(format!("/person/{}", escape(person.id.as_str()))),
            Cell::text(person.full_name.as_str()),
            Cell::text(roles_of(person)),
            stands,
            Cell::text(
                account.and_then(|account| account.last_entry.as_deref()).map_or_else(String::new, to_the_minute),
            ),
        ]);
    }
    page.sheet(sheet);
    if asked.viewer().has_right(Verb::ManagePeople) {
        page.parts.push(Part::Opens("Enter a person".into(), vec![Part::Form(add_form())]));
    }
    page.heading("What each role may do");
    let mut rights = Sheet::new("rights", "Rights by role; they add up, and no role lifts a rule about one's own work")
        .words("verb", "to")
        .in_order();
    for (role, key) in Role::ALL.iter().zip(["analyst", "reviewer", "quality_manager", "administrator", "device"]) {
        rights = rights.words(key, role.as_str());
    }
    for right in TABLE {
        let mut row = vec![Cell::text(right.verb.to_string())];
        row.extend(
            Role::ALL.iter().map(|role| {
                if right.roles.contains(role) { Cell::status(Mark::InOrder, "yes") } else { Cell::nothing() }
            }),
        );
        rights.row(row);
    }
    page.sheet(rights);
    Ok(page.into())
}

fn person_of(asked: &Asked) -> Result<PersonId, Refused> {
    PersonId::new(asked.part(0)).map_err(|_| Refused::no_page(format!("\"{}\" is no name of a person", asked.part(0))))
}

/// One person: account, authorisations, sign-ins, and what may be changed.
pub(crate) fn person(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    Ok(page_of(desk, asked, &person_of(asked)?)?.into())
}

fn page_of(desk: &Desk, asked: &Asked, id: &PersonId) -> Result<Page, Refused> {
    let laboratory = desk.laboratory()?;
    let state = laboratory.state();
    let person = laboratory.person(id)?;
    let account = state.accounts.get(id).cloned().unwrap_or_default();
    let mut page = Page::new(person.full_name.clone()).under("People", "/people");
    page.done = done(asked);
    let at = format!("/person/{}", escape(id.as_str()));
    let mut facts = vec![
        Fact::new("name", "name", id.as_str()),
        Fact::new("roles", "roles", roles_of(person)),
        Fact::new("account", "account", if person.disabled { "closed" } else { "open" }),
        Fact::new(
            "key",
            "key",
            person.public_key.as_ref().map_or_else(|| "none".into(), |key| key.fingerprint().to_string()),
        ),
        Fact::new("failures", "wrong passphrases in a row", account.failures.to_string()),
    ];
    if let Some(by) = &account.passphrase_of {
        facts.push(Fact::new(
            "passphrase_of",
            "passphrase",
            format!("set by {by}; it has to be changed before anything is signed"),
        ));
    }
    page.facts(facts);
    let mut authorised = Sheet::new("authorised", "Authorised for methods")
        .words("method", "method")
        .words("until", "until")
        .words("by", "by")
        .figures("entry", "entry", "")
        .or_else_say("No authorisation is kept for this person.");
    for (method, people) in &state.authorisations {
        let Some(found) = people.get(id) else { continue };
        authorised.row(vec![
            Cell::text(method.as_str()),
            Cell::text(found.until.as_deref().unwrap_or("withdrawn")),
            Cell::text(found.by.as_str()),
            Cell::count(found.entry),
        ]);
    }
    page.sheet(authorised);
    let viewer = asked.viewer();
    if viewer.has_right(Verb::Authorise) && viewer.id() != id {
        let methods = state.methods.keys().map(|method| (method.to_string(), method.to_string())).collect();
        let form = Form::act("authorise", format!("{at}/authorise"))
            .field(Field::one_of("method", "Method", methods))
            .field(Field::day("until", "Last day, like 2027-03-31").hint("Empty withdraws it"))
            .field(Field::line("reason", "Reason for authorising or withdrawing"))
            .button("Authorise");
        page.parts.push(Part::Opens("Authorise for a method".into(), vec![Part::Form(form)]));
    }
    if viewer.has_right(Verb::ManagePeople) {
        let mut sheet =
            Sheet::new("sign-ins", "Sign-ins that last").figures("number", "number", "").words("from", "from");
        for session in desk.sessions().of(Some(id), desk.now(), desk.settings.lasts) {
            sheet.row(vec![Cell::count(session.number), Cell::text(session.from.to_string())]);
        }
        if sheet.len() > 0 {
            page.sheet(sheet);
            page.form(Form::act("end", format!("{at}/end")).button("End these sign-ins"));
        }
        if viewer.id() != id {
            page.parts.push(Part::Opens(
                "Change roles or close the account".into(),
                vec![Part::Form(change_form(&at, person))],
            ));
            if account.failures > 0 {
                let form = Form::act("unlock", format!("{at}/unlock"))
                    .field(Field::line("reason", "Reason for unlocking"))
                    .button("Unlock the account");
                page.parts.push(Part::Opens("Unlock the account".into(), vec![Part::Form(form)]));
            }
            let form = Form::act("renew", format!("{at}/renew"))
                .field(Field::line("reason", "Reason for a new key"))
                .button("Give a new key")
                .legend("The key gets a passphrase that serves once and is shown once; the person changes it before signing");
            page.parts.push(Part::Opens("Give a new key".into(), vec![Part::Form(form)]));
        }
    }
    page.words(html! { p { a href=(format!("/trail?person={}", escape(id.as_str()))) { "Every entry by or about " (person.full_name) } } });
    Ok(page)
}

fn change_form(at: &str, person: &Person) -> Form {
    Form::act("change", format!("{at}/change"))
        .field(
            Field::any_of("role", "Roles", role_choices())
                .ticked(person.roles.iter().map(|role| role.as_str().to_owned())),
        )
        .field(
            Field::any_of("closed", "Account", vec![("yes".into(), "closed: may sign in and do nothing here".into())])
                .ticked(person.disabled.then(|| "yes".to_owned())),
        )
        .field(Field::line("reason", "Reason for the change"))
        .button("Change it")
}

fn reason(asked: &Asked) -> Result<Reason, Refused> {
    Reason::new(asked.form.get("reason")).ok_or_else(|| {
        Refused::new(422, "a reason has between 1 and 500 characters", "Go back and write what was seen.")
    })
}

fn roles(asked: &Asked) -> BTreeSet<Role> {
    asked.form.all("role").filter_map(|role| role.parse().ok()).filter(|role| *role != Role::Device).collect()
}

/// Enters a person.
pub(crate) fn add(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let sent = &asked.form;
    let mut faults = Vec::new();
    let id = PersonId::new(sent.get("id").trim());
    if id.is_err() {
        faults.push(Fault::at("add", "id", "Name must be small letters, digits, points and hyphens, like j.alder"));
    }
    let full_name = sent.get("full_name").trim();
    if full_name.is_empty() {
        faults.push(Fault::at("add", "full_name", "Enter the full name"));
    }
    let roles = roles(asked);
    if roles.is_empty() {
        faults.push(Fault::at("add", "role", "Tick at least one role"));
    }
    let identity = Some(sent.get("identity").trim()).filter(|identity| !identity.is_empty());
    let passphrase = sent.get("passphrase");
    if passphrase.chars().count() < LEAST_ONLY_FACTOR {
        faults.push(Fault::at(
            "add",
            "passphrase",
            format!("Passphrase must have {LEAST_ONLY_FACTOR} characters or more"),
        ));
    }
    let again = |faults| {
        let mut page = Page::new("Enter a person").under("People", "/people");
        page.form(add_form().filled(sent));
        page.faults = faults;
        Ok(Answer::from(page))
    };
    let (Ok(id), true) = (id, faults.is_empty()) else { return again(faults) };
    let by = asked.viewer().id().clone();
    match desk
        .act(|laboratory| laboratory.add_person_known_by(&by, &id, full_name, roles.clone(), passphrase, identity))
    {
        Ok(entry) => Ok(Answer::Go(gone_back("/people", [entry]))),
        Err(error @ (LaboratoryError::GuessedFirst { .. } | LaboratoryError::Key(_))) => {
            again(vec![Fault::at("add", "passphrase", capital(&error.to_string()))])
        }
        Err(error @ LaboratoryError::AlreadyEntered { .. }) => {
            again(vec![Fault::at("add", "id", capital(&error.to_string()))])
        }
        Err(error) => Err(error.into()),
    }
}

/// Characters that a passphrase has at least where it is the only factor of a sign-in.
///
/// Source: `reference/records/README.md`, pack of sign-in, item pw-length-single.
pub(crate) const LEAST_ONLY_FACTOR: usize = 15;

/// Changes roles, closes or opens an account. Sign-ins of a closed one end at once.
pub(crate) fn change(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let id = person_of(asked)?;
    let closed = asked.form.get("closed") == "yes";
    let change = Change { full_name: None, roles: Some(roles(asked)), disabled: Some(closed) };
    let (by, reason) = (asked.viewer().id().clone(), reason(asked)?);
    let entry = desk.act(|laboratory| laboratory.change_person(&by, &id, &change, &reason))?;
    if closed {
        desk.sessions().end_all_of(&id, None);
    }
    Ok(Answer::Go(gone_back(&format!("/person/{}", escape(id.as_str())), [entry])))
}

/// Unlocks an account.
pub(crate) fn unlock(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let (id, by, reason) = (person_of(asked)?, asked.viewer().id().clone(), reason(asked)?);
    let entry = desk.act(|laboratory| laboratory.unlock_account(&by, &id, &reason))?;
    Ok(Answer::Go(gone_back(&format!("/person/{}", escape(id.as_str())), [entry])))
}

/// Gives a person who has lost their passphrase a new key under one that serves once; it is shown on this page alone.
pub(crate) fn renew(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let (id, by, reason) = (person_of(asked)?, asked.viewer().id().clone(), reason(asked)?);
    let token = crate::session::random_token().ok_or_else(Refused::fault)?;
    // Five groups of four are read out and typed without a slip; 80 bits are not guessed.
    let once: Vec<&str> = (0..5).filter_map(|place| token.get(4 * place..4 * place + 4)).collect();
    let once = once.join("-");
    desk.act(|laboratory| laboratory.renew_key(&by, &id, &once, &reason))?;
    desk.sessions().end_all_of(&id, None);
    let mut page = Page::new(format!("A new key for {id}")).under("People", "/people");
    page.words(html! {
        div.large.plain { "Passphrase that serves once: " code { (once) } }
        p { "It is shown here and nowhere else. " (id) " signs in with it and changes it under their own name before anything can be signed." }
    });
    Ok(page.into())
}

/// Ends all sign-ins of a person.
pub(crate) fn end(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let id = person_of(asked)?;
    desk.sessions().end_all_of(&id, None);
    desk.write_down(
        asked.from,
        Some(asked.viewer().id().as_str()),
        &format!("ended the sign-ins of {id}"),
        &asked.path,
    )?;
    Ok(Answer::Go(format!("/person/{}", escape(id.as_str()))))
}

/// Authorises a person for a method.
pub(crate) fn authorise(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let (id, by, reason) = (person_of(asked)?, asked.viewer().id().clone(), reason(asked)?);
    let method =
        asked.form.get("method").parse().map_err(|_| Refused::new(422, "no method is named", "Choose one."))?;
    let until = Some(asked.form.get("until").trim()).filter(|until| !until.is_empty());
    let entry = desk.act(|laboratory| laboratory.authorise(&by, &id, &method, until, &reason))?;
    Ok(Answer::Go(gone_back(&format!("/person/{}", escape(id.as_str())), [entry])))
}
