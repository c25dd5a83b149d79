//! The people of a laboratory and their roles.
//!
//! Only the values and the rules stand here. People are changed by entries like everything else;
//! the floor above folds entries into people and asks [`may`] before it appends.

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::PersonId;
use crate::keys::PublicKey;

pub use permission::{Own, Part, Refusal, Relation, Right, Stage, TABLE, Verb, may, page};

mod permission;

/// What a person is in the laboratory. One person may be several things.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Role {
    /// Prepares, measures, decides about flags, signs as the author of results.
    Analyst,
    /// Reviews what others measured and signs for it.
    Reviewer,
    /// Releases reports and keeps methods and archives.
    QualityManager,
    /// Keeps people, keys and devices, and has no hand in data.
    Administrator,
    /// Is no person: a program that brings readings without anybody at the bench, and signs nothing.
    Device,
}

impl Role {
    /// All roles, in the order in which work passes through them.
    pub const ALL: [Self; 5] = [Self::Analyst, Self::Reviewer, Self::QualityManager, Self::Administrator, Self::Device];

    /// The word on screens, in files and in JSON.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Analyst => "analyst",
            Self::Reviewer => "reviewer",
            Self::QualityManager => "quality manager",
            Self::Administrator => "administrator",
            Self::Device => "device",
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// A word that is no role.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{found:?} is no role; write analyst, reviewer, quality manager, administrator or device")]
pub struct NoSuchRole {
    /// The word found, cut after 80 characters.
    pub found: String,
}

impl FromStr for Role {
    type Err = NoSuchRole;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let found = || NoSuchRole { found: text.chars().take(80).collect() };
        Self::ALL.into_iter().find(|role| role.as_str() == text).ok_or_else(found)
    }
}

impl TryFrom<String> for Role {
    type Error = NoSuchRole;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<Role> for String {
    fn from(role: Role) -> String {
        role.as_str().to_owned()
    }
}

/// A person as the laboratory knows them today.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Person {
    /// The name they sign in with; never given to another, also when they have left.
    pub id: PersonId,
    /// The name that is printed beside a signature (21 CFR 11.50).
    pub full_name: String,
    /// What they are in the laboratory; without a role they can look and verify.
    pub roles: BTreeSet<Role>,
    /// What their signatures are checked with; nothing until they have made their key.
    pub public_key: Option<PublicKey>,
    /// Somebody who left keeps their place in old records and can do nothing more.
    pub disabled: bool,
}

