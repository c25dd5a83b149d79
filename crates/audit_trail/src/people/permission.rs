//! Who may do what: the whole table, in one place, without a switch.
//!
//! [`TABLE`] has one row for every verb: the roles that have the right, what somebody's own part in the work forbids, and
//! the states of an order in which it can be done. The reference page `docs/reference/roles.md` is written from it
//! ([`page`]), and the tests go through every role, verb, part and state.
//!
//! Why: analysis and review are separate hands (21 CFR 11.10(g)); the order of steps is kept (21 CFR 11.10(f)); releasing is
//! a right of its own that no other role holds (EU GMP Annex 11, 15); who keeps accounts has no interest in data
//! (MHRA 2018, 6.16) and cannot make a right for themselves (21 CFR 11.200(a)(3)); a device brings readings and signs
//! nothing (21 CFR 11.200(a)(2)). The clauses stand in our words in `reference/records/`; what each role may do beyond them
//! is common practice, no source.

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
    /// Hand an order back with remarks.
    Return,
    /// Sign results as the one who approves of their release.
    Approve,
    /// Release a report.
    Issue,
    /// Write a data package as an archive.
    Archive,
    /// Say until when an order has to be kept.
    SetRetention,
    /// Erase whose order it was, after its retention.
    EraseIdentity,
    /// State that entries of the record were reviewed.
    ReviewEntries,
    /// Say who is authorised for a method, and until when.
    Authorise,
    /// Enter a person, change their roles, unlock or close their account.
    ManagePeople,
    /// Enrol the key of a bench.
    ManageDevices,
    /// Copy the whole record, try the copy, bring an archive back.
    KeepCopies,
    /// Read everything and check the trail.
    Verify,
}

/// How far an order has come. What is worked out from the record, never stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// Its documents are there; something is still to be measured.
    Open,
    /// Everything planned is measured; nobody answers for it yet.
    Measured,
    /// An analyst has signed the results as they stand.
    InReview,
    /// The results as they stand are reviewed and approved.
    Approved,
    /// A report says the results as they stand.
    Issued,
}

impl Stage {
    /// All of them, in the order of the job.
    pub const ALL: [Self; 5] = [Self::Open, Self::Measured, Self::InReview, Self::Approved, Self::Issued];

    /// The words on screens.
    pub fn words(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Measured => "measured",
            Self::InReview => "in review",
            Self::Approved => "approved",
            Self::Issued => "issued",
        }
    }
}

impl fmt::Display for Stage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.words())
    }
}

/// What somebody's own part forbids.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Own {
    /// Nothing.
    NoMatter,
    /// Who has reviewed it may not.
    NotReviewed,
    /// Who prepared, measured, decided or signed it as analyst may not.
    NotOwnWork,
    /// Nobody may for themselves.
    NotOneself,
}

/// One row of the table.
#[derive(Debug, Clone, Copy)]
pub struct Right {
    /// The verb.
    pub verb: Verb,
    /// The roles that have it.
    pub roles: &'static [Role],
    /// What one's own part forbids.
    pub own: Own,
    /// The states of the order in which it can be done; none where it is about no order's results.
    pub stages: Option<&'static [Stage]>,
}

const BEFORE_REVIEW_OR_AFTER_ISSUE: Option<&[Stage]> = Some(&[Stage::Open, Stage::Measured, Stage::Issued]);

