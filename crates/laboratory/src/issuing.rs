//! Issuing: a signed and reviewed outcome becomes a report that is kept byte for byte.

use std::collections::BTreeMap;

use darkline_audit_trail::people::Verb;
use darkline_audit_trail::{Hash, PersonId, Timestamp};
use darkline_record::canonical::Digest;
use darkline_record::decision::Reason;
use darkline_record::identity::OrderId;

use crate::accounts::Passphrase;
use crate::act::{Act, PassphraseFrom};
use crate::laboratory::{Evaluated, Laboratory, LaboratoryError};
use crate::signing::{SignatureMeaning, SignedFacts, signature_text};
use crate::state::{IssueState, SignatureState};

/// Everything a report is made of, before it is typeset.
#[derive(Debug)]
pub struct IssueDraft {
    /// The order.
    pub order: OrderId,
    /// The number of the report.
    pub report: String,
    /// The report it supersedes.
    pub supersedes: Option<String>,
    /// Why it supersedes it.
    pub because: Option<Reason>,
    /// What changed since that report, in words.
    pub changes: Vec<String>,
    /// Who justified each flag, and when.
    pub justified_by: BTreeMap<String, String>,
    /// The setting of the report: what tells builds apart that set other bytes.
    pub setting: String,
    /// Whether issuing it approves of it too.
    pub approves: bool,
    /// Who issues it.
    pub by: PersonId,
    /// When.
    pub at: Timestamp,
    /// Package, decisions and outcome.
    pub evaluated: Evaluated,
    /// The signatures under the outcome: analyst, reviewer, who approved.
    pub signatures: Vec<SignatureState>,
    /// The program that sets it.
    pub program: String,
    /// Entries in the log.
    pub size: u64,
    /// Root of the log.
    pub root: Hash,
}

/// A report that was issued.
#[derive(Clone, Debug, PartialEq)]
pub struct Issue {
    /// The entry.
    pub entry: u64,
    /// The number of the report.
    pub report: String,
    /// Digest of the report.
    pub document: Digest,
}

impl Laboratory {
    /// Brings together what the report of an order says.
    ///
    /// # Arguments
    /// * `program`: name and version of the program that sets the report; `setting`: what tells its builds apart.
    /// * `because`: why it supersedes the report before, where there is one.
    ///
    /// # Errors
    /// [`LaboratoryError::NotReady`]: signatures of analyst and reviewer under the outcome as it stands now are missing, or
    /// the very same outcome was issued already; [`LaboratoryError::WhyMissing`]; [`LaboratoryError::Refused`].
    pub fn draft_issue(
        &self,
        by: &PersonId,
        order: &OrderId,
        program: &str,
        setting: &str,
        because: Option<&Reason>,
    ) -> Result<IssueDraft, LaboratoryError> {
        self.not_restored(order)?;
        self.ask(by, Verb::Issue, Some(order))?;
        let evaluated = self.evaluate(order)?;
        let not_ready = |why: &str| LaboratoryError::NotReady { order: order.clone(), act: "issued", why: why.into() };
        if let Some(why) = crate::signing::what_stops(&evaluated.outcome) {
            return Err(not_ready(&why));
        }
        let known = self.order(order)?;
        let outcome = evaluated.outcome.digest();
        let mut signatures = Vec::new();
        for meaning in [SignatureMeaning::Measured, SignatureMeaning::Reviewed] {
            match known.signature(meaning, &outcome) {
                Some(signature) => signatures.push(signature.clone()),
                None if known.signatures.iter().any(|signature| signature.meaning == meaning) => {
                    return Err(not_ready(&format!(
                        "something changed after it was signed ({}); sign it again",
                        meaning.words()
                    )));
                }
                None => return Err(not_ready(&format!("nobody has signed it yet ({})", meaning.words()))),
            }
        }
        let last = known.issues.last();
        if last.is_some_and(|issue| issue.outcome == outcome) {
            return Err(not_ready("these very results are issued already"));
        }
        if let (Some(earlier), None) = (last, because) {
            return Err(LaboratoryError::WhyMissing { report: earlier.report.clone() });
        }
        let (size, root) = self.root()?;
        let at = self.now();
        let approved = known.signature(SignatureMeaning::Approved, &outcome);
        signatures.push(match approved {
            Some(approved) => approved.clone(),
            // Issuing approves: the signature is given together with that of the issue.
            None => SignatureState {
                entry: self.size_after(&at) - 1,
                by: by.clone(),
                at: at.to_string(),
                meaning: SignatureMeaning::Approved,
                outcome,
                package: evaluated.outcome.package,
                size,
                root,
                signature: String::new(),
                person: Some(self.person(by)?.clone()),
                passphrase: PassphraseFrom::Typed,
                statement: self.statement_digest(),
            },
        });
        let next = self.size_after(&at) - 1 + u64::from(approved.is_none());
        let changes = last.map_or_else(Vec::new, |earlier| self.state().changes_between(order, earlier.entry, next));
        Ok(IssueDraft {
            because: last.and(because).cloned(),
            changes,
            justified_by: self.state().justified_by(order, next),
            setting: setting.into(),
            approves: approved.is_none(),
            order: order.clone(),
            report: format!("{order}-{}", known.issues.len() + 1),
            supersedes: last.map(|issue| issue.report.clone()),
            by: by.clone(),
            at,
            evaluated,
            signatures,
            program: program.into(),
            size,
            root,
        })
    }

