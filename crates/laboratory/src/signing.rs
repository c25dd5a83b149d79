//! Signing: a person, with name and passphrase, puts their word under an outcome.

use darkline_audit_trail::people::{Relation, Stage, Verb, may};
use darkline_audit_trail::{Hash, PersonId, Timestamp, read_tree};
use darkline_evaluation::outcome::{Outcome, Reported};
use darkline_record::canonical::Digest;
use darkline_record::identity::OrderId;
use serde::{Deserialize, Serialize};

use crate::accounts::Passphrase;
use crate::act::{Act, Remark};
use crate::laboratory::{Laboratory, LaboratoryError};
use crate::state::{OrderState, SignatureState};

/// What a signature means.
///
/// # Source
/// 21 CFR 11.50(a)(3): the meaning of a signature is part of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SignatureMeaning {
    /// Responsible for the measurement.
    Measured,
    /// Reviewed.
    Reviewed,
    /// Approved for release.
    Approved,
}

impl SignatureMeaning {
    /// All of them, in the order in which they are given.
    pub const ALL: [Self; 3] = [Self::Measured, Self::Reviewed, Self::Approved];

    /// The words on screens and reports.
    pub fn words(self) -> &'static str {
        match self {
            SignatureMeaning::Measured => "responsible for the measurement",
            SignatureMeaning::Reviewed => "reviewed",
            SignatureMeaning::Approved => "approved",
        }
    }

    /// The meaning with these words.
    pub fn from_words(words: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|meaning| meaning.words() == words)
    }

    /// What somebody is who signs so, in a word.
    pub fn signer(self) -> &'static str {
        match self {
            SignatureMeaning::Measured => "analyst",
            SignatureMeaning::Reviewed => "reviewer",
            SignatureMeaning::Approved => "quality manager",
        }
    }

    /// The state that a return has to lead to, or below, to set such a signature aside.
    fn set_aside_below(self) -> Stage {
        match self {
            SignatureMeaning::Measured => Stage::InReview,
            SignatureMeaning::Reviewed | SignatureMeaning::Approved => Stage::Approved,
        }
    }

    /// The right it takes.
    pub fn verb(self) -> Verb {
        match self {
            SignatureMeaning::Measured => Verb::SignAsAnalyst,
            SignatureMeaning::Reviewed => Verb::SignAsReviewer,
            SignatureMeaning::Approved => Verb::Approve,
        }
    }
}

/// A signature that was given.
#[derive(Clone, Debug, PartialEq)]
pub struct Signed {
    /// The entry.
    pub entry: u64,
    /// What it means.
    pub meaning: SignatureMeaning,
    /// The outcome signed.
    pub outcome: Digest,
    /// The root of the log it is bound to.
    pub root: Hash,
}

/// What a signature is bound to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SignedFacts<'a> {
    /// Digest of the outcome.
    pub outcome: &'a Digest,
    /// Digest of the data package.
    pub package: &'a Digest,
    /// Entries in the log when it was signed.
    pub size: u64,
    /// Root of the log then.
    pub root: &'a Hash,
}

/// The text that is signed: one fact a line, each with its end.
///
/// # Arguments
/// * `meaning`: the words of [`SignatureMeaning`], or those of an issue.
pub fn signature_text(
    order: &OrderId,
    meaning: &str,
    by: &PersonId,
    at: &Timestamp,
    facts: &SignedFacts<'_>,
) -> String {
    let SignedFacts { outcome, package, size, root } = facts;
    format!("darkline/signature/1\n{order}\n{meaning}\n{by}\n{at}\n{outcome}\n{package}\n{size}\n{root}\n")
}

/// How a signature stands now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Under the results as they are.
    Stands,
    /// The results have changed since.
    Overtaken,
    /// The order was returned after it, in this entry.
    SetAside {
        /// The entry.
        entry: u64,
    },
}

impl std::fmt::Display for Standing {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Standing::Stands => f.write_str("stands"),
            Standing::Overtaken => f.write_str("overtaken: the results have changed since"),
            Standing::SetAside { entry } => write!(f, "set aside by the return in entry {entry}"),
        }
    }
}

impl OrderState {
    /// The last signature of a meaning that stands under this outcome; signatures under others are overtaken, and those that
    /// a return set aside count no longer.
    pub fn signature(&self, meaning: SignatureMeaning, outcome: &Digest) -> Option<&SignatureState> {
        self.signature_before(meaning, outcome, u64::MAX)
    }

    /// The same as it was before an entry.
    pub fn signature_before(&self, meaning: SignatureMeaning, outcome: &Digest, entry: u64) -> Option<&SignatureState> {
        self.signatures.iter().rev().find(|signature| {
            signature.entry < entry
                && signature.meaning == meaning
                && signature.outcome == *outcome
                && self.set_aside(signature, entry).is_none()
        })
    }

    fn set_aside(&self, signature: &SignatureState, before: u64) -> Option<u64> {
        let later = self.returns.iter().filter(|returned| returned.entry > signature.entry && returned.entry < before);
        later.filter(|returned| returned.to < signature.meaning.set_aside_below()).map(|returned| returned.entry).next()
    }

    /// How a signature stands under this outcome.
    pub fn standing(&self, signature: &SignatureState, outcome: &Digest) -> Standing {
        match self.set_aside(signature, u64::MAX) {
            Some(entry) => Standing::SetAside { entry },
            None if signature.outcome != *outcome => Standing::Overtaken,
            None => Standing::Stands,
        }
    }

    /// The last signature of a person that stands under this outcome.
    pub fn signature_of(&self, by: &PersonId, outcome: &Digest) -> Option<&SignatureState> {
        let stands = |signature: &&SignatureState| self.standing(signature, outcome) == Standing::Stands;
        self.signatures.iter().rev().find(|signature| signature.by == *by && stands(signature))
    }

