//! Accounts: people are entered, changed and closed, their keys opened, renewed and locked, and authorised for methods.
//!
//! An account is never removed and its name never given to another. What opens a key is the passphrase of its person;
//! passphrases that do not open it are entries, and after three in a row the account waits, longer each time.

use std::collections::BTreeSet;

use darkline_audit_trail::keys::{KeyFileFault, SigningKey, Zeroizing, is_kept_below_today};
use darkline_audit_trail::people::{Person, Refusal, Relation, Role, Verb};
use darkline_audit_trail::{PersonId, Timestamp};
use darkline_record::decision::Reason;
use darkline_record::identity::{MethodId, OrderId};

use crate::act::{Act, PassphraseFrom};
use crate::laboratory::{Laboratory, LaboratoryError};

/// From this many passphrases in a row on that do not open the key, the account waits.
///
/// # Source
/// Common practice, no source: delay first, lock late, so that nobody shuts out a colleague for long.
pub const WAITS_FROM: u32 = 3;
/// With this many in a row it is locked until somebody has looked at it.
///
/// # Source
/// Common practice, no source; at most 100 by NIST SP 800-63B-4, 3.2.2 (`reference/records/README.md` names the pack).
pub const LOCKED_FROM: u32 = 10;
/// From so many days without an entry on, the list of people says so.
pub const LONG_UNUSED: i64 = 90;
/// No wait is longer, in minutes.
const LONGEST_WAIT: i64 = 60;

/// A passphrase and where it came from.
pub struct Passphrase {
    text: Zeroizing<String>,
    from: PassphraseFrom,
}

impl Passphrase {
    /// A passphrase that its person typed.
    pub fn typed(text: impl Into<String>) -> Self {
        Self { text: Zeroizing::new(text.into()), from: PassphraseFrom::Typed }
    }

    /// A passphrase from a file.
    pub fn from_file(text: impl Into<String>) -> Self {
        Self { text: Zeroizing::new(text.into()), from: PassphraseFrom::File }
    }

    /// Where it came from.
    pub fn origin(&self) -> PassphraseFrom {
        self.from
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.text
    }
}

impl From<&str> for Passphrase {
    fn from(text: &str) -> Self {
        Self::typed(text)
    }
}

/// What shall change about a person; what is none stays.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Change {
    /// The name that is printed from now on.
    pub full_name: Option<String>,
    /// All roles from now on.
    pub roles: Option<BTreeSet<Role>>,
    /// Whether the account is closed.
    pub disabled: Option<bool>,
}

/// Minutes that an account waits after so many passphrases in a row; none where it does not.
///
/// # Example
/// ```
/// use darkline_laboratory::accounts::minutes_to_wait;
/// assert_eq!([2, 3, 4, 5, 9].map(minutes_to_wait), [None, Some(1), Some(2), Some(4), Some(60)]);
/// ```
pub fn minutes_to_wait(failures: u32) -> Option<i64> {
    let beyond = failures.checked_sub(WAITS_FROM)?;
    Some(1_i64.checked_shl(beyond).unwrap_or(LONGEST_WAIT).min(LONGEST_WAIT))
}

/// A day as it is written: 2027-03-31.
///
/// # Errors
/// [`LaboratoryError::NoDay`].
pub fn day(text: &str) -> Result<String, LaboratoryError> {
    let no_day = || LaboratoryError::NoDay { found: text.chars().take(80).collect() };
    let day: jiff::civil::Date = text.parse().map_err(|_| no_day())?;
    if day.to_string() == text { Ok(text.to_owned()) } else { Err(no_day()) }
}

impl Laboratory {
    /// Enters the first person, who becomes administrator, and the laboratory's name; refused where somebody is entered already.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`] where people are entered already; keys and store as ever.
    pub fn begin(
        &mut self,
        id: &PersonId,
        full_name: &str,
        passphrase: &str,
        laboratory: &str,
        address: &[String],
    ) -> Result<u64, LaboratoryError> {
        self.begin_with(id, full_name, passphrase, laboratory, address, false)
    }

