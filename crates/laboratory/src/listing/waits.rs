//! What an order waits for.

use std::fmt;

use darkline_audit_trail::people::Stage;
use darkline_evaluation::outcome::Outcome;
use serde::{Deserialize, Serialize};

use crate::signing::SignatureMeaning;
use crate::state::OrderState;

/// What an order waits for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "for", rename_all = "kebab-case")]
pub enum Waits {
    /// Somebody to open it for work.
    Opening,
    /// Readings.
    Readings,
    /// Decisions about flags that stop it, or what they ask to be measured.
    Decisions {
        /// How many flags.
        n_flags: usize,
    },
    /// Controls that have not been measured.
    Controls,
    /// The analyst's signature.
    Analyst {
        /// Whether results that were signed have changed.
        again: bool,
    },
    /// The reviewer's signature.
    Reviewer,
    /// The quality manager, who approves and issues.
    QualityManager,
    /// Its archive.
    Archive,
    /// Nothing.
    Nothing,
    /// Somebody to look why it cannot be worked out.
    Repair {
        /// Why it cannot.
        why: String,
    },
}

impl Waits {
    /// What an order in this state waits for.
    pub(super) fn of(known: &OrderState, stage: Stage, outcome: &Outcome, is_archived: bool) -> Self {
        let digest = outcome.digest();
        match stage {
            Stage::Issued if is_archived => Self::Nothing,
            Stage::Issued => Self::Archive,
            Stage::Approved => Self::QualityManager,
            Stage::InReview if known.signature(SignatureMeaning::Reviewed, &digest).is_some() => Self::QualityManager,
            Stage::InReview => Self::Reviewer,
            Stage::Open | Stage::Measured => match outcome.stopping().count() {
                0 if stage == Stage::Open => Self::Readings,
                0 if !outcome.controls_passed => Self::Controls,
                0 => Self::Analyst { again: !known.signatures.is_empty() },
                n_flags => Self::Decisions { n_flags },
            },
        }
    }
}

impl fmt::Display for Waits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Opening => f.write_str("somebody opens it for work"),
            Self::Readings => f.write_str("readings"),
            Self::Decisions { n_flags: 1 } => f.write_str("a flag stops it: decide, or measure what it asks for"),
            Self::Decisions { n_flags } => write!(f, "{n_flags} flags stop it: decide, or measure what they ask for"),
            Self::Controls => f.write_str("readings of its controls"),
            Self::Analyst { again: false } => f.write_str("an analyst signs"),
            Self::Analyst { again: true } => f.write_str("an analyst signs again"),
            Self::Reviewer => f.write_str("a reviewer signs"),
            Self::QualityManager => f.write_str("a quality manager issues it"),
            Self::Archive => f.write_str("the archive"),
            Self::Nothing => f.write_str("nothing"),
            Self::Repair { why } => write!(f, "it cannot be worked out: {why}"),
        }
    }
}
