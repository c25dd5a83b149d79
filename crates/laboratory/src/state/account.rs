//! How an account stands, and what its person is authorised for.

use darkline_audit_trail::{PersonId, Timestamp};

/// How an account stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Account {
    /// Passphrases in a row that did not open its key.
    pub failures: u32,
    /// When the last of them was given.
    pub last_failure: Option<Timestamp>,
    /// Who chose its passphrase, where that is somebody else.
    pub passphrase_of: Option<PersonId>,
    /// The last entry by this person.
    pub last_entry: Option<String>,
    /// When the passphrase was set.
    pub passphrase_at: Option<String>,
}

impl Account {
    /// Whole days since its last entry, or since its passphrase was set where there is none; nothing where neither is known.
    ///
    /// # Source
    /// 21 CFR 11.300(b), in our words in `reference/records/part11.toml`: accounts are listed with their last use.
    pub fn days_unused(&self, now: &Timestamp) -> Option<i64> {
        let last = Timestamp::new(self.last_entry.as_ref().or(self.passphrase_at.as_ref())?).ok()?;
        Some(now.instant().duration_since(last.instant()).as_hours().max(0) / 24)
    }
}

/// An authorisation for a method.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Authorisation {
    /// The last day; none where it was withdrawn.
    pub until: Option<String>,
    /// Who gave or withdrew it.
    pub by: PersonId,
    /// The entry.
    pub entry: u64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_account_is_unused_since_its_last_entry() {
        let now = Timestamp::new("2026-06-01T08:00:00+02:00").unwrap();
        let mut account = Account::default();
        assert_eq!(account.days_unused(&now), None);
        account.passphrase_at = Some("2026-01-01T08:00:00+01:00".into());
        assert_eq!(account.days_unused(&now), Some(150));
        account.last_entry = Some("2026-03-03T08:00:00+01:00".into());
        assert_eq!(account.days_unused(&now), Some(89));
        account.last_entry = Some("2026-07-01T08:00:00+02:00".into());
        assert_eq!(account.days_unused(&now), Some(0));
    }
}