    /// The same, and says whether signatures may come with passphrases from files.
    ///
    /// # Errors
    /// As [`Laboratory::begin`].
    pub fn begin_with(
        &mut self,
        id: &PersonId,
        full_name: &str,
        passphrase: &str,
        laboratory: &str,
        address: &[String],
        passphrases_from_files: bool,
    ) -> Result<u64, LaboratoryError> {
        if !self.state.people.is_empty() {
            return Err(Refusal::NoRole { verb: Verb::ManagePeople }.into());
        }
        let number = self.enter(id, id, full_name, [Role::Administrator].into(), passphrase, None)?;
        let at = self.now();
        let (name, address) = (laboratory.into(), address.to_vec());
        self.append(id, &at, &[Act::SetLaboratory { name, address, passphrases_from_files }])?;
        Ok(number)
    }

    /// Says what reports issued from now on call the laboratory; those issued before keep what they say.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`]: who acts is no administrator.
    pub fn set_laboratory(&mut self, by: &PersonId, name: &str, address: &[String]) -> Result<u64, LaboratoryError> {
        self.set_laboratory_with(by, name, address, self.state.passphrases_from_files)
    }

    /// The same, and says whether signatures may come with passphrases from files.
    ///
    /// # Errors
    /// As [`Laboratory::set_laboratory`].
    pub fn set_laboratory_with(
        &mut self,
        by: &PersonId,
        name: &str,
        address: &[String],
        passphrases_from_files: bool,
    ) -> Result<u64, LaboratoryError> {
        self.admit(by, Verb::ManagePeople, None)?;
        let at = self.now();
        let (name, address) = (name.into(), address.to_vec());
        let numbers = self.append(by, &at, &[Act::SetLaboratory { name, address, passphrases_from_files }])?;
        Ok(numbers[0])
    }

    /// Says what a signature commits to here, as everybody reads it who signs, and how that was certified outside. What is
    /// none stays as it is; signatures keep the digest of the statement they were given under.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`]: who acts is no administrator.
    ///
    /// # Source
    /// 21 CFR 11.10(j) and 11.100(c), in our words in `reference/records/part11.toml`.
    pub fn set_signing_terms(
        &mut self,
        by: &PersonId,
        statement: Option<&str>,
        certification: Option<&str>,
    ) -> Result<u64, LaboratoryError> {
        self.admit(by, Verb::ManagePeople, None)?;
        let at = self.now();
        let (statement, certification) = (statement.map(str::to_owned), certification.map(str::to_owned));
        Ok(self.append(by, &at, &[Act::SetSigningTerms { statement, certification }])?[0])
    }

    /// Enters a person with a key of their own under their passphrase.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`]: who acts is no administrator, or the person is entered already.
    pub fn add_person(
        &mut self,
        by: &PersonId,
        id: &PersonId,
        full_name: &str,
        roles: BTreeSet<Role>,
        passphrase: &str,
    ) -> Result<u64, LaboratoryError> {
        self.add_person_known_by(by, id, full_name, roles, passphrase, None)
    }

    /// The same, and says by what the person was known: who saw which paper.
    ///
    /// # Errors
    /// As [`Laboratory::add_person`].
    ///
    /// # Source
    /// 21 CFR 11.100(b): identity is verified before a signature is assigned.
    pub fn add_person_known_by(
        &mut self,
        by: &PersonId,
        id: &PersonId,
        full_name: &str,
        roles: BTreeSet<Role>,
        passphrase: &str,
        identity: Option<&str>,
    ) -> Result<u64, LaboratoryError> {
        let allowed = self.may_add(by, id);
        self.noting(by, Verb::ManagePeople, None, allowed)?;
        self.enter(by, id, full_name, roles, passphrase, identity)
    }