/// Every right there is.
#[rustfmt::skip]
pub const TABLE: [Right; 17] = {
    use Role::{Administrator, Analyst, Device, QualityManager, Reviewer};
    use Stage::{Approved, InReview, Issued, Measured};
    [
        Right { verb: Verb::OpenDocuments,  roles: &[Analyst, QualityManager],                own: Own::NoMatter,    stages: None },
        Right { verb: Verb::Import,         roles: &[Analyst, Device],                        own: Own::NoMatter,    stages: BEFORE_REVIEW_OR_AFTER_ISSUE },
        Right { verb: Verb::Decide,         roles: &[Analyst],                                own: Own::NoMatter,    stages: BEFORE_REVIEW_OR_AFTER_ISSUE },
        Right { verb: Verb::SignAsAnalyst,  roles: &[Analyst],                                own: Own::NotReviewed, stages: Some(&[Measured]) },
        Right { verb: Verb::SignAsReviewer, roles: &[Reviewer],                               own: Own::NotOwnWork,  stages: Some(&[InReview]) },
        Right { verb: Verb::Return,         roles: &[Reviewer, QualityManager],               own: Own::NotOwnWork,  stages: Some(&[InReview, Approved]) },
        Right { verb: Verb::Approve,        roles: &[QualityManager],                         own: Own::NotOwnWork,  stages: Some(&[InReview]) },
        Right { verb: Verb::Issue,          roles: &[QualityManager],                         own: Own::NotOwnWork,  stages: Some(&[InReview, Approved]) },
        Right { verb: Verb::Archive,        roles: &[QualityManager, Administrator],          own: Own::NoMatter,    stages: Some(&[Issued]) },
        Right { verb: Verb::SetRetention,   roles: &[QualityManager],                         own: Own::NoMatter,    stages: None },
        Right { verb: Verb::EraseIdentity,  roles: &[QualityManager],                         own: Own::NoMatter,    stages: None },
        Right { verb: Verb::ReviewEntries,  roles: &[Reviewer, QualityManager],               own: Own::NoMatter,    stages: None },
        Right { verb: Verb::Authorise,      roles: &[QualityManager],                         own: Own::NotOneself,  stages: None },
        Right { verb: Verb::ManagePeople,   roles: &[Administrator],                          own: Own::NotOneself,  stages: None },
        Right { verb: Verb::ManageDevices,  roles: &[Administrator],                          own: Own::NoMatter,    stages: None },
        Right { verb: Verb::KeepCopies,     roles: &[QualityManager, Administrator],          own: Own::NoMatter,    stages: None },
        Right { verb: Verb::Verify,         roles: &[Analyst, Reviewer, QualityManager, Administrator, Device], own: Own::NoMatter, stages: None },
    ]
};

impl Verb {
    /// All verbs, in the order of the job.
    pub const ALL: [Self; 17] = {
        let mut all = [Self::Verify; 17];
        let mut place = 0;
        while place < TABLE.len() {
            all[place] = TABLE[place].verb;
            place += 1;
        }
        all
    };

    /// Whether the act carries the person's own signature.
    pub fn signs(self) -> bool {
        matches!(self, Self::SignAsAnalyst | Self::SignAsReviewer | Self::Approve | Self::Issue)
    }

    /// Its row of the table.
    pub fn right(self) -> &'static Right {
        TABLE.iter().find(|right| right.verb == self).expect("a test goes through all verbs")
    }

    /// Whether it can be done to an order in this state.
    ///
    /// # Errors
    /// [`Refusal::NotNow`].
    pub fn in_stage(self, stage: Stage) -> Result<(), Refusal> {
        match self.right().stages {
            Some(stages) if !stages.contains(&stage) => Err(Refusal::NotNow { verb: self, stage }),
            _ => Ok(()),
        }
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
            Self::Return => "return an order",
            Self::Approve => "approve",
            Self::Issue => "issue a report",
            Self::Archive => "archive",
            Self::SetRetention => "say how long an order is kept",
            Self::EraseIdentity => "erase whose order it was",
            Self::ReviewEntries => "review entries",
            Self::Authorise => "authorise for a method",
            Self::ManagePeople => "manage people",
            Self::ManageDevices => "manage devices",
            Self::KeepCopies => "back up, restore and drill",
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
    /// Approved it.
    Approved,
}

impl Part {
    /// All parts, in the order of the job.
    pub const ALL: [Self; 6] =
        [Self::Prepared, Self::Measured, Self::Decided, Self::SignedAsAnalyst, Self::SignedAsReviewer, Self::Approved];

