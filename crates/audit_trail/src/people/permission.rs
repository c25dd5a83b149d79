//! Who may do what: the whole table, in one place, without a switch.
//!
//! | verb | analyst | reviewer | quality manager | administrator |
//! |---|---|---|---|---|
//! | open documents | yes | – | yes | – |
//! | import | yes | – | – | – |
//! | decide | yes | – | – | – |
//! | sign as analyst | yes, not after reviewing it | – | – | – |
//! | sign as reviewer | – | yes, never one's own work | – | – |
//! | issue | – | – | yes | – |
//! | archive | – | – | yes | yes |
//! | manage people | – | – | – | yes, never oneself |
//! | manage devices | – | – | – | yes |
//! | verify | yes | yes | yes | yes |
//!
//! Why: analysis and review are separate hands (21 CFR 11.10(g)); releasing is a right of its own
//! that no other role holds (EU GMP Annex 11, 15); who keeps accounts has no interest in data
//! (MHRA 2018, 6.16) and cannot make a right for themselves (21 CFR 11.200(a)(3)). The clauses
//! stand in our words in `reference/records/`; what each role may do beyond them is common
//! practice, no source.

use std::collections::BTreeSet;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::Role;
use crate::PersonId;

/// Something a person can do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verb {
    /// Enter or supersede an order, a method, a preparation or a run order.
    OpenDocuments,
    /// Take readings in.
    Import,
    /// Reject a reading, justify a flag, take up a next step.
    Decide,
    /// Sign results as their author.
    SignAsAnalyst,
    /// Sign results as the one who reviewed them.
    SignAsReviewer,
    /// Release a report.
    Issue,
    /// Write a data package as an archive.
    Archive,
    /// Enter a person, change their roles, close their account.
    ManagePeople,
    /// Enrol the key of a bench.
    ManageDevices,
    /// Read everything and check the trail.
    Verify,
}

impl Verb {
    /// All verbs, in the order of the job.
    pub const ALL: [Self; 10] = [
        Self::OpenDocuments,
        Self::Import,
        Self::Decide,
        Self::SignAsAnalyst,
        Self::SignAsReviewer,
        Self::Issue,
        Self::Archive,
        Self::ManagePeople,
        Self::ManageDevices,
        Self::Verify,
    ];

    /// Whether the act carries the person's own signature.
    pub fn signs(self) -> bool {
        matches!(self, Self::SignAsAnalyst | Self::SignAsReviewer | Self::Issue)
    }
}

impl fmt::Display for Verb {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::OpenDocuments => "open documents",
            Self::Import => "import readings",
            Self::Decide => "decide about readings and flags",
            Self::SignAsAnalyst => "sign as analyst",
            Self::SignAsReviewer => "sign as reviewer",
            Self::Issue => "issue a report",
            Self::Archive => "archive",
            Self::ManagePeople => "manage people",
            Self::ManageDevices => "manage devices",
            Self::Verify => "verify",
        })
    }
}

/// A part somebody had in the data package at hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// Prepared test portions or standards for it.
    Prepared,
    /// Measured or imported readings of it.
    Measured,
    /// Decided about a reading or a flag of it.
    Decided,
    /// Signed it as analyst.
    SignedAsAnalyst,
    /// Signed it as reviewer.
    SignedAsReviewer,
}

impl Part {
    /// All parts, in the order of the job.
    pub const ALL: [Self; 5] =
        [Self::Prepared, Self::Measured, Self::Decided, Self::SignedAsAnalyst, Self::SignedAsReviewer];
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Prepared => "prepared for it",
            Self::Measured => "measured it",
            Self::Decided => "decided about readings or flags of it",
            Self::SignedAsAnalyst => "signed it as analyst",
            Self::SignedAsReviewer => "signed it as reviewer",
        })
    }
}

/// How the person who wants to act stands to what they want to act on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Relation {
    /// No part in it, or the verb is about nothing in particular.
    Unrelated,
    /// The data package at hand has the person's own work in it.
    TookPart(BTreeSet<Part>),
    /// The person to be managed is the person who acts.
    Oneself,
}