    /// Enters a device that brings readings without anybody at the bench; its key stays with it and signs no results.
    ///
    /// # Errors
    /// As [`Laboratory::add_person`].
    pub fn add_device(
        &mut self,
        by: &PersonId,
        id: &PersonId,
        full_name: &str,
        key: &SigningKey,
    ) -> Result<u64, LaboratoryError> {
        let allowed = self.may_add(by, id);
        self.noting(by, Verb::ManagePeople, None, allowed)?;
        let person = Person {
            id: id.clone(),
            full_name: full_name.into(),
            roles: [Role::Device].into(),
            public_key: Some(key.public_key()),
            disabled: false,
        };
        let at = self.now();
        Ok(self.append(by, &at, &[Act::SetPerson { person, reason: None, identity: None }])?[0])
    }

    fn may_add(&self, by: &PersonId, id: &PersonId) -> Result<(), LaboratoryError> {
        self.may_manage(by, id)?;
        match self.state.people.get(id) {
            Some(known) => {
                Err(LaboratoryError::AlreadyEntered { person: id.clone(), full_name: known.full_name.clone() })
            }
            None => Ok(()),
        }
    }

    fn may_manage(&self, by: &PersonId, id: &PersonId) -> Result<(), LaboratoryError> {
        let relation = if by == id { Relation::Oneself } else { Relation::Unrelated };
        Ok(self.person(by)?.may(Verb::ManagePeople, &relation)?)
    }

    fn enter(
        &mut self,
        by: &PersonId,
        id: &PersonId,
        full_name: &str,
        roles: BTreeSet<Role>,
        passphrase: &str,
        identity: Option<&str>,
    ) -> Result<u64, LaboratoryError> {
        guessed_first(id, full_name, passphrase)?;
        let key = SigningKey::random().map_err(|_| LaboratoryError::NoRandomness)?;
        let text = key.to_kept_text(passphrase)?;
        let person = Person {
            id: id.clone(),
            full_name: full_name.into(),
            roles,
            public_key: Some(key.public_key()),
            disabled: false,
        };
        // The key first: a person without a key in the store could never sign, a key without a person harms nobody.
        self.store.put_key(id, &text)?;
        let at = self.now();
        let identity = identity.map(str::to_owned);
        let numbers = self.append(by, &at, &[Act::SetPerson { person, reason: None, identity }])?;
        Ok(numbers[0])
    }

    /// Changes a person's printed name or roles, or closes their account or opens it again. What they did stays.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`]; [`LaboratoryError::NothingToChange`]; [`LaboratoryError::LastAdministrator`].
    pub fn change_person(
        &mut self,
        by: &PersonId,
        id: &PersonId,
        change: &Change,
        reason: &Reason,
    ) -> Result<u64, LaboratoryError> {
        let allowed = self.may_manage(by, id);
        self.noting(by, Verb::ManagePeople, None, allowed)?;
        let known = self.person(id)?;
        let mut person = known.clone();
        if let Some(full_name) = &change.full_name {
            person.full_name.clone_from(full_name);
        }
        if let Some(roles) = &change.roles {
            person.roles.clone_from(roles);
        }
        if let Some(disabled) = change.disabled {
            person.disabled = disabled;
        }
        if person == *known {
            return Err(LaboratoryError::NothingToChange { person: id.clone() });
        }
        let administers = |person: &Person| !person.disabled && person.roles.contains(&Role::Administrator);
        let others = self.state.people.values().any(|other| other.id != *id && administers(other));
        if administers(known) && !administers(&person) && !others {
            return Err(LaboratoryError::LastAdministrator { person: id.clone() });
        }
        let at = self.now();
        let act = Act::SetPerson { person, reason: Some(reason.clone()), identity: None };
        Ok(self.append(by, &at, &[act])?[0])
    }

