//! What an entry tells a person: what was done, about what, what stood there before, what stands there now, and why.

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::{Person, Stage};
use darkline_record::decision::{Decision, FlagId};

use crate::act::{Act, PassphraseFrom};
use crate::deciding::step_words;
use crate::state::State;

/// An entry as it is told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// The kind of act, as it is searched for: `decide`, `sign`, `import` …
    pub what: &'static str,
    /// The whole act in words.
    pub words: String,
    /// What it is about: `order 2026-052`, `reading R1/14`, `row R1/5`, `run R1`, `person j.alder` …
    pub about: Vec<String>,
    /// What stood there before, where something did.
    pub old: Option<String>,
    /// What stands there now.
    pub new: Option<String>,
    /// Why.
    pub why: Option<String>,
}

impl Act {
    /// Every kind of act, as it is searched for.
    pub const KINDS: [&'static str; 25] = [
        "archive",
        "authorise",
        "backup",
        "clock",
        "decide",
        "document",
        "drill",
        "erase",
        "import",
        "issue",
        "laboratory",
        "leg",
        "open",
        "passphrase",
        "person",
        "refused",
        "restore",
        "retention",
        "return",
        "review",
        "sign",
        "start",
        "take-over",
        "unlock",
        "wrong-passphrase",
    ];