    /// The last report of an order with its bytes, where it reports the results as they stand now.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownOrder`] and what evaluation finds; [`LaboratoryError::Archive`] where its bytes are not there.
    pub fn issued(&self, order: &OrderId) -> Result<Option<(IssueState, Vec<u8>)>, LaboratoryError> {
        let Some(issue) = self.order(order)?.issues.last() else { return Ok(None) };
        if issue.outcome != self.evaluate(order)?.outcome.digest() {
            return Ok(None);
        }
        let document = self.report_bytes(order, issue)?;
        Ok(Some((issue.clone(), document)))
    }

    /// Keeps the report and appends its issue.
    ///
    /// # Arguments
    /// * `record`: the machine-readable record inside the report.
    /// * `document`: the report itself.
    ///
    /// # Errors
    /// [`LaboratoryError::Key`], and what the store finds.
    pub fn issue(
        &mut self,
        draft: &IssueDraft,
        record: &[u8],
        document: &[u8],
        passphrase: impl Into<Passphrase>,
    ) -> Result<Issue, LaboratoryError> {
        let passphrase = passphrase.into();
        self.admit(&draft.by, Verb::Issue, Some(&draft.order))?;
        let opened = self.unlock_to_sign(&draft.by, &passphrase, Verb::Issue);
        let key = self.noting(&draft.by, Verb::Issue, Some(&draft.order), opened)?;
        let outcome = draft.evaluated.outcome.digest();
        let (record_digest, document_digest) = (Digest::of(record), Digest::of(document));
        let meaning = issue_meaning(&draft.report, &record_digest, &document_digest);
        let facts = SignedFacts {
            outcome: &outcome,
            package: &draft.evaluated.outcome.package,
            size: draft.size,
            root: &draft.root,
        };
        let sign = |meaning: &str| {
            let text = signature_text(&draft.order, meaning, &draft.by, &draft.at, &facts);
            key.sign(text.as_bytes()).to_string()
        };
        let signature = sign(&meaning);
        let mut acts = Vec::new();
        if draft.approves {
            acts.push(Act::Sign {
                order: draft.order.clone(),
                meaning: SignatureMeaning::Approved,
                outcome,
                package: draft.evaluated.outcome.package,
                size: draft.size,
                root: draft.root,
                signature: sign(SignatureMeaning::Approved.words()),
                passphrase: passphrase.origin(),
                statement: self.statement_digest(),
            });
        }
        if self.order(&draft.order)?.is_sealed() {
            // The report names whose order it is, so it lies with that, apart from the record.
            self.keep_report_apart(&draft.report, document)?;
            self.store_mut().put_blobs(&[record])?;
        } else {
            self.store_mut().put_blobs(&[document, record])?;
        }
        acts.push(Act::Issue {
            order: draft.order.clone(),
            report: draft.report.clone(),
            outcome,
            record: record_digest,
            document: document_digest,
            supersedes: draft.supersedes.clone(),
            program: draft.program.clone(),
            size: draft.size,
            root: draft.root,
            signature,
            because: draft.because.clone(),
            setting: Some(draft.setting.clone()),
            passphrase: passphrase.origin(),
            statement: self.statement_digest(),
        });
        let numbers = self.append(&draft.by, &draft.at, &acts)?;
        Ok(Issue { entry: numbers[acts.len() - 1], report: draft.report.clone(), document: document_digest })
    }
}

/// The meaning line of an issue's signature: it binds the report and the record inside it.
pub fn issue_meaning(report: &str, record: &Digest, document: &Digest) -> String {
    format!("issued as {report} with record {record} and report {document}")
}