    /// Gives a person who has lost their passphrase a new key under a passphrase that serves once: nothing is signed with
    /// it before the person has changed it. What they signed with the old key keeps verifying with the old key.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`].
    ///
    /// # Source
    /// 21 CFR 11.200(a)(3): it takes two people to use somebody's signature.
    pub fn renew_key(
        &mut self,
        by: &PersonId,
        id: &PersonId,
        once: &str,
        reason: &Reason,
    ) -> Result<u64, LaboratoryError> {
        let allowed = self.may_manage(by, id);
        self.noting(by, Verb::ManagePeople, None, allowed)?;
        let known = self.person(id)?.clone();
        guessed_first(id, &known.full_name, once)?;
        let key = SigningKey::random().map_err(|_| LaboratoryError::NoRandomness)?;
        let text = key.to_kept_text(once)?;
        let person = Person { public_key: Some(key.public_key()), ..known };
        let at = self.now();
        let numbers = self.append(by, &at, &[Act::RenewKey { person, reason: reason.clone() }])?;
        self.store.put_key(id, &text)?;
        Ok(numbers[0])
    }

    /// Changes one's own passphrase; where somebody else had chosen it, the key as well.
    ///
    /// # Errors
    /// [`LaboratoryError::WrongPassphrase`] and what else keeps the key shut; [`LaboratoryError::Key`]: the new one is short.
    pub fn change_passphrase(
        &mut self,
        person: &PersonId,
        old: &Passphrase,
        new: &str,
    ) -> Result<u64, LaboratoryError> {
        let known = self.person(person)?.clone();
        if known.disabled {
            return Err(Refusal::Disabled { person: person.clone() }.into());
        }
        guessed_first(person, &known.full_name, new)?;
        let key = self.unlock(person, old, "change the passphrase")?;
        let is_of_another = self.state.accounts.get(person).is_some_and(|account| account.passphrase_of.is_some());
        let key = if is_of_another { SigningKey::random().map_err(|_| LaboratoryError::NoRandomness)? } else { key };
        let text = key.to_kept_text(new)?;
        let changed = Person { public_key: Some(key.public_key()), ..known };
        let at = self.now();
        let numbers = self.append(person, &at, &[Act::ChangePassphrase { person: changed }])?;
        self.store.put_key(person, &text)?;
        Ok(numbers[0])
    }

    /// Opens an account that waits or is locked.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`].
    pub fn unlock_account(&mut self, by: &PersonId, id: &PersonId, reason: &Reason) -> Result<u64, LaboratoryError> {
        let allowed = self.may_manage(by, id);
        self.noting(by, Verb::ManagePeople, None, allowed)?;
        self.person(id)?;
        if self.state.accounts.get(id).is_none_or(|account| account.failures == 0) {
            return Err(LaboratoryError::NothingToChange { person: id.clone() });
        }
        let at = self.now();
        Ok(self.append(by, &at, &[Act::Unlock { person: id.clone(), reason: reason.clone() }])?[0])
    }

    /// Authorises a person for a method up to a day, or withdraws it.
    ///
    /// # Arguments
    /// * `until`: the last day, as 2027-03-31; none withdraws.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`]; [`LaboratoryError::UnknownMethod`]; [`LaboratoryError::NoDay`].
    ///
    /// # Source
    /// ISO/IEC 17025:2017, 6.2.6 (from memory).
    pub fn authorise(
        &mut self,
        by: &PersonId,
        person: &PersonId,
        method: &MethodId,
        until: Option<&str>,
        reason: &Reason,
    ) -> Result<u64, LaboratoryError> {
        let relation = if by == person { Relation::Oneself } else { Relation::Unrelated };
        let allowed = self.person(by)?.may(Verb::Authorise, &relation).map_err(LaboratoryError::from);
        self.noting(by, Verb::Authorise, None, allowed)?;
        self.person(person)?;
        if !self.state.methods.contains_key(method) {
            let known: Vec<&str> = self.state.methods.keys().map(MethodId::as_str).collect();
            let known =
                if known.is_empty() { "it has none yet".into() } else { format!("it has {}", known.join(", ")) };
            return Err(LaboratoryError::UnknownMethod { method: method.clone(), known });
        }
        let until = until.map(day).transpose()?;
        let at = self.now();
        let (person, method, reason) = (person.clone(), method.clone(), reason.clone());
        Ok(self.append(by, &at, &[Act::Authorise { person, method, until, reason }])?[0])
    }