/// Why a person may not do something.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// The account is closed.
    #[error("the account of {person} is closed")]
    Disabled {
        /// Whose account.
        person: PersonId,
    },
    /// No role of the person has this right.
    #[error("to {verb} takes one of these roles: {}", roles_with(*verb))]
    NoRole {
        /// What was wanted.
        verb: Verb,
    },
    /// A signature is wanted from somebody who has no key yet.
    #[error("{person} has no key yet, so cannot {verb}")]
    NoKey {
        /// Whose key is missing.
        person: PersonId,
        /// What was wanted.
        verb: Verb,
    },
    /// Two pairs of eyes are wanted, and this one has already had its part.
    #[error("who {part} cannot {verb}; somebody else has to")]
    OwnWork {
        /// What was wanted.
        verb: Verb,
        /// The part already taken.
        part: Part,
    },
    /// Nobody makes rights for themselves.
    #[error("nobody can {verb} for themselves; another administrator has to")]
    Oneself {
        /// What was wanted.
        verb: Verb,
    },
}

fn roles_with(verb: Verb) -> String {
    let words = Role::ALL.into_iter().filter(|role| has_right(*role, verb)).map(Role::as_str);
    words.collect::<Vec<_>>().join(", ")
}

fn has_right(role: Role, verb: Verb) -> bool {
    use Role::{Administrator, Analyst, QualityManager, Reviewer};
    match verb {
        Verb::OpenDocuments => matches!(role, Analyst | QualityManager),
        Verb::Import | Verb::Decide | Verb::SignAsAnalyst => role == Analyst,
        Verb::SignAsReviewer => role == Reviewer,
        Verb::Issue => role == QualityManager,
        Verb::Archive => matches!(role, QualityManager | Administrator),
        Verb::ManagePeople | Verb::ManageDevices => role == Administrator,
        Verb::Verify => true,
    }
}