    /// The kind of act, as it is searched for.
    pub fn kind(&self) -> &'static str {
        match self {
            Act::SetLaboratory { .. } | Act::SetSigningTerms { .. } => "laboratory",
            Act::SetPerson { .. } => "person",
            Act::RenewKey { .. } | Act::ChangePassphrase { .. } => "passphrase",
            Act::FailedPassphrase { .. } => "wrong-passphrase",
            Act::Unlock { .. } => "unlock",
            Act::Authorise { .. } => "authorise",
            Act::OpenDocument { .. } => "document",
            Act::OpenOrder { .. } => "open",
            Act::Import { .. } => "import",
            Act::AddLeg { .. } => "leg",
            Act::Decide { .. } => "decide",
            Act::Sign { .. } => "sign",
            Act::Return { .. } => "return",
            Act::Issue { .. } => "issue",
            Act::Archive { .. } => "archive",
            Act::SetRetention { .. } => "retention",
            Act::RefusedErasure { .. } | Act::EraseIdentity { .. } => "erase",
            Act::RefusedStep { .. } => "refused",
            Act::Start { .. } => "start",
            Act::ReviewEntries { .. } => "review",
            Act::ClockWentBack { .. } => "clock",
            Act::Restore { .. } => "restore",
            Act::TakeOver { .. } => "take-over",
            Act::BackUp { .. } => "backup",
            Act::Drill { .. } => "drill",
        }
    }

    /// What was done, in words for a list.
    pub fn words(&self) -> String {
        match self {
            Act::SetLaboratory { name, passphrases_from_files, .. } => {
                let files = if *passphrases_from_files { "; passphrases may come from files" } else { "" };
                format!("the laboratory is called {name}{files}")
            }
            Act::SetSigningTerms { statement, certification } => {
                let statement = statement.as_ref().map(|text| format!("who signs reads \"{text}\""));
                let certification = certification.as_ref().map(|text| format!("signatures are certified: {text}"));
                statement.into_iter().chain(certification).collect::<Vec<_>>().join("; ")
            }
            Act::SetPerson { person, reason, .. } => {
                let why = reason.as_ref().map_or_else(String::new, |reason| format!(": {reason}"));
                format!("{} is {}{why}", person.id, is(person))
            }
            Act::RenewKey { person, reason } => format!("{} gets a new key: {reason}", person.id),
            Act::ChangePassphrase { person } => format!("{} changed the passphrase", person.id),
            Act::FailedPassphrase { person, wanted, in_a_row } => {
                format!(
                    "a passphrase that does not open the key of {person} was given to {wanted} ({in_a_row} in a row)"
                )
            }
            Act::Unlock { person, reason } => format!("the account of {person} is unlocked: {reason}"),
            Act::Authorise { person, method, until: Some(until), reason } => {
                format!("{person} is authorised for method {method} until {until}: {reason}")
            }
            Act::Authorise { person, method, until: None, reason } => {
                format!("{person} is no longer authorised for method {method}: {reason}")
            }
            Act::OpenDocument { kind, file_name, .. } => format!("{} {file_name} taken into the record", kind.word()),
            Act::OpenOrder { order, edition } => format!("order {order} opened, edition {edition}"),
            Act::Import { run, table, device, received, .. } => {
                let device = if device.is_some() { " by a device" } else { "" };
                let read = received.as_ref().map_or(String::new(), |received| {
                    format!(", read with the mapping {}", received.mapping.file_name)
                });
                format!("readings of {} taken into run {run}{device}{read}", table.file_name)
            }
            Act::AddLeg { run, leg } => format!("leg of {} rows added to run {run}", leg.rows.len()),
            Act::Decide { decision, .. } => match decision {
                Decision::Reject { reading, reason } => format!("reading {reading} rejected: {reason}"),
                Decision::Reinstate { reading, reason } => format!("reading {reading} counts again: {reason}"),
                Decision::Justify { flag, reason, .. } => format!("{flag} justified: {reason}"),
                Decision::TakeUp { flag, reason, .. } => format!("{flag} taken up: {reason}"),
                Decision::ChooseModel { run, model, reason } => {
                    format!("run {run} calibrated by {}: {reason}", model.words())
                }
            },
            Act::Sign { order, meaning, passphrase, .. } => {
                format!("order {order} signed: {}{}", meaning.words(), from(*passphrase))
            }
            Act::Return { order, from, to, remarks, reason } => {
                let n = remarks.len();
                let remarks = if n == 1 { "1 remark".to_owned() } else { format!("{n} remarks") };
                format!("order {order} returned from {from} to {to} with {remarks}: {reason}")
            }
            Act::Issue { order, report, supersedes, because, .. } => {
                let instead = match (supersedes, because) {
                    (Some(earlier), Some(because)) => format!(", which supersedes {earlier}: {because}"),
                    (Some(earlier), None) => format!(", which supersedes {earlier}"),
                    _ => String::new(),
                };
                format!("order {order} issued as report {report}{instead}")
            }
            Act::Archive { order, .. } => format!("order {order} archived"),
            Act::SetRetention { order, until, reason } => format!("order {order} is kept until {until}: {reason}"),
            Act::Start { order, shown, .. } => {
                format!("{} cautions read before order {order} was started", shown.len())
            }
            Act::RefusedStep { wanted, order, why } => {
                let of = order.as_ref().map_or_else(String::new, |order| format!(", order {order},"));
                format!("to {wanted}{of} was refused: {why}")
            }
            Act::RefusedErasure { order, why } => format!("erasing whose order {order} was is refused: {why}"),
            Act::EraseIdentity { order, reason } => format!("whose order {order} was is erased: {reason}"),
            Act::ReviewEntries { order, n_shown, size, remark, .. } => {
                let of = order.as_ref().map_or_else(String::new, |order| format!(" of order {order}"));
                format!("{n_shown} entries{of} reviewed, up to entry {}: {remark}", size.saturating_sub(1))
            }
            Act::ClockWentBack { from, to } => format!("the clock went back from {from} to {to}"),
            Act::TakeOver { log, size, .. } => format!("{size} entries of log {log} taken over"),
            Act::Restore { order, report, log, .. } => {
                format!("order {order} with report {report} restored from log {log}")
            }
            Act::BackUp { size, place, .. } => format!("{size} entries copied to {place}"),
            Act::Drill { size, faults, .. } if faults.is_empty() => {
                format!("a copy of {size} entries restored aside: all in order")
            }
            Act::Drill { size, faults, .. } => {
                format!("a copy of {size} entries restored aside: {} not in order", faults.len())
            }
        }
    }

    /// The act as it is told, in the light of what the record said before it.
    pub fn told(&self, before: &State) -> Told {
        let mut told =
            Told { what: self.kind(), words: self.words(), about: Vec::new(), old: None, new: None, why: None };
        match self {
            Act::SetLaboratory { name, address, .. } => {
                let line = |(name, address): &(String, Vec<String>)| format!("{name}, {}", address.join(", "));
                told.old = before.laboratory.as_ref().map(line);
                told.new = Some(line(&(name.clone(), address.clone())));
            }
            Act::SetSigningTerms { statement, certification } => {
                let both = |texts: [&Option<String>; 2]| {
                    let known: Vec<&str> = texts.into_iter().flatten().map(String::as_str).collect();
                    (!known.is_empty()).then(|| known.join("; "))
                };
                told.old = both([&before.statement, &before.certification]);
                told.new = both([statement, certification]);
            }
            Act::SetPerson { person, reason, identity } => {
                told.person(before, person);
                told.why = reason.as_ref().map(ToString::to_string).or_else(|| identity.clone());
            }
            Act::RenewKey { person, reason } => {
                told.person(before, person);
                told.why = Some(reason.to_string());
            }
            Act::ChangePassphrase { person } => told.person(before, person),
            Act::FailedPassphrase { person, wanted, .. } => {
                told.about.push(about_person(person));
                told.new = Some(format!("wanted to {wanted}"));
            }
            Act::Unlock { person, reason } => {
                told.about.push(about_person(person));
                let failures = before.accounts.get(person).map_or(0, |account| account.failures);
                told.old = Some(format!("{failures} passphrases in a row did not open its key"));
                told.new = Some("open".into());
                told.why = Some(reason.to_string());
            }
            Act::Authorise { person, method, until, reason } => {
                told.about = vec![about_person(person), format!("method {method}")];
                let until_words = |until: &Option<String>| {
                    until.as_ref().map_or_else(|| "not authorised".to_owned(), |until| format!("until {until}"))
                };
                told.old = before.authorisation(person, method).map(|known| until_words(&known.until));
                told.new = Some(until_words(until));
                told.why = Some(reason.to_string());
            }
            Act::OpenDocument { kind, file_name, rows, .. } => {
                told.about.push(format!("{} {file_name}", kind.word()));
                told.new = Some(match rows {
                    Some(rows) => format!("{file_name}, {}", rows.file_name),
                    None => file_name.clone(),
                });
            }
            Act::OpenOrder { order, edition } => {
                told.about.push(format!("order {order}"));
                told.old = before
                    .orders
                    .get(order)
                    .and_then(|known| known.edition)
                    .map(|edition| format!("edition {edition}"));
                told.new = Some(format!("edition {edition}"));
            }
            Act::Import { run, table, first, .. } => {
                told.about.push(format!("run {run}"));
                let n = table.text.lines().filter(|line| !line.trim().is_empty()).count().saturating_sub(1);
                let last = (*first).saturating_add(u32::try_from(n).unwrap_or(u32::MAX)).saturating_sub(1);
                told.about.extend((*first..=last).map(|number| format!("reading {run}/{number}")));
                told.new = Some(format!("readings {first} to {last}"));
            }
            Act::AddLeg { run, leg } => {
                told.about.push(format!("run {run}"));
                told.new = Some(format!("{} rows", leg.rows.len()));
                let flags: Vec<String> = leg.because.iter().map(ToString::to_string).collect();
                told.why = (!flags.is_empty()).then(|| flags.join(", "));
            }
            Act::Decide { order, decision } => {
                told.about.push(format!("order {order}"));
                told.decision(before, decision);
            }
            Act::Sign { order, meaning, outcome, passphrase, .. } => {
                told.about.push(format!("order {order}"));
                told.new = Some(format!("{}, outcome {outcome}{}", meaning.words(), from(*passphrase)));
            }
            Act::Return { order, from, to, remarks, reason } => {
                told.about.push(format!("order {order}"));
                told.about.extend(remarks.iter().map(|remark| remark.on.replacen(':', " ", 1)));
                let words = |stage: &Stage| stage.words().to_owned();
                (told.old, told.new) = (Some(words(from)), Some(words(to)));
                let mut why = vec![reason.to_string()];
                why.extend(remarks.iter().map(|remark| format!("{}: {}", remark.on, remark.remark)));
                told.why = Some(why.join("; "));
            }
            Act::Issue { order, report, supersedes, because, .. } => {
                told.about = vec![format!("order {order}"), format!("report {report}")];
                (told.old, told.new) = (supersedes.clone(), Some(report.clone()));
                told.why = because.as_ref().map(ToString::to_string);
            }
            Act::Archive { order, .. } => told.about.push(format!("order {order}")),
            Act::SetRetention { order, until, reason } => {
                told.about.push(format!("order {order}"));
                told.old = before.orders.get(order).and_then(|known| known.keep_until.clone());
                told.new = Some(until.clone());
                told.why = Some(reason.to_string());
            }
            Act::Start { order, list, shown, stated } => {
                told.about.push(format!("order {order}"));
                told.new = Some(format!("{} of list {list}", shown.join(", ")));
                told.why = (!stated.is_empty()).then(|| stated.join("; "));
            }
            Act::RefusedStep { wanted, order, why } => {
                told.about.extend(order.as_ref().map(|order| format!("order {order}")));
                told.new = Some(format!("wanted to {wanted}"));
                told.why = Some(why.clone());
            }
            Act::RefusedErasure { order, why } => {
                told.about.push(format!("order {order}"));
                told.why = Some(why.clone());
            }
            Act::EraseIdentity { order, reason } => {
                told.about.push(format!("order {order}"));
                (told.old, told.new) = (Some("kept apart".into()), Some("erased".into()));
                told.why = Some(reason.to_string());
            }
            Act::ReviewEntries { order, remark, .. } => {
                told.about.extend(order.as_ref().map(|order| format!("order {order}")));
                told.why = Some(remark.to_string());
            }
            Act::ClockWentBack { from, to } => (told.old, told.new) = (Some(from.clone()), Some(to.clone())),
            Act::TakeOver { log, size, root, .. } => {
                told.about.push(format!("log {log}"));
                told.new = Some(format!("{size} entries, root {root}"));
            }
            Act::Restore { order, log, .. } => {
                told.about.push(format!("order {order}"));
                told.new = Some(format!("as in log {log}"));
            }
            Act::BackUp { root, place, .. } => told.new = Some(format!("{place}, root {root}")),
            Act::Drill { root, faults, .. } => {
                told.new = Some(if faults.is_empty() { format!("root {root}") } else { faults.join("; ") });
            }
        }
        told
    }
}