    /// Whether it is work that somebody else has to look at.
    pub fn is_work(self) -> bool {
        !matches!(self, Self::SignedAsReviewer | Self::Approved)
    }
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Prepared => "prepared for it",
            Self::Measured => "measured it",
            Self::Decided => "decided about readings or flags of it",
            Self::SignedAsAnalyst => "signed it as analyst",
            Self::SignedAsReviewer => "signed it as reviewer",
            Self::Approved => "approved it",
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
    /// The order is not in a state in which this is done.
    #[error(
        "the order is {stage}; to {verb} it has to be {}{}",
        one_of(verb.right().stages.unwrap_or(&[])),
        way_out(*verb, *stage)
    )]
    NotNow {
        /// What was wanted.
        verb: Verb,
        /// How far the order has come.
        stage: Stage,
    },
    /// The person is not authorised for the method, or no longer.
    #[error("{person} {} for method {method}; a quality manager has to authorise them", since(until))]
    NotAuthorised {
        /// Who.
        person: PersonId,
        /// The method.
        method: String,
        /// The last day on which they were, where there was one.
        until: Option<String>,
    },
    /// Too many passphrases in a row were wrong.
    #[error("the account of {person} waits until {until}: {failures} passphrases in a row did not open its key")]
    Waits {
        /// Whose account.
        person: PersonId,
        /// How many.
        failures: u32,
        /// Until when.
        until: String,
    },
    /// So many that somebody else has to look at it.
    #[error(
        "the account of {person} is locked: {failures} passphrases in a row did not open its key; an administrator has to unlock it"
    )]
    Locked {
        /// Whose account.
        person: PersonId,
        /// How many.
        failures: u32,
    },
    /// Somebody else chose the passphrase.
    #[error("the passphrase of {person} was set by {by}; before anything is signed {person} has to change it")]
    PassphraseOfAnother {
        /// Whose account.
        person: PersonId,
        /// Who set it.
        by: PersonId,
    },
    /// Passphrases come from the hand of their person.
    #[error("in this record a signature takes a passphrase typed at the terminal, not one from a file")]
    FromFile,
    /// Nobody makes rights for themselves.
    #[error("nobody can {verb} for themselves; another one with the right has to")]
    Oneself {
        /// What was wanted.
        verb: Verb,
    },
}

fn roles_with(verb: Verb) -> String {
    verb.right().roles.iter().map(|role| role.as_str()).collect::<Vec<_>>().join(", ")
}

fn one_of(stages: &[Stage]) -> String {
    let words: Vec<&str> = stages.iter().map(|stage| stage.words()).collect();
    match words.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        _ => words.concat(),
    }
}

/// What leads from a state to one in which a verb can be done, where that is for somebody else to do.
fn way_out(verb: Verb, stage: Stage) -> &'static str {
    match (verb, stage) {
        (Verb::Import | Verb::Decide | Verb::SignAsAnalyst, Stage::InReview | Stage::Approved) => {
            "; a reviewer or quality manager can return it"
        }
        (Verb::SignAsReviewer | Verb::Return | Verb::Approve | Verb::Issue, Stage::Open | Stage::Measured) => {
            "; an analyst has to sign it first"
        }
        (Verb::Archive, _) => "; a quality manager has to issue it first",
        _ => "",
    }
}

fn since(until: &Option<String>) -> String {
    match until {
        Some(until) => format!("was authorised until {until}"),
        None => "is not authorised".into(),
    }
}

/// Whether a role gives a right over something the person stands in this relation to.
///
/// # Errors
/// [`Refusal::NoRole`], [`Refusal::OwnWork`], [`Refusal::Oneself`].
///
/// # Source
/// [`TABLE`].
pub fn may(role: Role, verb: Verb, relation: &Relation) -> Result<(), Refusal> {
    let right = verb.right();
    if !right.roles.contains(&role) {
        return Err(Refusal::NoRole { verb });
    }
    let stands_in_the_way = |part: &&Part| match right.own {
        Own::NotReviewed => **part == Part::SignedAsReviewer,
        // A second signature of the same reviewer, after the review was reopened, is welcome.
        Own::NotOwnWork => part.is_work(),
        Own::NoMatter | Own::NotOneself => false,
    };
    match relation {
        Relation::TookPart(parts) => match parts.iter().find(stands_in_the_way) {
            Some(part) => Err(Refusal::OwnWork { verb, part: *part }),
            None => Ok(()),
        },
        Relation::Oneself if right.own == Own::NotOneself => Err(Refusal::Oneself { verb }),
        Relation::Oneself | Relation::Unrelated => Ok(()),
    }
}

