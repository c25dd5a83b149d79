//! `darkline people`: who is who and how their accounts stand; entering, changing, closing, unlocking, authorising.

use std::path::Path;

use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::people::{Person, Role};
use darkline_audit_trail::{PersonId, Timestamp};
use darkline_laboratory::accounts::{Change, LOCKED_FROM, LONG_UNUSED, WAITS_FROM};
use darkline_laboratory::{Laboratory, LaboratoryError};
use darkline_record::decision::Reason;
use darkline_record::identity::MethodId;
use serde::Serialize;

use super::reason;
use crate::bench;
use crate::command_line::{Everywhere, People, PeopleVerb};
use crate::ending::{Ending, Failure};
use crate::table::Table;
use crate::{secret, talk};

#[derive(Serialize)]
struct PersonLine<'a> {
    schema: &'static str,
    name: &'a str,
    full_name: &'a str,
    roles: Vec<&'static str>,
    key: Option<String>,
    disabled: bool,
    passphrase_set: Option<&'a str>,
    passphrase_of: Option<&'a str>,
    failures_in_a_row: u32,
    last_entry: Option<&'a str>,
    authorised: Vec<AuthorisedLine<'a>>,
}

#[derive(Serialize)]
struct AuthorisedLine<'a> {
    method: &'a str,
    until: Option<&'a str>,
    by: &'a str,
    entry: u64,
}

pub fn run(everywhere: &Everywhere, options: &People) -> Result<Ending, Failure> {
    let Some(what) = &options.what else { return list(everywhere) };
    let by = bench::person(everywhere)?;
    match what {
        PeopleVerb::Add { name, full_name, role, identity_seen, key_file, device_key } => {
            let (person, roles) = (id(name)?, roles(role)?);
            let mut laboratory = bench::write(everywhere)?;
            if roles.contains(&Role::Device) {
                return add_device(everywhere, laboratory, &by, &person, full_name, role, device_key.as_deref());
            }
            if device_key.is_some() {
                return Err(Failure::with_hint(
                    "a person has no key of a device",
                    "leave --device-key, or write --role device",
                ));
            }
            let passphrase = secret::new_passphrase(everywhere, name, key_file.as_deref())?;
            let seen = identity_seen.as_deref();
            let entry = laboratory.add_person_known_by(&by, &person, full_name, roles, &passphrase, seen)?;
            told(
                everywhere,
                &laboratory,
                &person,
                &format!("entry {entry}: {person} entered by {by}, {}.", role.join(", ")),
            )
        }
        PeopleVerb::Change { name, full_name, role, reason: why } => {
            let roles = if role.is_empty() { None } else { Some(roles(role)?) };
            let change = Change { full_name: full_name.clone(), roles, disabled: None };
            changed(everywhere, &by, name, &change, why, "changed")
        }
        PeopleVerb::Close { name, reason: why } => {
            let change = Change { disabled: Some(true), ..Change::default() };
            changed(everywhere, &by, name, &change, why, "closed; the name is never given to another")
        }
        PeopleVerb::Reopen { name, reason: why } => {
            let change = Change { disabled: Some(false), ..Change::default() };
            changed(everywhere, &by, name, &change, why, "open again")
        }
        PeopleVerb::Passphrase { key_file, new_key_file } => {
            let mut laboratory = bench::write(everywhere)?;
            laboratory.person(&by)?;
            laboratory.may_try(&by)?;
            let old = secret::passphrase(everywhere, by.as_str(), key_file.as_deref())?;
            let new = secret::new_passphrase(everywhere, by.as_str(), new_key_file.as_deref())?;
            let entry = laboratory.change_passphrase(&by, &old, &new)?;
            told(
                everywhere,
                &laboratory,
                &by,
                &format!("entry {entry}: {by} changed the passphrase; the one before opens nothing."),
            )
        }
        PeopleVerb::Renew { name, reason: why, key_file } => {
            let once = secret::new_passphrase(everywhere, name, key_file.as_deref())?;
            about(everywhere, name, why, |laboratory, person, why| {
                let entry = laboratory.renew_key(&by, person, &once, why)?;
                talk::tell(&format!("entry {entry}: {person} has a new key, given by {by}; it signs nothing yet."));
                Ok(format!("Next: darkline people passphrase --as {person}"))
            })
        }
        PeopleVerb::Unlock { name, reason: why } => about(everywhere, name, why, |laboratory, person, why| {
            let entry = laboratory.unlock_account(&by, person, why)?;
            Ok(format!("entry {entry}: the account of {person} is unlocked by {by}."))
        }),
        PeopleVerb::Authorise { name, method, until, withdraw: _, reason: why } => {
            let method: MethodId = method.parse().map_err(Failure::told)?;
            about(everywhere, name, why, |laboratory, person, why| {
                let entry = laboratory.authorise(&by, person, &method, until.as_deref(), why)?;
                let words = match until {
                    Some(until) => format!("authorised for method {method} until {until}"),
                    None => format!("no longer authorised for method {method}"),
                };
                Ok(format!("entry {entry}: {person} is {words}, by {by}."))
            })
        }
    }
}

/// An act about a person, with its reason; what it says is told.
fn about(
    everywhere: &Everywhere,
    name: &str,
    why: &str,
    act: impl FnOnce(&mut Laboratory, &PersonId, &Reason) -> Result<String, LaboratoryError>,
) -> Result<Ending, Failure> {
    let (person, why) = (id(name)?, reason(why)?);
    let mut laboratory = bench::write(everywhere)?;
    let words = act(&mut laboratory, &person, &why)?;
    told(everywhere, &laboratory, &person, &words)
}