impl Told {
    fn person(&mut self, before: &State, person: &Person) {
        self.about.push(about_person(&person.id));
        self.old = before.people.get(&person.id).map(described);
        self.new = Some(described(person));
    }

    fn decision(&mut self, before: &State, decision: &Decision) {
        let rejected = |reading: &darkline_record::identity::ReadingId| {
            let found = before.orders.values().flat_map(|known| &known.decisions).rev().find_map(|decided| {
                match &decided.decision {
                    Decision::Reject { reading: of, .. } if of == reading => Some(true),
                    Decision::Reinstate { reading: of, .. } if of == reading => Some(false),
                    _ => None,
                }
            });
            if found == Some(true) { "rejected" } else { "counts" }
        };
        match decision {
            Decision::Reject { reading, reason } | Decision::Reinstate { reading, reason } => {
                self.about.extend([format!("reading {reading}"), format!("run {}", reading.run)]);
                self.old = Some(rejected(reading).into());
                let is_rejected = matches!(decision, Decision::Reject { .. });
                self.new = Some(if is_rejected { "rejected" } else { "counts" }.into());
                self.why = Some(reason.to_string());
            }
            Decision::Justify { flag, reason, .. } => {
                self.about.extend(about_flag(flag));
                (self.old, self.new) = (Some("raised".into()), Some("justified".into()));
                self.why = Some(reason.to_string());
            }
            Decision::TakeUp { flag, step, reason } => {
                self.about.extend(about_flag(flag));
                (self.old, self.new) = (Some("raised".into()), Some(step_words(step)));
                self.why = Some(reason.to_string());
            }
            Decision::ChooseModel { run, model, reason } => {
                self.about.push(format!("run {run}"));
                self.old = Some("as the standards chose, or as decided before".into());
                self.new = Some(model.words().to_owned());
                self.why = Some(reason.to_string());
            }
        }
    }
}

/// The flag, and what it was seen in.
fn about_flag(flag: &FlagId) -> Vec<String> {
    let id = flag.to_string();
    let subject = id.split_once(':').map(|(_, subject)| subject.replacen(':', " ", 1));
    std::iter::once(format!("flag {id}")).chain(subject).collect()
}

fn about_person(person: &PersonId) -> String {
    format!("person {person}")
}

/// What a person is: their roles, or that their account is closed.
fn is(person: &Person) -> String {
    match (person.disabled, person.roles.is_empty()) {
        (true, _) => "disabled".into(),
        (_, true) => "without a role".into(),
        _ => person.roles.iter().map(|role| role.as_str()).collect::<Vec<_>>().join(", "),
    }
}

fn described(person: &Person) -> String {
    let key = person.public_key.map_or_else(|| "no key".into(), |key| format!("key {}", key.fingerprint()));
    format!("{}, {}, {key}", person.full_name, is(person))
}

fn from(passphrase: PassphraseFrom) -> &'static str {
    match passphrase {
        PassphraseFrom::Typed => "",
        PassphraseFrom::File => ", passphrase from a file",
    }
}
