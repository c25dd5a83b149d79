//! Signatures of people under outcomes and reports, held against their keys, the facts they name and the root they name.

use darkline_audit_trail::keys::Signature;
use darkline_audit_trail::people::Person;
use darkline_audit_trail::{Hash, PersonId, Timestamp, merkle};
use darkline_record::canonical::Digest;
use darkline_record::identity::OrderId;

use crate::issuing::issue_meaning;
use crate::signing::{SignatureMeaning, SignedFacts, signature_text};
use crate::state::{IssueState, OrderState, State};

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
        let Some(signed) = known
            .signatures
            .iter()
            .rev()
            .find(|signature| signature.outcome == issue.outcome && signature.entry < issue.entry)
        else {
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
        faults.extend(two_hands(known, issue));
    }
    faults
}

/// Checks what devices signed of the readings they brought to an order.
pub(super) fn check_devices(state: &State, order: &OrderId) -> Vec<String> {
    let mut faults = Vec::new();
    for signed in state.runs_of(order).iter().flat_map(|run| &run.device_signed) {
        let signature = signed.signature.parse::<Signature>().ok();
        let holds = signed
            .key
            .zip(signature)
            .is_some_and(|(key, signature)| key.verify_strict(signed.text.as_bytes(), &signature).is_ok());
        if !holds {
            let (by, entry) = (&signed.by, signed.entry);
            faults.push(format!("the signature of device {by} in entry {entry} does not hold"));
        }
    }
    faults
}

/// A reported outcome carries the signatures of an analyst and of a reviewer, who are two people, and since settings are told
/// apart that of somebody who approved of it and had no hand in the measurement.
fn two_hands(known: &OrderState, issue: &IssueState) -> Vec<String> {
    let report = &issue.report;
    let by = |meaning| known.signature_before(meaning, &issue.outcome, issue.entry).map(|signature| &signature.by);
    let missing =
        |meaning: SignatureMeaning| format!("report {report}: nobody signed its outcome ({})", meaning.words());
    let mut faults = Vec::new();
    let [measured, reviewed, approved] = SignatureMeaning::ALL.map(by);
    match (measured, reviewed) {
        (Some(analyst), Some(reviewer)) if analyst == reviewer => {
            faults.push(format!("report {report}: {analyst} signed as analyst and as reviewer; two people have to"));
        }
        (None, _) => faults.push(missing(SignatureMeaning::Measured)),
        (_, None) => faults.push(missing(SignatureMeaning::Reviewed)),
        (Some(_), Some(_)) => {}
    }
    if issue.setting.is_some() {
        match approved {
            None => faults.push(missing(SignatureMeaning::Approved)),
            Some(approver) if measured == Some(approver) => {
                faults.push(format!("report {report}: {approver} signed as analyst and approved; two people have to"));
            }
            Some(_) => {}
        }
    }
    faults
}