    /// Remarks of the last return that nobody has answered with a signature yet.
    pub fn open_remarks(&self) -> &[Remark] {
        let Some(last) = self.returns.last() else { return &[] };
        if self.signatures.iter().any(|signature| signature.entry > last.entry) { &[] } else { &last.remarks }
    }
}

impl Laboratory {
    /// What a person would sign now: as analyst where nobody has signed this outcome yet, as reviewer after that.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownOrder`] and what evaluation finds.
    pub fn next_meaning(&self, order: &OrderId, outcome: &Digest) -> Result<SignatureMeaning, LaboratoryError> {
        Ok(match self.order(order)?.signature(SignatureMeaning::Measured, outcome) {
            None => SignatureMeaning::Measured,
            Some(_) => SignatureMeaning::Reviewed,
        })
    }

    /// Asks whether a person may sign, without signing.
    ///
    /// # Errors
    /// [`LaboratoryError::NotReady`]: what stops the order; [`LaboratoryError::AlreadySigned`]; [`LaboratoryError::Refused`].
    pub fn may_sign(
        &self,
        by: &PersonId,
        order: &OrderId,
        meaning: SignatureMeaning,
        outcome: &Outcome,
    ) -> Result<(), LaboratoryError> {
        self.not_restored(order)?;
        let not_ready = |why: String| LaboratoryError::NotReady { order: order.clone(), act: "signed", why };
        if let Some(why) = what_stops(outcome) {
            return Err(not_ready(why));
        }
        let (known, person) = (self.order(order)?, self.person(by)?);
        let has_right = |verb| person.roles.iter().any(|role| may(*role, verb, &Relation::Unrelated).is_ok());
        if let Some(given) = known.signature(meaning, &outcome.digest()).filter(|given| given.by == *by) {
            let (entry, meaning) = (given.entry, meaning.words());
            return Err(LaboratoryError::AlreadySigned { by: by.clone(), entry, meaning });
        }
        let measured = known.signature(SignatureMeaning::Measured, &outcome.digest());
        if meaning == SignatureMeaning::Reviewed && measured.is_none() {
            return Err(not_ready("nobody has signed these results as analyst".into()));
        }
        if meaning == SignatureMeaning::Measured && has_right(Verb::SignAsReviewer) && !has_right(Verb::SignAsAnalyst) {
            return Err(not_ready("an analyst signs these results before a reviewer does".into()));
        }
        let reviewed = known.signature(SignatureMeaning::Reviewed, &outcome.digest());
        if meaning == SignatureMeaning::Approved && reviewed.is_none() {
            return Err(not_ready("nobody has signed these results as reviewer".into()));
        }
        self.ask(by, meaning.verb(), Some(order))
    }

    /// Signs the outcome of an order as it stands now.
    ///
    /// # Errors
    /// As [`Laboratory::may_sign`]; [`LaboratoryError::WrongPassphrase`] where it does not open the person's key.
    pub fn sign(
        &mut self,
        by: &PersonId,
        order: &OrderId,
        meaning: SignatureMeaning,
        passphrase: impl Into<Passphrase>,
    ) -> Result<Signed, LaboratoryError> {
        let passphrase = passphrase.into();
        let evaluated = self.evaluate(order)?;
        let allowed = self.may_sign(by, order, meaning, &evaluated.outcome);
        self.noting(by, meaning.verb(), Some(order), allowed)?;
        let opened = self.unlock_to_sign(by, &passphrase, meaning.verb());
        let key = self.noting(by, meaning.verb(), Some(order), opened)?;
        let (outcome, package) = (evaluated.outcome.digest(), evaluated.outcome.package);
        let (size, root) = self.root()?;
        let at = self.now();
        let facts = SignedFacts { outcome: &outcome, package: &package, size, root: &root };
        let text = signature_text(order, meaning.words(), by, &at, &facts);
        let signature = key.sign(text.as_bytes()).to_string();
        let (order, passphrase) = (order.clone(), passphrase.origin());
        let statement = self.statement_digest();
        let act = Act::Sign { order, meaning, outcome, package, size, root, signature, passphrase, statement };
        let numbers = self.append(by, &at, &[act])?;
        Ok(Signed { entry: numbers[0], meaning, outcome, root })
    }

    /// The digest of the site's statement as it is shown now to who signs.
    pub(crate) fn statement_digest(&self) -> Option<Digest> {
        self.state().statement.as_ref().map(|statement| Digest::of(statement.as_bytes()))
    }

    /// Size and root of the log as they stand now.
    ///
    /// # Errors
    /// [`LaboratoryError::Store`].
    pub fn root(&self) -> Result<(u64, Hash), LaboratoryError> {
        let tree = read_tree(self.store(), self.store().log())?;
        Ok((tree.size(), tree.root()))
    }
}

/// What keeps an outcome from being signed; `None` where nothing does.
pub fn what_stops(outcome: &Outcome) -> Option<String> {
    let stopping = outcome.stopping().count();
    if stopping > 0 {
        return Some(format!("{stopping} {} it", if stopping == 1 { "flag stops" } else { "flags stop" }));
    }
    let awaiting = outcome.results.iter().filter(|result| matches!(result.reported, Reported::Awaiting { .. })).count();
    if awaiting > 0 {
        return Some(format!("{awaiting} of {} results have not been measured", outcome.results.len()));
    }
    if outcome.results.is_empty() {
        return Some("it has no results".into());
    }
    (!outcome.controls_passed).then(|| "not all controls have been measured".into())
}
