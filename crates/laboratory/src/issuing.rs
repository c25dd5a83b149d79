//! Issuing: a signed and reviewed outcome becomes a report that is kept byte for byte.

use darkline_audit_trail::people::Verb;
use darkline_audit_trail::{Hash, PersonId, Timestamp};
use darkline_record::canonical::Digest;
use darkline_record::identity::OrderId;

use crate::act::Act;
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
    /// Who issues it.
    pub by: PersonId,
    /// When.
    pub at: Timestamp,
    /// Package, decisions and outcome.
    pub evaluated: Evaluated,
    /// The signatures under the outcome: analyst, then reviewer.
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
    /// * `program`: name and version of the program that sets the report.
    ///
    /// # Errors
    /// [`LaboratoryError::NotReady`]: signatures of analyst and reviewer under the outcome as it stands now are missing, or
    /// the very same outcome was issued already; [`LaboratoryError::Refused`].
    pub fn draft_issue(&self, by: &PersonId, order: &OrderId, program: &str) -> Result<IssueDraft, LaboratoryError> {
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
        let (size, root) = self.root()?;
        Ok(IssueDraft {
            order: order.clone(),
            report: format!("{order}-{}", known.issues.len() + 1),
            supersedes: last.map(|issue| issue.report.clone()),
            by: by.clone(),
            at: self.now(),
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
        let document = self.kept(&issue.document, "the report")?;
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
        passphrase: &str,
    ) -> Result<Issue, LaboratoryError> {
        self.ask(&draft.by, Verb::Issue, Some(&draft.order))?;
        let key = self.unlock(&draft.by, passphrase)?;
        let outcome = draft.evaluated.outcome.digest();
        let (record_digest, document_digest) = (Digest::of(record), Digest::of(document));
        let meaning = issue_meaning(&draft.report, &record_digest, &document_digest);
        let facts = SignedFacts {
            outcome: &outcome,
            package: &draft.evaluated.outcome.package,
            size: draft.size,
            root: &draft.root,
        };
        let text = signature_text(&draft.order, &meaning, &draft.by, &draft.at, &facts);
        let signature = key.sign(text.as_bytes()).to_string();
        self.store_mut().put_blobs(&[document, record])?;
        let act = Act::Issue {
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
        };
        let numbers = self.append(&draft.by, &draft.at, &[act])?;
        Ok(Issue { entry: numbers[0], report: draft.report.clone(), document: document_digest })
    }
}

/// The meaning line of an issue's signature: it binds the report and the record inside it.
pub fn issue_meaning(report: &str, record: &Digest, document: &Digest) -> String {
    format!("issued as {report} with record {record} and report {document}")
}
