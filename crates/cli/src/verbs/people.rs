//! `darkline people`: who is who, and entering somebody new.

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::{Person, Role};
use serde::Serialize;

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
}

pub fn run(everywhere: &Everywhere, options: &People) -> Result<Ending, Failure> {
    match &options.what {
        None => list(everywhere),
        Some(PeopleVerb::Add { name, full_name, role, key_file }) => {
            let by = bench::person(everywhere)?;
            let person = PersonId::new(name).map_err(Failure::told)?;
            let roles =
                role.iter().map(|role| role.parse::<Role>().map_err(Failure::told)).collect::<Result<_, _>>()?;
            let mut laboratory = bench::write(everywhere)?;
            let passphrase = secret::new_passphrase(everywhere, name, key_file.as_deref())?;
            let entry = laboratory.add_person(&by, &person, full_name, roles, &passphrase)?;
            if everywhere.json {
                print_line(&laboratory.state().people[&person])?;
            }
            talk::tell(&format!("entry {entry}: {person} entered by {by}, {}.", role.join(", ")));
            Ok(Ending::Done)
        }
    }
}

fn list(everywhere: &Everywhere) -> Result<Ending, Failure> {
    let laboratory = bench::read(everywhere)?;
    let mut table = Table::new().words("name").words("full name").words("key").words("roles");
    for person in laboratory.state().people.values() {
        if everywhere.json {
            print_line(person)?;
            continue;
        }
        let state = if person.disabled { " (disabled)" } else { "" };
        let roles = format!("{}{state}", roles_of(person).join(", "));
        table.row(vec![person.id.to_string(), person.full_name.clone(), key_of(person).unwrap_or_default(), roles]);
    }
    if !everywhere.json {
        talk::print(&table.text())?;
    }
    Ok(Ending::Done)
}

fn roles_of(person: &Person) -> Vec<&'static str> {
    person.roles.iter().map(|role| role.as_str()).collect()
}

fn key_of(person: &Person) -> Option<String> {
    person.public_key.as_ref().map(|key| key.fingerprint().to_string())
}

fn print_line(person: &Person) -> Result<(), Failure> {
    talk::print_json(&PersonLine {
        schema: "darkline/person/1",
        name: person.id.as_str(),
        full_name: &person.full_name,
        roles: roles_of(person),
        key: key_of(person),
        disabled: person.disabled,
    })
}