    /// Whether a person is authorised for the methods of an order today, as far as authorisations are kept for them.
    pub(crate) fn authorised(&self, person: &PersonId, order: &OrderId) -> Result<(), LaboratoryError> {
        let Some(known) = self.state.orders.get(order) else { return Ok(()) };
        let runs = self.state.runs_of(order);
        let methods: BTreeSet<&MethodId> = known
            .order
            .analytes
            .iter()
            .map(|requested| &requested.method)
            .chain(runs.iter().map(|run| &run.run.method))
            .collect();
        let today: String = self.now().as_str().chars().take(10).collect();
        for method in methods {
            let Some(kept) = self.state.authorisations.get(method) else { continue };
            let until = kept.get(person).and_then(|authorisation| authorisation.until.clone());
            if until.as_ref().is_none_or(|until| *until < today) {
                let (person, method) = (person.clone(), method.to_string());
                return Err(Refusal::NotAuthorised { person, method, until }.into());
            }
        }
        Ok(())
    }

    /// Whether an account may try a passphrase now.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`]: it waits or is locked.
    pub fn may_try(&self, person: &PersonId) -> Result<(), LaboratoryError> {
        let Some(account) = self.state.accounts.get(person) else { return Ok(()) };
        let (person, failures) = (person.clone(), account.failures);
        if failures >= LOCKED_FROM {
            return Err(Refusal::Locked { person, failures }.into());
        }
        let (Some(minutes), Some(last)) = (minutes_to_wait(failures), &account.last_failure) else { return Ok(()) };
        let until = last.instant() + jiff::SignedDuration::from_mins(minutes);
        if self.now().instant() < until {
            return Err(Refusal::Waits { person, failures, until: in_words(until) }.into());
        }
        Ok(())
    }

    /// Sees by the passphrase that it is this person, for work that goes on for a while; the key is not kept.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownPerson`]; [`LaboratoryError::Refused`]: the account is closed, waits or is locked;
    /// [`LaboratoryError::WrongPassphrase`]: an entry says so.
    pub fn sign_in(&mut self, person: &PersonId, passphrase: &Passphrase) -> Result<(), LaboratoryError> {
        if self.person(person)?.disabled {
            return Err(Refusal::Disabled { person: person.clone() }.into());
        }
        self.unlock(person, passphrase, "sign in").map(drop)
    }

    /// Opens the key of a person with their passphrase. One that does not open it becomes an entry.
    ///
    /// # Arguments
    /// * `wanted`: what it was wanted for, as the entry says it.
    pub(crate) fn unlock(
        &mut self,
        person: &PersonId,
        passphrase: &Passphrase,
        wanted: &str,
    ) -> Result<SigningKey, LaboratoryError> {
        self.may_try(person)?;
        let no_key = || LaboratoryError::NoKey { person: person.clone() };
        let text = self.store.key(person)?.ok_or_else(no_key)?;
        let key = match SigningKey::from_kept_text(&text, passphrase.as_str()) {
            Err(KeyFileFault::WrongPassphrase) => return Err(self.failed(person, wanted)?),
            answer => answer?,
        };
        // A key that is not the one in the record signs nothing that anybody would accept.
        if self.person(person)?.public_key.as_ref() != Some(&key.public_key()) {
            return Err(no_key());
        }
        if is_kept_below_today(&text) {
            self.store.put_key(person, &key.to_kept_text(passphrase.as_str())?)?;
        }
        Ok(key)
    }