/// The reference page of roles, as Markdown: the table as people read it.
pub fn page() -> String {
    let mut text = String::from(
        "# Roles\n\n\
         Written by `cargo xtask docs` from the table in `crates/audit_trail/src/people/permission.rs`; change it there.\n\n\
         One person may have several roles; their rights add up, and no role lifts a rule about one's own work. An account\n\
         that is closed may nothing. Nothing here can be switched off.\n\n",
    );
    let heads: Vec<&str> = Role::ALL.iter().map(|role| role.as_str()).collect();
    text.push_str(&format!("| to | {} | one's own work | state of the order |\n", heads.join(" | ")));
    text.push_str(&format!("|---|{}---|---|\n", "---|".repeat(heads.len())));
    for right in TABLE {
        let cells: Vec<&str> =
            Role::ALL.iter().map(|role| if right.roles.contains(role) { "yes" } else { "–" }).collect();
        let own = match right.own {
            Own::NoMatter => "",
            Own::NotReviewed => "not who reviewed it",
            Own::NotOwnWork => "never who prepared, measured, decided or signed it as analyst",
            Own::NotOneself => "never for oneself",
        };
        let stages = right.stages.map_or_else(|| "any".to_owned(), one_of);
        text.push_str(&format!("| {} | {} | {own} | {stages} |\n", right.verb, cells.join(" | ")));
    }
    text.push_str(
        "\n## States of an order\n\n\
         A state is worked out from the record and stored nowhere. New readings or decisions change the results, and\n\
         signatures under other results are overtaken: they stay in view and count no longer.\n\n\
         | state | what it means | leads on | leads back |\n|---|---|---|---|\n\
         | open | something is still to be measured | readings | |\n\
         | measured | everything planned is measured | an analyst signs: responsible for the measurement | |\n\
         | in review | an analyst answers for the results as they stand | a reviewer signs, a quality manager approves | a reviewer or quality manager returns it: to measured |\n\
         | approved | reviewed and approved | a quality manager issues the report | a reviewer or quality manager returns it: to in review |\n\
         | issued | a report says the results as they stand | the archive; a change leads to a report that supersedes | |\n\n\
         Issuing a reviewed order approves of it in the same act, under one passphrase, as two entries.\n\n\
         ## Methods\n\n\
         Where a quality manager has authorised anybody for a method, only people who are authorised on that day import\n\
         readings, decide, and sign for it, as analyst or as reviewer. A method for which nobody was ever authorised asks for none.\n",
    );
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table of the file's head, written out once more so that a change has to be made twice.
    #[rustfmt::skip]
    const RIGHTS: [(Verb, [bool; 5], [bool; 5]); 17] = [
        //                     analyst reviewer quality  administrator device  open   measured review approved issued
        (Verb::OpenDocuments,  [true,  false,   true,    false,        false], [true,  true,   true,  true,    true]),
        (Verb::Import,         [true,  false,   false,   false,        true],  [true,  true,   false, false,   true]),
        (Verb::Decide,         [true,  false,   false,   false,        false], [true,  true,   false, false,   true]),
        (Verb::SignAsAnalyst,  [true,  false,   false,   false,        false], [false, true,   false, false,   false]),
        (Verb::SignAsReviewer, [false, true,    false,   false,        false], [false, false,  true,  false,   false]),
        (Verb::Return,         [false, true,    true,    false,        false], [false, false,  true,  true,    false]),
        (Verb::Approve,        [false, false,   true,    false,        false], [false, false,  true,  false,   false]),
        (Verb::Issue,          [false, false,   true,    false,        false], [false, false,  true,  true,    false]),
        (Verb::Archive,        [false, false,   true,    true,         false], [false, false,  false, false,   true]),
        (Verb::SetRetention,   [false, false,   true,    false,        false], [true,  true,   true,  true,    true]),
        (Verb::EraseIdentity,  [false, false,   true,    false,        false], [true,  true,   true,  true,    true]),
        (Verb::ReviewEntries,  [false, true,    true,    false,        false], [true,  true,   true,  true,    true]),
        (Verb::Authorise,      [false, false,   true,    false,        false], [true,  true,   true,  true,    true]),
        (Verb::ManagePeople,   [false, false,   false,   true,         false], [true,  true,   true,  true,    true]),
        (Verb::ManageDevices,  [false, false,   false,   true,         false], [true,  true,   true,  true,    true]),
        (Verb::KeepCopies,     [false, false,   true,    true,         false], [true,  true,   true,  true,    true]),
        (Verb::Verify,         [true,  true,    true,    true,         true],  [true,  true,   true,  true,    true]),
    ];

    fn has_right(role: Role, verb: Verb) -> bool {
        verb.right().roles.contains(&role)
    }

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
        assert_eq!(RIGHTS.map(|(verb, ..)| verb), Verb::ALL);
        for (verb, rights, stages) in RIGHTS {
            for (role, right) in Role::ALL.into_iter().zip(rights) {
                let expected = if right { Ok(()) } else { Err(Refusal::NoRole { verb }) };
                assert_eq!(may(role, verb, &Relation::Unrelated), expected, "{role}, {verb}");
            }
            for (stage, possible) in Stage::ALL.into_iter().zip(stages) {
                let expected = if possible { Ok(()) } else { Err(Refusal::NotNow { verb, stage }) };
                assert_eq!(verb.in_stage(stage), expected, "{verb}, {stage}");
            }
        }
    }

    /// 21 CFR 11.200(a)(2), in our words in part11.toml: a service account has no signing right.
    #[test]
    fn a_device_brings_readings_and_signs_nothing() {
        for verb in Verb::ALL {
            let expected = matches!(verb, Verb::Import | Verb::Verify);
            assert_eq!(may(Role::Device, verb, &Relation::Unrelated).is_ok(), expected, "{verb}");
        }
    }

    #[test]
    fn the_page_shows_every_row_of_the_table() {
        let page = page();
        for (verb, rights, _) in RIGHTS {
            let row = page.lines().find(|line| line.starts_with(&format!("| {verb} |"))).expect("a row for every verb");
            let cells: Vec<&str> = row.split('|').map(str::trim).skip(2).take(5).collect();
            assert_eq!(cells, rights.map(|right| if right { "yes" } else { "–" }), "{verb}");
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
            match parts.iter().find(|part| part.is_work()) {
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
    fn only_a_quality_manager_approves_and_issues() {
        for verb in [Verb::Approve, Verb::Issue] {
            for role in [Role::Analyst, Role::Reviewer, Role::Administrator, Role::Device] {
                assert_eq!(may(role, verb, &Relation::Unrelated), Err(Refusal::NoRole { verb }));
            }
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
            "nobody can manage people for themselves; another one with the right has to"
        );
        assert_eq!(
            Refusal::NotNow { verb: Verb::Decide, stage: Stage::InReview }.to_string(),
            "the order is in review; to decide about readings and flags it has to be open, measured or issued; a reviewer or \
             quality manager can return it"
        );
        assert_eq!(
            Refusal::NotNow { verb: Verb::Archive, stage: Stage::Measured }.to_string(),
            "the order is measured; to archive it has to be issued; a quality manager has to issue it first"
        );
        let alder = PersonId::new("j.alder").unwrap();
        let (person, method) = (alder, "cd-release".to_owned());
        assert_eq!(
            Refusal::NotAuthorised { person, method, until: Some("2026-03-31".into()) }.to_string(),
            "j.alder was authorised until 2026-03-31 for method cd-release; a quality manager has to authorise them"
        );
    }
}