impl Person {
    /// Whether this person may do something, by all their roles together.
    ///
    /// # Errors
    /// [`Refusal`]: the first reason against it. A person who is disabled may nothing; a
    /// signature needs a key; then the roles are asked in the order of [`Role::ALL`], and what
    /// stands in the way of one role because of the person's own part stands in the way of all.
    ///
    /// # Example
    /// ```
    /// use darkline_audit_trail::PersonId;
    /// use darkline_audit_trail::people::{Part, Person, Refusal, Relation, Role, Verb};
    /// let rowan = Person {
    ///     id: PersonId::new("m.rowan")?,
    ///     full_name: "M. Rowan".to_owned(),
    ///     roles: [Role::Analyst, Role::Reviewer].into(),
    ///     public_key: Some("00".repeat(32).parse()?),
    ///     disabled: false,
    /// };
    /// assert_eq!(rowan.may(Verb::SignAsReviewer, &Relation::Unrelated), Ok(()));
    /// let measured = Relation::TookPart([Part::Measured].into());
    /// assert_eq!(
    ///     rowan.may(Verb::SignAsReviewer, &measured),
    ///     Err(Refusal::OwnWork { verb: Verb::SignAsReviewer, part: Part::Measured })
    /// );
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn may(&self, verb: Verb, relation: &Relation) -> Result<(), Refusal> {
        if self.disabled {
            return Err(Refusal::Disabled { person: self.id.clone() });
        }
        if verb == Verb::Verify {
            return Ok(());
        }
        let mut refusal = Refusal::NoRole { verb };
        for role in &self.roles {
            match may(*role, verb, relation) {
                Ok(()) if verb.signs() && self.public_key.is_none() => {
                    return Err(Refusal::NoKey { person: self.id.clone(), verb });
                }
                Ok(()) => return Ok(()),
                Err(Refusal::NoRole { .. }) => {}
                Err(own) => refusal = own,
            }
        }
        Err(refusal)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn person(roles: &[Role]) -> Person {
        Person {
            id: PersonId::new("m.rowan").unwrap(),
            full_name: "M. Rowan".to_owned(),
            roles: roles.iter().copied().collect(),
            public_key: Some(PublicKey::from_bytes([1; 32])),
            disabled: false,
        }
    }

    #[test]
    fn a_role_is_written_with_the_word_of_the_screen() {
        let words = Role::ALL.map(|role| serde_json::to_string(&role).unwrap());
        assert_eq!(
            words,
            [r#""analyst""#, r#""reviewer""#, r#""quality manager""#, r#""administrator""#, r#""device""#]
        );
        for role in Role::ALL {
            assert_eq!(role.to_string().parse(), Ok(role));
        }
        assert_eq!(
            "Analyst".parse::<Role>().unwrap_err().to_string(),
            "\"Analyst\" is no role; write analyst, reviewer, quality manager, administrator or device"
        );
    }

    #[test]
    fn a_person_reads_back_from_json() {
        let person = person(&[Role::Reviewer, Role::QualityManager]);
        let text = serde_json::to_string(&person).unwrap();
        assert!(text.starts_with(r#"{"id":"m.rowan","full_name":"M. Rowan","roles":["reviewer","quality manager"],"#));
        assert_eq!(serde_json::from_str::<Person>(&text).unwrap(), person);
        assert!(serde_json::from_str::<Person>(&text.replace("disabled", "disable")).is_err());
    }

    #[test]
    fn a_disabled_person_may_nothing() {
        let mut gone = person(&Role::ALL);
        gone.disabled = true;
        for verb in Verb::ALL {
            assert_eq!(gone.may(verb, &Relation::Unrelated), Err(Refusal::Disabled { person: gone.id.clone() }));
        }
    }

    #[test]
    fn a_person_without_a_role_may_look_only() {
        for verb in Verb::ALL {
            let expected = if verb == Verb::Verify { Ok(()) } else { Err(Refusal::NoRole { verb }) };
            assert_eq!(person(&[]).may(verb, &Relation::Unrelated), expected);
        }
    }

    #[test]
    fn a_signature_needs_a_key() {
        let mut keyless = person(&Role::ALL);
        keyless.public_key = None;
        for verb in Verb::ALL {
            let id = keyless.id.clone();
            let expected = if verb.signs() { Err(Refusal::NoKey { person: id, verb }) } else { Ok(()) };
            assert_eq!(keyless.may(verb, &Relation::Unrelated), expected);
        }
        // Who may not sign at all is told that, not that a key is missing.
        keyless.roles.clear();
        let verb = Verb::SignAsReviewer;
        assert_eq!(keyless.may(verb, &Relation::Unrelated), Err(Refusal::NoRole { verb }));
    }

    #[test]
    fn the_roles_of_a_person_add_up_but_never_lift_a_rule_about_their_own_work() {
        let both = person(&[Role::Analyst, Role::Reviewer]);
        assert_eq!(both.may(Verb::Decide, &Relation::Unrelated), Ok(()));
        assert_eq!(both.may(Verb::SignAsReviewer, &Relation::Unrelated), Ok(()));
        let all = person(&Role::ALL);
        for part in Part::ALL {
            let answer = all.may(Verb::SignAsReviewer, &Relation::TookPart([part].into()));
            let own = Refusal::OwnWork { verb: Verb::SignAsReviewer, part };
            assert_eq!(answer, if part.is_work() { Err(own) } else { Ok(()) });
        }
    }
}
