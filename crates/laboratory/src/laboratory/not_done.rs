//! Why a verb was not done: every reason there is, with the values needed to say it.

use darkline_audit_trail::keys::KeyFileFault;
use darkline_audit_trail::people::Refusal;
use darkline_audit_trail::{LogId, PersonId, StoreError};
use darkline_evaluation::{NoSuchResult, UnknownEdition};
use darkline_exchange::fault::Faults;
use darkline_planning::leg::LegFault;
use darkline_record::decision::FlagId;
use darkline_record::identity::{MethodId, OrderId, ReadingId, RunId};

use crate::state::FoldFault;

/// Why a verb was not done; nothing was appended then.
#[derive(Debug, thiserror::Error)]
pub enum LaboratoryError {
    /// A file is at fault.
    #[error("{0}")]
    Faults(Faults),
    /// The store could not do it.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The record cannot be folded.
    #[error(transparent)]
    Fold(#[from] FoldFault),
    /// The person may not.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// Nobody of this name is known.
    #[error("nobody here is called {name}; {known}")]
    UnknownPerson {
        /// The name.
        name: PersonId,
        /// Who is known.
        known: String,
    },
    /// The record has no such order.
    #[error("the record has no order {order}; {known}")]
    UnknownOrder {
        /// The order.
        order: OrderId,
        /// Which it has.
        known: String,
    },
    /// The person is entered already.
    #[error("{person} is entered already, as {full_name}; a name is never given to another")]
    AlreadyEntered {
        /// The person.
        person: PersonId,
        /// Their full name.
        full_name: String,
    },
    /// The record has a document of this identity with another text.
    #[error("the record already has {what} {id} with another text, and what is in the record stays")]
    OtherText {
        /// What it is.
        what: &'static str,
        /// Its identity.
        id: String,
    },
    /// The order has more runs than one and the command names none.
    #[error("order {order} is measured in several runs; name one of them: {runs}")]
    WhichRun {
        /// The order.
        order: OrderId,
        /// Its runs.
        runs: String,
    },
    /// The order is not measured in this run.
    #[error("order {order} is not measured in run {run}; it is in {runs}")]
    UnknownRun {
        /// The order.
        order: OrderId,
        /// The run.
        run: RunId,
        /// Its runs.
        runs: String,
    },
    /// The package cannot be evaluated.
    #[error(transparent)]
    Edition(#[from] UnknownEdition),
    /// There is no such result.
    #[error(transparent)]
    NoSuchResult(#[from] NoSuchResult),
    /// There is no such reading.
    #[error("run {} has no reading {}; its readings are 1 to {last}", reading.run, reading.number)]
    UnknownReading {
        /// The reading.
        reading: ReadingId,
        /// The last reading there is.
        last: u32,
    },
    /// There is no such flag now.
    #[error("there is no flag {flag} now; {known}")]
    UnknownFlag {
        /// The flag.
        flag: FlagId,
        /// Which there are.
        known: String,
    },
    /// The flag does not offer this step.
    #[error("{flag} does not offer this step; it offers {offered}")]
    NotOffered {
        /// The flag.
        flag: FlagId,
        /// What it offers.
        offered: String,
    },
    /// The method of a run does not allow this calibration function.
    #[error("method \"{method}\" does not allow the calibration function \"{model}\"; it allows {allowed}")]
    NotAllowed {
        /// The method.
        method: MethodId,
        /// The function wanted.
        model: &'static str,
        /// What it allows.
        allowed: String,
    },
    /// A leg cannot be made.
    #[error(transparent)]
    Leg(#[from] LegFault),
    /// No step has been taken up that is not in a leg already.
    #[error("no step is taken up that is not in the run order already")]
    NothingToAdd,
    /// The order is not ready for this.
    #[error("order {order} cannot be {act} yet: {why}")]
    NotReady {
        /// The order.
        order: OrderId,
        /// "signed", "issued", "archived".
        act: &'static str,
        /// What is missing.
        why: String,
    },
    /// Somebody else appended in the meantime.
    #[error(
        "somebody else appended {} in the meantime; nothing of this was appended",
        if *n == 1 { "an entry".into() } else { format!("{n} entries") }
    )]
    Overtaken {
        /// How many.
        n: u64,
    },
    /// The person has signed these very results.
    #[error("{by} has signed these results already, in entry {entry} ({meaning})")]
    AlreadySigned {
        /// Who.
        by: PersonId,
        /// The entry.
        entry: u64,
        /// The words of what it means.
        meaning: &'static str,
    },
    /// A key or passphrase is at fault.
    #[error(transparent)]
    Key(#[from] KeyFileFault),
    /// A passphrase does not open the key of the account; an entry says so.
    #[error("the passphrase does not open the key of {person}; entry {entry} says so, {in_a_row} in a row{then}")]
    WrongPassphrase {
        /// Whose account.
        person: PersonId,
        /// The entry.
        entry: u64,
        /// How many in a row.
        in_a_row: u32,
        /// What follows, with the sign before it.
        then: String,
    },
    /// A passphrase that others would guess first.
    #[error("this passphrase is {what}; take one that only {person} knows")]
    GuessedFirst {
        /// What it is.
        what: &'static str,
        /// Whose it would be.
        person: PersonId,
    },
    /// The methods of the order have a list of reasons, and this is none of it.
    #[error("\"{reason}\" is no reason of this method's list; it has {known}")]
    UnknownReason {
        /// What was written.
        reason: String,
        /// The list.
        known: String,
    },
    /// A day that is none.
    #[error("\"{found}\" is no day; write it as 2027-03-31")]
    NoDay {
        /// The text.
        found: String,
    },
    /// Nothing about the person would change.
    #[error("nothing about {person} would change")]
    NothingToChange {
        /// Who.
        person: PersonId,
    },
    /// Nobody could keep the others any more.
    #[error("{person} is the last administrator; enter another one first")]
    LastAdministrator {
        /// Who.
        person: PersonId,
    },
    /// The record knows no such method.
    #[error("the record has no method {method}; {known}")]
    UnknownMethod {
        /// The method.
        method: MethodId,
        /// Which it has.
        known: String,
    },
    /// A report that supersedes another one says why.
    #[error("this report supersedes {report} and has to say why")]
    WhyMissing {
        /// The report before.
        report: String,
    },
    /// A remark is about something the order does not have.
    #[error("order {order} has no {on}")]
    NoSuchItem {
        /// The order.
        order: OrderId,
        /// What was named.
        on: String,
    },
    /// The order was brought back from an archive and is not worked on here.
    #[error(
        "order {order} was restored from an archive of log {log}: here it is read, evaluated and verified, and not changed"
    )]
    IsRestored {
        /// The order.
        order: OrderId,
        /// Where it comes from.
        log: String,
    },
    /// The archive that is to be brought back is not in order.
    #[error("this archive is not as it was issued, so it is not restored: {fault}")]
    NotRestored {
        /// The first fault found.
        fault: String,
    },
    /// The record has this order already.
    #[error("the record has order {order} already; an archive is restored where it is missing")]
    HasOrder {
        /// The order.
        order: OrderId,
    },
    /// It is kept longer already.
    #[error("order {order} is kept until {until} already; that day can be put off, not brought forward")]
    KeptLonger {
        /// The order.
        order: OrderId,
        /// The last day.
        until: String,
    },
    /// Nothing of it is kept apart.
    #[error(
        "whose order {order} was {}",
        if *erased { "is erased already" } else { "stands in the record itself and cannot be erased; it can be kept apart when an order is opened" }
    )]
    NotApart {
        /// The order.
        order: OrderId,
        /// Whether it was erased before.
        erased: bool,
    },
    /// A file beside the record cannot be read or written.
    #[error("{file}: {why}")]
    Apart {
        /// The file.
        file: String,
        /// What the operating system says.
        why: String,
    },
    /// Whose order it was is erased, and the reports that named it.
    #[error("whose order {order} was is erased, and its reports with it; what was given out before keeps verifying")]
    Erased {
        /// The order.
        order: OrderId,
    },
    /// No device here has this key.
    #[error("no device of this record has the key {key}")]
    UnknownDevice {
        /// Its fingerprint.
        key: String,
    },
    /// Nobody has said where things are kept apart.
    #[error("this record has no folder for what is kept apart from it")]
    NothingApart,
    /// It has to be kept.
    #[error("whose order {order} was is not erased: {why}; entry {entry} says that it was wanted")]
    HasToBeKept {
        /// The order.
        order: OrderId,
        /// Why.
        why: String,
        /// The entry.
        entry: u64,
    },
    /// The person has no key.
    #[error("{person} has no key in this record")]
    NoKey {
        /// The person.
        person: PersonId,
    },
    /// A pulse is not in the store.
    #[error("the pulse {digest} is not in the record; the trail is damaged: verify it")]
    PulseMissing {
        /// Its digest.
        digest: String,
    },
    /// The operating system gave no random bytes.
    #[error("the operating system gave no random bytes")]
    NoRandomness,
    /// An act would not read back.
    #[error("this act would not read back, which is a fault of this program: {act}; nothing was appended")]
    NotReadable {
        /// The act in words.
        act: String,
    },
    /// The log of a bench is not as it was signed, so that it is not taken over.
    #[error("the log {log} is not taken over, because it is not as it was signed: {fault}")]
    DamagedBench {
        /// The log.
        log: LogId,
        /// The first fault.
        fault: String,
    },
    /// An archive is at fault.
    #[error(transparent)]
    Archive(#[from] crate::archive::ArchiveFault),
}

impl From<Faults> for LaboratoryError {
    fn from(faults: Faults) -> Self {
        LaboratoryError::Faults(faults)
    }
}
