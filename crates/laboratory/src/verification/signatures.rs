//! Signatures of people under outcomes and reports, held against their keys, the facts they name and the root they name.

use darkline_audit_trail::keys::Signature;
use darkline_audit_trail::people::Person;
use darkline_audit_trail::{Hash, PersonId, Timestamp, merkle};
use darkline_record::canonical::Digest;
use darkline_record::identity::OrderId;

use crate::issuing::issue_meaning;
use crate::signing::{SignatureMeaning, SignedFacts, signature_text};
use crate::state::OrderState;

/// A signature as an entry states it.
struct Stated<'a> {
    entry: u64,
    by: &'a PersonId,
    person: Option<&'a Person>,
    at: &'a str,
    meaning: &'a str,
    outcome: &'a Digest,
    package: &'a Digest,
    size: u64,
    root: &'a Hash,
    signature: &'a str,
}

impl Stated<'_> {
    fn faults(&self, order: &OrderId, leaves: &[Hash]) -> Vec<String> {
        let Self { entry, by, meaning, .. } = self;
        let who = format!("the signature of {by} in entry {entry} ({meaning})");
        let Some(key) = self.person.and_then(|person| person.public_key) else {
            return vec![format!("{who}: no earlier entry brings a key of {by}")];
        };
        let (Ok(signature), Ok(at)) = (self.signature.parse::<Signature>(), self.at.parse::<Timestamp>()) else {
            return vec![format!("{who} is no signature")];
        };
        let mut faults = Vec::new();
        let facts = SignedFacts { outcome: self.outcome, package: self.package, size: self.size, root: self.root };
        let text = signature_text(order, meaning, by, &at, &facts);
        if key.verify_strict(text.as_bytes(), &signature).is_err() {
            faults.push(format!("{who} does not hold: what was signed or the signature was changed"));
        }
        let before = usize::try_from(self.size).ok().and_then(|size| leaves.get(..size));
        if before.is_none_or(|leaves| merkle::root(leaves) != *self.root) {
            faults.push(format!("{who} names a root that the first {} entries do not give", self.size));
        }
        faults
    }
}

/// Checks every signature of an order and under its reports.
///
/// # Arguments
/// * `leaves`: the hashes of all entries of the log.
pub(super) fn check(order: &OrderId, known: &OrderState, leaves: &[Hash]) -> Vec<String> {
    let mut faults = Vec::new();
    for signature in &known.signatures {
        let stated = Stated {
            entry: signature.entry,
            by: &signature.by,
            person: signature.person.as_ref(),
            at: &signature.at,
            meaning: signature.meaning.words(),
            outcome: &signature.outcome,
            package: &signature.package,
            size: signature.size,
            root: &signature.root,
            signature: &signature.signature,
        };
        faults.extend(stated.faults(order, leaves));
    }
    for issue in &known.issues {
        let meaning = issue_meaning(&issue.report, &issue.record, &issue.document);
        // Earlier issues of a corrected report rest on an earlier package, which the signatures of that time name.
        let Some(signed) = known.signatures.iter().rev().find(|signature| signature.outcome == issue.outcome) else {
            faults.push(format!("report {} was issued for an outcome that nobody signed", issue.report));
            continue;
        };
        let stated = Stated {
            entry: issue.entry,
            by: &issue.by,
            person: issue.person.as_ref(),
            at: &issue.at,
            meaning: &meaning,
            outcome: &issue.outcome,
            package: &signed.package,
            size: issue.size,
            root: &issue.root,
            signature: &issue.signature,
        };
        faults.extend(stated.faults(order, leaves));
        faults.extend(two_hands(known, &issue.report, &issue.outcome));
    }
    faults
}

/// A reported outcome carries the signatures of an analyst and of a reviewer, who are two people.
fn two_hands(known: &OrderState, report: &str, outcome: &Digest) -> Option<String> {
    let by = |meaning| known.signature(meaning, outcome).map(|signature| &signature.by);
    match (by(SignatureMeaning::Measured), by(SignatureMeaning::Reviewed)) {
        (Some(analyst), Some(reviewer)) if analyst == reviewer => {
            Some(format!("report {report}: {analyst} signed as analyst and as reviewer; two people have to"))
        }
        (Some(_), Some(_)) => None,
        (None, _) => {
            Some(format!("report {report}: nobody signed its outcome ({})", SignatureMeaning::Measured.words()))
        }
        (_, None) => {
            Some(format!("report {report}: nobody signed its outcome ({})", SignatureMeaning::Reviewed.words()))
        }
    }
}