fn id(name: &str) -> Result<PersonId, Failure> {
    PersonId::new(name).map_err(Failure::told)
}

fn roles(words: &[String]) -> Result<std::collections::BTreeSet<Role>, Failure> {
    words.iter().map(|role| role.parse::<Role>().map_err(Failure::told)).collect()
}

fn add_device(
    everywhere: &Everywhere,
    mut laboratory: Laboratory,
    by: &PersonId,
    device: &PersonId,
    full_name: &str,
    role: &[String],
    file: Option<&Path>,
) -> Result<Ending, Failure> {
    if role.len() > 1 {
        return Err(Failure::with_hint("a device is nothing else", "enter the person under a name of their own"));
    }
    let file = file.ok_or_else(|| {
        Failure::with_hint("a device has no passphrase but a key in a file", "say where it goes: --device-key FILE")
    })?;
    let key = SigningKey::random().map_err(|_| Failure::told("the operating system gave no random bytes"))?;
    key.write_device_file(file).map_err(Failure::told)?;
    let entry = match laboratory.add_device(by, device, full_name, &key) {
        Ok(entry) => entry,
        Err(error) => {
            // A key that nobody is entered with would be in the way of the next attempt.
            let _ = std::fs::remove_file(file);
            return Err(error.into());
        }
    };
    talk::tell(&format!("{} holds its key: keep it where only the device can read it", file.display()));
    told(
        everywhere,
        &laboratory,
        device,
        &format!("entry {entry}: device {device} entered by {by}; it imports and signs nothing else."),
    )
}

fn changed(
    everywhere: &Everywhere,
    by: &PersonId,
    name: &str,
    change: &Change,
    why: &str,
    words: &str,
) -> Result<Ending, Failure> {
    about(everywhere, name, why, |laboratory, person, why| {
        let entry = laboratory.change_person(by, person, change, why)?;
        Ok(format!("entry {entry}: the account of {person} is {words}, by {by}."))
    })
}

fn told(everywhere: &Everywhere, laboratory: &Laboratory, person: &PersonId, words: &str) -> Result<Ending, Failure> {
    if everywhere.json {
        print_line(laboratory, laboratory.person(person)?)?;
    }
    talk::tell(words);
    Ok(Ending::Done)
}

fn list(everywhere: &Everywhere) -> Result<Ending, Failure> {
    let laboratory = bench::read(everywhere)?;
    let mut table = Table::new().words("name").words("full name").words("key").words("roles");
    for person in laboratory.state().people.values() {
        if everywhere.json {
            print_line(&laboratory, person)?;
            continue;
        }
        let roles = format!("{}{}", roles_of(person).join(", "), account_words(&laboratory, person));
        table.row(vec![person.id.to_string(), person.full_name.clone(), key_of(person).unwrap_or_default(), roles]);
    }
    if !everywhere.json {
        talk::print(&table.text())?;
    }
    Ok(Ending::Done)
}

/// What has to be known about an account beside its roles.
fn account_words(laboratory: &Laboratory, person: &Person) -> String {
    let mut words = Vec::new();
    if person.disabled {
        words.push("disabled".to_owned());
    }
    if let Some(account) = laboratory.state().accounts.get(&person.id) {
        if let Some(by) = &account.passphrase_of {
            words.push(format!("passphrase set by {by}, to be changed"));
        }
        match account.failures {
            n if n >= LOCKED_FROM => words.push("locked".to_owned()),
            n if n >= WAITS_FROM => words.push(format!("{n} wrong passphrases in a row")),
            _ => {}
        }
        match account.days_unused(&Timestamp::now()) {
            Some(days) if days >= LONG_UNUSED && !person.disabled => words.push(format!("unused for {days} days")),
            _ => {}
        }
    }
    for authorised in authorisations(laboratory, person) {
        words.push(match authorised.until {
            Some(until) => format!("{} until {until}", authorised.method),
            None => format!("no longer {}", authorised.method),
        });
    }
    if words.is_empty() { String::new() } else { format!(" ({})", words.join("; ")) }
}

fn authorisations<'a>(laboratory: &'a Laboratory, person: &Person) -> Vec<AuthorisedLine<'a>> {
    let kept = laboratory.state().authorisations.iter();
    kept.filter_map(|(method, people)| {
        let known = people.get(&person.id)?;
        Some(AuthorisedLine {
            method: method.as_str(),
            until: known.until.as_deref(),
            by: known.by.as_str(),
            entry: known.entry,
        })
    })
    .collect()
}

fn roles_of(person: &Person) -> Vec<&'static str> {
    person.roles.iter().map(|role| role.as_str()).collect()
}

fn key_of(person: &Person) -> Option<String> {
    person.public_key.as_ref().map(|key| key.fingerprint().to_string())
}

fn print_line(laboratory: &Laboratory, person: &Person) -> Result<(), Failure> {
    let account = laboratory.state().accounts.get(&person.id);
    talk::print_json(&PersonLine {
        schema: "darkline/person/1",
        name: person.id.as_str(),
        full_name: &person.full_name,
        roles: roles_of(person),
        key: key_of(person),
        disabled: person.disabled,
        passphrase_set: account.and_then(|account| account.passphrase_at.as_deref()),
        passphrase_of: account.and_then(|account| account.passphrase_of.as_ref()).map(PersonId::as_str),
        failures_in_a_row: account.map_or(0, |account| account.failures),
        last_entry: account.and_then(|account| account.last_entry.as_deref()),
        authorised: authorisations(laboratory, person),
    })
}