/// Whether a role gives a right over something the person stands in this relation to.
///
/// # Errors
/// [`Refusal::NoRole`], [`Refusal::OwnWork`], [`Refusal::Oneself`].
///
/// # Source
/// The table at the top of this file.
pub fn may(role: Role, verb: Verb, relation: &Relation) -> Result<(), Refusal> {
    if !has_right(role, verb) {
        return Err(Refusal::NoRole { verb });
    }
    match (verb, relation) {
        (Verb::SignAsReviewer, Relation::TookPart(parts)) => {
            // A second signature of the same reviewer, after the review was reopened, is welcome.
            match parts.iter().find(|part| **part != Part::SignedAsReviewer) {
                Some(part) => Err(Refusal::OwnWork { verb, part: *part }),
                None => Ok(()),
            }
        }
        (Verb::SignAsAnalyst, Relation::TookPart(parts)) => {
            let part = Part::SignedAsReviewer;
            if parts.contains(&part) { Err(Refusal::OwnWork { verb, part }) } else { Ok(()) }
        }
        (Verb::ManagePeople, Relation::Oneself) => Err(Refusal::Oneself { verb }),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table of the file's head, written out once more so that a change has to be made twice.
    #[rustfmt::skip]
    const RIGHTS: [(Verb, [bool; 4]); 10] = [
        //                     analyst reviewer quality  administrator
        (Verb::OpenDocuments,  [true,  false,   true,    false]),
        (Verb::Import,         [true,  false,   false,   false]),
        (Verb::Decide,         [true,  false,   false,   false]),
        (Verb::SignAsAnalyst,  [true,  false,   false,   false]),
        (Verb::SignAsReviewer, [false, true,    false,   false]),
        (Verb::Issue,          [false, false,   true,    false]),
        (Verb::Archive,        [false, false,   true,    true]),
        (Verb::ManagePeople,   [false, false,   false,   true]),
        (Verb::ManageDevices,  [false, false,   false,   true]),
        (Verb::Verify,         [true,  true,    true,    true]),
    ];

    /// Every set of parts there is, as relations.
    fn every_relation() -> Vec<Relation> {
        let part_sets = (0..1 << Part::ALL.len()).map(|bits: usize| {
            let parts = Part::ALL.iter().enumerate().filter(|(place, _)| bits >> place & 1 == 1);
            Relation::TookPart(parts.map(|(_, part)| *part).collect())
        });
        [Relation::Unrelated, Relation::Oneself].into_iter().chain(part_sets).collect()
    }

    #[test]
    fn every_role_and_verb_answers_as_the_table_says() {
        assert_eq!(RIGHTS.map(|(verb, _)| verb), Verb::ALL);
        for (verb, rights) in RIGHTS {
            for (role, right) in Role::ALL.into_iter().zip(rights) {
                let expected = if right { Ok(()) } else { Err(Refusal::NoRole { verb }) };
                assert_eq!(may(role, verb, &Relation::Unrelated), expected, "{role}, {verb}");
            }
        }
    }

    #[test]
    fn no_relation_gives_a_right_that_the_role_does_not_have() {
        for role in Role::ALL {
            for verb in Verb::ALL.into_iter().filter(|verb| !has_right(role, *verb)) {
                for relation in every_relation() {
                    assert_eq!(may(role, verb, &relation), Err(Refusal::NoRole { verb }));
                }
            }
        }
    }

    /// 21 CFR 11.10(g), in our words in part11.toml: review one's own run: refused.
    #[test]
    fn nobody_reviews_what_they_prepared_measured_decided_or_signed() {
        let verb = Verb::SignAsReviewer;
        for relation in every_relation() {
            let answer = may(Role::Reviewer, verb, &relation);
            let Relation::TookPart(parts) = &relation else {
                assert_eq!(answer, Ok(()));
                continue;
            };
            match parts.iter().find(|part| **part != Part::SignedAsReviewer) {
                Some(part) => assert_eq!(answer, Err(Refusal::OwnWork { verb, part: *part })),
                None => assert_eq!(answer, Ok(())),
            }
        }
    }

    #[test]
    fn nobody_signs_as_analyst_what_they_reviewed() {
        let verb = Verb::SignAsAnalyst;
        for relation in every_relation() {
            let reviewed = matches!(&relation, Relation::TookPart(parts) if parts.contains(&Part::SignedAsReviewer));
            let own = Refusal::OwnWork { verb, part: Part::SignedAsReviewer };
            let expected = if reviewed { Err(own) } else { Ok(()) };
            assert_eq!(may(Role::Analyst, verb, &relation), expected);
        }
    }

    /// 21 CFR 11.200(a)(3), in our words in part11.toml: it takes at least two people.
    #[test]
    fn nobody_gives_rights_to_themselves() {
        let verb = Verb::ManagePeople;
        assert_eq!(may(Role::Administrator, verb, &Relation::Oneself), Err(Refusal::Oneself { verb }));
    }

    /// MHRA 2018, 6.16, in our words in integrity.toml: administrator tries to change a result: refused.
    #[test]
    fn an_administrator_has_no_hand_in_data() {
        for verb in
            [Verb::OpenDocuments, Verb::Import, Verb::Decide, Verb::SignAsAnalyst, Verb::SignAsReviewer, Verb::Issue]
        {
            assert_eq!(may(Role::Administrator, verb, &Relation::Unrelated), Err(Refusal::NoRole { verb }));
        }
    }

    /// EU GMP Annex 11, 15, in our words in annex11.toml: reviewer without the right releases: refused.
    #[test]
    fn only_a_quality_manager_issues() {
        for role in [Role::Analyst, Role::Reviewer, Role::Administrator] {
            assert_eq!(may(role, Verb::Issue, &Relation::Unrelated), Err(Refusal::NoRole { verb: Verb::Issue }));
        }
    }

    #[test]
    fn a_refusal_says_who_could() {
        let verb = Verb::OpenDocuments;
        assert_eq!(
            Refusal::NoRole { verb }.to_string(),
            "to open documents takes one of these roles: analyst, quality manager"
        );
        let verb = Verb::SignAsReviewer;
        assert_eq!(
            Refusal::OwnWork { verb, part: Part::Measured }.to_string(),
            "who measured it cannot sign as reviewer; somebody else has to"
        );
        assert_eq!(
            Refusal::Oneself { verb: Verb::ManagePeople }.to_string(),
            "nobody can manage people for themselves; another administrator has to"
        );
    }
}
