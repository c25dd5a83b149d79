//! Who is signed in: random tokens, kept as their hashes, with a limit for idleness and one for the whole.
//!
//! A token is made anew at every sign-in and is never stored; a form carries a second one that belongs to the sign-in.
//! Nothing here outlives the program: after a restart everybody signs in again.
//!
//! Source: `reference/records/README.md`, pack of sign-in, items sess-token to sess-storage and csrf-token.

use std::collections::BTreeMap;
use std::net::IpAddr;

use darkline_audit_trail::PersonId;
use sha2::{Digest, Sha256};

/// Sign-ins that one person may have at a time; the oldest ends when another begins.
const MOST_OF_ONE: usize = 20;

/// A sign-in.
#[derive(Clone, Debug)]
pub(crate) struct Session {
    /// Tells it from others, in lists.
    pub(crate) number: u64,
    /// Who.
    pub(crate) person: PersonId,
    /// What forms bring.
    pub(crate) form_token: String,
    /// When it began, in s.
    pub(crate) begun: u64,
    /// When it was last used.
    pub(crate) used: u64,
    /// From where.
    pub(crate) from: IpAddr,
}

/// How long a sign-in lasts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lasts {
    /// Without anything being done, in s.
    pub idle_s: u64,
    /// In all, in s.
    pub whole_s: u64,
}

/// All sign-ins.
#[derive(Debug, Default)]
pub(crate) struct Sessions {
    by_hash: BTreeMap<[u8; 32], Session>,
    last_number: u64,
}

/// 256 random bits as hexadecimal digits; `None` where the operating system gives none.
pub(crate) fn random_token() -> Option<String> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).ok()?;
    Some(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

fn hash(token: &str) -> [u8; 32] {
    Sha256::digest(token.as_bytes()).into()
}

/// Compares two tokens in a time that does not tell where they differ.
pub(crate) fn is_same(one: &str, other: &str) -> bool {
    hash(one) == hash(other)
}

impl Sessions {
    /// Begins a sign-in and gives its token; `None` without random bytes.
    pub(crate) fn begin(&mut self, person: &PersonId, from: IpAddr, now: u64) -> Option<String> {
        let (token, form_token) = (random_token()?, random_token()?);
        self.last_number += 1;
        let (number, person) = (self.last_number, person.clone());
        let of_person = self.by_hash.iter().filter(|(_, session)| session.person == person);
        let mut of_person: Vec<(u64, [u8; 32])> = of_person.map(|(hash, session)| (session.number, *hash)).collect();
        of_person.sort_unstable();
        for (_, oldest) in of_person.iter().take((of_person.len() + 1).saturating_sub(MOST_OF_ONE)) {
            self.by_hash.remove(oldest);
        }
        self.by_hash.insert(hash(&token), Session { number, person, form_token, begun: now, used: now, from });
        Some(token)
    }

    /// The sign-in that a token belongs to, where it still lasts.
    ///
    /// # Arguments
    /// * `is_use`: whether the person does something; a page that keeps itself up to date does not prolong anything.
    pub(crate) fn find(&mut self, token: &str, now: u64, lasts: Lasts, is_use: bool) -> Option<Session> {
        let hash = hash(token);
        let session = self.by_hash.get_mut(&hash)?;
        if now.saturating_sub(session.used) >= lasts.idle_s || now.saturating_sub(session.begun) >= lasts.whole_s {
            self.by_hash.remove(&hash);
            return None;
        }
        if is_use {
            session.used = now;
        }
        Some(session.clone())
    }

    /// Whether a sign-in still lasts, without being used.
    pub(crate) fn lasts(&self, number: u64, now: u64, lasts: Lasts) -> bool {
        self.by_hash.values().any(|session| {
            session.number == number
                && now.saturating_sub(session.used) < lasts.idle_s
                && now.saturating_sub(session.begun) < lasts.whole_s
        })
    }

    /// Ends a sign-in.
    pub(crate) fn end(&mut self, number: u64) {
        self.by_hash.retain(|_, session| session.number != number);
    }

    /// Ends all sign-ins of a person, but for one.
    pub(crate) fn end_all_of(&mut self, person: &PersonId, except: Option<u64>) {
        self.by_hash.retain(|_, session| session.person != *person || Some(session.number) == except);
    }

    /// The sign-ins that last, by their number.
    pub(crate) fn of(&self, person: Option<&PersonId>, now: u64, lasts: Lasts) -> Vec<Session> {
        let mut found: Vec<Session> = self
            .by_hash
            .values()
            .filter(|session| person.is_none_or(|person| session.person == *person))
            .filter(|session| self.lasts(session.number, now, lasts))
            .cloned()
            .collect();
        found.sort_by_key(|session| session.number);
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LASTS: Lasts = Lasts { idle_s: 900, whole_s: 3600 };

    fn alder() -> PersonId {
        PersonId::new("j.alder").unwrap()
    }

    fn here() -> IpAddr {
        [127, 0, 0, 1].into()
    }

    #[test]
    fn use_prolongs_idleness_and_not_the_whole() {
        let mut sessions = Sessions::default();
        let token = sessions.begin(&alder(), here(), 0).unwrap();
        for now in [800, 1600, 2400, 3200, 3599] {
            assert!(sessions.find(&token, now, LASTS, true).is_some(), "{now}");
        }
        assert!(sessions.find(&token, 3600, LASTS, true).is_none());
        let token = sessions.begin(&alder(), here(), 0).unwrap();
        // A page that looks for news does not count as use.
        assert!(sessions.find(&token, 899, LASTS, false).is_some());
        assert!(sessions.find(&token, 900, LASTS, true).is_none());
    }

    #[test]
    fn tokens_differ_and_an_ended_one_is_refused() {
        let mut sessions = Sessions::default();
        let first = sessions.begin(&alder(), here(), 0).unwrap();
        let second = sessions.begin(&alder(), here(), 0).unwrap();
        assert!(first != second && first.len() == 64);
        let session = sessions.find(&first, 1, LASTS, true).unwrap();
        assert!(session.form_token != first);
        sessions.end(session.number);
        assert!(sessions.find(&first, 1, LASTS, true).is_none() && sessions.find(&second, 1, LASTS, true).is_some());
        sessions.end_all_of(&alder(), None);
        assert!(sessions.find(&second, 1, LASTS, true).is_none());
    }

    #[test]
    fn one_person_does_not_fill_the_memory() {
        let mut sessions = Sessions::default();
        let first = sessions.begin(&alder(), here(), 0).unwrap();
        for _ in 0..100 {
            sessions.begin(&alder(), here(), 0).unwrap();
        }
        assert_eq!(sessions.of(Some(&alder()), 1, LASTS).len(), MOST_OF_ONE);
        assert!(sessions.find(&first, 1, LASTS, true).is_none());
    }
}