    /// The key of a person for a signature: opened by themselves, with a passphrase of their own.
    pub(crate) fn unlock_to_sign(
        &mut self,
        person: &PersonId,
        passphrase: &Passphrase,
        verb: Verb,
    ) -> Result<SigningKey, LaboratoryError> {
        if passphrase.origin() == PassphraseFrom::File && !self.state.passphrases_from_files {
            return Err(Refusal::FromFile.into());
        }
        if let Some(by) = self.state.accounts.get(person).and_then(|account| account.passphrase_of.clone()) {
            return Err(Refusal::PassphraseOfAnother { person: person.clone(), by }.into());
        }
        self.unlock(person, passphrase, &verb.to_string())
    }

    fn failed(&mut self, person: &PersonId, wanted: &str) -> Result<LaboratoryError, LaboratoryError> {
        let in_a_row = self.state.accounts.get(person).map_or(0, |account| account.failures).saturating_add(1);
        let at = self.now();
        let act = Act::FailedPassphrase { person: person.clone(), wanted: wanted.into(), in_a_row };
        let entry = self.append(person, &at, &[act])?[0];
        let then = match minutes_to_wait(in_a_row) {
            _ if in_a_row >= LOCKED_FROM => "; the account is locked until an administrator unlocks it".to_owned(),
            Some(1) => "; the account waits 1 minute".to_owned(),
            Some(minutes) => format!("; the account waits {minutes} minutes"),
            None => String::new(),
        };
        Ok(LaboratoryError::WrongPassphrase { person: person.clone(), entry, in_a_row, then })
    }
}

/// Asks whether a person may take a passphrase, before anything is made.
///
/// # Errors
/// [`LaboratoryError::GuessedFirst`].
pub fn check_passphrase(person: &PersonId, full_name: &str, passphrase: &str) -> Result<(), LaboratoryError> {
    guessed_first(person, full_name, passphrase)
}

/// A moment as a person at the bench reads it.
fn in_words(instant: jiff::Timestamp) -> String {
    let zone = jiff::tz::TimeZone::system();
    let text = instant.to_zoned_datetime(zone).strftime("%Y-%m-%dT%H:%M:%S%:z").to_string();
    Timestamp::new(&text).map_or_else(|_| instant.to_string(), |at| at.to_string())
}

/// Turns back what anybody would try first: the names of the person and of this program, and one character over and over.
///
/// # Source
/// `reference/records/README.md`, pack of sign-in, item pw-blocklist; the list of leaked ones it asks for is not here.
fn guessed_first(person: &PersonId, full_name: &str, passphrase: &str) -> Result<(), LaboratoryError> {
    let plain: String = passphrase.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect();
    let is_only = |word: &str| {
        let word: String = word.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect();
        !word.is_empty() && !plain.is_empty() && plain.replace(&word, "").is_empty()
    };
    let mut characters = passphrase.chars();
    let first = characters.next();
    let what = if is_only(person.as_str()) || is_only(full_name) {
        "the person's own name"
    } else if is_only("darkline") || is_only("password") || is_only("passphrase") {
        "a word that is tried first"
    } else if first.is_some_and(|first| characters.all(|c| c == first)) {
        "one character over and over"
    } else {
        return Ok(());
    };
    Err(LaboratoryError::GuessedFirst { what, person: person.clone() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_anybody_would_try_first_is_turned_back() {
        let alder = PersonId::new("j.alder").unwrap();
        for text in ["j.alder", "JAlderJ.alder", "J. Alder J. Alder", "Darkline!", "password", "aaaaaaaaaa"] {
            assert!(guessed_first(&alder, "J. Alder", text).is_err(), "{text}");
        }
        for text in ["catkins before leaves", "alder by the weir", "aaaaaaaaab"] {
            assert!(guessed_first(&alder, "J. Alder", text).is_ok(), "{text}");
        }
    }

    #[test]
    fn a_day_is_written_in_full() {
        assert_eq!(day("2027-03-31").unwrap(), "2027-03-31");
        for text in ["2027-02-30", "31.03.2027", "2027-3-31", "", "2027-03-31T00:00:00Z"] {
            assert!(matches!(day(text), Err(LaboratoryError::NoDay { .. })), "{text}");
        }
    }
}
