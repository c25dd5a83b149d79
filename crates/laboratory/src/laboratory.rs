//! The laboratory on its store: fetch, fold, ask who may, append.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::Arc;

use darkline_audit_trail::keys::{KeyFileFault, SigningKey};
use darkline_audit_trail::people::{Person, Refusal, Relation, Role, Verb};
use darkline_audit_trail::{BlobDigest, Draft, EntryId, LogId, PersonId, Store, StoreError, Timestamp};
use darkline_evaluation::outcome::Outcome;
use darkline_evaluation::{Explanation, NoSuchResult, UnknownEdition, Validated, evaluate, explain, validate};
use darkline_exchange::fault::Faults;
use darkline_planning::leg::LegFault;
use darkline_record::canonical::Digest;
use darkline_record::decision::{Decision, FlagId};
use darkline_record::identity::{Edition, Element, OrderId, ReadingId, RunId, SampleId};
use darkline_record::package::DataPackage;
use darkline_record::pulse::Pulse;

use crate::act::Act;
use crate::state::{FoldFault, OrderState, Pulses, State};

/// The edition that newly opened orders are evaluated with.
pub const CURRENT_EDITION: Edition = Edition(0);

/// A laboratory: its record and what follows from it.
pub struct Laboratory {
    store: Box<dyn Store>,
    state: State,
    clock: fn() -> Timestamp,
}

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
        method: darkline_record::identity::MethodId,
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

/// An order evaluated: what went in and what came out.
#[derive(Debug)]
pub struct Evaluated {
    /// What it rests on.
    pub package: DataPackage,
    /// Decisions in the order they were made.
    pub decisions: Vec<Decision>,
    /// What came out.
    pub outcome: Outcome,
}

impl Laboratory {
    /// Takes up work on a store: folds everything that is there.
    ///
    /// # Errors
    /// [`LaboratoryError::Store`], [`LaboratoryError::Fold`].
    pub fn over(store: Box<dyn Store>) -> Result<Self, LaboratoryError> {
        let mut laboratory = Self { store, state: State::default(), clock: Timestamp::now };
        laboratory.catch_up()?;
        Ok(laboratory)
    }

    /// Takes the time of acts from this clock; for tests.
    #[must_use]
    pub fn with_clock(self, clock: fn() -> Timestamp) -> Self {
        Self { clock, ..self }
    }

    /// What the laboratory knows.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// The store it stands on.
    pub fn store(&self) -> &dyn Store {
        self.store.as_ref()
    }

    pub(crate) fn store_mut(&mut self) -> &mut dyn Store {
        self.store.as_mut()
    }

    pub(crate) fn now(&self) -> Timestamp {
        (self.clock)()
    }

    fn catch_up(&mut self) -> Result<(), LaboratoryError> {
        let mut fault = None;
        let from = self.state.n_entries;
        let (store, state) = (&self.store, &mut self.state);
        store.scan(store.log(), from, &mut |entry| match state.fold(entry) {
            Ok(()) => ControlFlow::Continue(()),
            Err(found) => {
                fault = Some(found);
                ControlFlow::Break(())
            }
        })?;
        fault.map_or(Ok(()), |fault| Err(fault.into()))
    }

    /// Appends acts of a person, all or none, and folds them.
    ///
    /// What a person does rests on what the record said when it was folded. Where somebody else has appended since, nothing
    /// is put behind it.
    pub(crate) fn append(&mut self, by: &PersonId, at: &Timestamp, acts: &[Act]) -> Result<Vec<u64>, LaboratoryError> {
        let overtaken = |size: u64| LaboratoryError::Overtaken { n: size.saturating_sub(self.state.n_entries) };
        let log = self.store.log().clone();
        let size = self.store.size(&log)?;
        if size != self.state.n_entries {
            return Err(overtaken(size));
        }
        let drafts = (size..)
            .zip(acts)
            .map(|(place, act)| {
                // What cannot be read back must not be acknowledged.
                let again: Option<Act> = serde_json::from_slice(&act.bytes()).ok();
                if again.as_ref() != Some(act) {
                    return Err(LaboratoryError::NotReadable { act: act.words() });
                }
                Ok(Draft { id: identity_of(&log, place), by: by.clone(), at: at.clone(), bytes: act.bytes() })
            })
            .collect::<Result<Vec<Draft>, LaboratoryError>>()?;
        let numbers = match self.store.append(&drafts) {
            Err(StoreError::OtherContent { .. }) => return Err(overtaken(self.store.size(&log)?)),
            answer => answer?,
        };
        self.catch_up()?;
        Ok(numbers)
    }

    /// The person of this name.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownPerson`].
    pub fn person(&self, name: &PersonId) -> Result<&Person, LaboratoryError> {
        self.state.people.get(name).ok_or_else(|| {
            let names: Vec<&str> = self.state.people.keys().map(PersonId::as_str).collect();
            let known = if names.is_empty() {
                "nobody is entered yet".into()
            } else {
                format!("known are {}", names.join(", "))
            };
            LaboratoryError::UnknownPerson { name: name.clone(), known }
        })
    }

    pub(crate) fn ask(&self, name: &PersonId, verb: Verb, order: Option<&OrderId>) -> Result<(), LaboratoryError> {
        let relation = order.map_or(Relation::Unrelated, |order| self.state.relation(name, order));
        Ok(self.person(name)?.may(verb, &relation)?)
    }

    /// Enters the first person, who becomes administrator, and the laboratory's name; refused where somebody is entered already.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`] where people are entered already; keys and store as ever.
    pub fn begin(
        &mut self,
        id: &PersonId,
        full_name: &str,
        passphrase: &str,
        laboratory: &str,
        address: &[String],
    ) -> Result<u64, LaboratoryError> {
        if !self.state.people.is_empty() {
            return Err(Refusal::NoRole { verb: Verb::ManagePeople }.into());
        }
        let number = self.enter(id, id, full_name, [Role::Administrator].into(), passphrase)?;
        let at = self.now();
        self.append(id, &at, &[Act::SetLaboratory { name: laboratory.into(), address: address.to_vec() }])?;
        Ok(number)
    }

    /// Says what reports issued from now on call the laboratory; those issued before keep what they say.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`]: who acts is no administrator.
    pub fn set_laboratory(&mut self, by: &PersonId, name: &str, address: &[String]) -> Result<u64, LaboratoryError> {
        self.ask(by, Verb::ManagePeople, None)?;
        let at = self.now();
        let numbers = self.append(by, &at, &[Act::SetLaboratory { name: name.into(), address: address.to_vec() }])?;
        Ok(numbers[0])
    }

    /// Enters a person with a key of their own under their passphrase.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`]: who acts is no administrator, or the person is entered already.
    pub fn add_person(
        &mut self,
        by: &PersonId,
        id: &PersonId,
        full_name: &str,
        roles: std::collections::BTreeSet<Role>,
        passphrase: &str,
    ) -> Result<u64, LaboratoryError> {
        let relation = if by == id { Relation::Oneself } else { Relation::Unrelated };
        self.person(by)?.may(Verb::ManagePeople, &relation)?;
        if let Some(known) = self.state.people.get(id) {
            return Err(LaboratoryError::AlreadyEntered { person: id.clone(), full_name: known.full_name.clone() });
        }
        self.enter(by, id, full_name, roles, passphrase)
    }

    fn enter(
        &mut self,
        by: &PersonId,
        id: &PersonId,
        full_name: &str,
        roles: std::collections::BTreeSet<Role>,
        passphrase: &str,
    ) -> Result<u64, LaboratoryError> {
        let key = SigningKey::random().map_err(|_| LaboratoryError::NoRandomness)?;
        let pem = key.to_encrypted_pem(passphrase)?;
        let person = Person {
            id: id.clone(),
            full_name: full_name.into(),
            roles,
            public_key: Some(key.public_key()),
            disabled: false,
        };
        // The key first: a person without a key in the store could never sign, a key without a person harms nobody.
        self.store.put_key(id, &pem)?;
        let at = self.now();
        let numbers = self.append(by, &at, &[Act::SetPerson { person }])?;
        Ok(numbers[0])
    }

    /// An order.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownOrder`].
    pub fn order(&self, order: &OrderId) -> Result<&OrderState, LaboratoryError> {
        self.state.orders.get(order).ok_or_else(|| {
            let orders: Vec<&str> = self.state.orders.keys().map(OrderId::as_str).collect();
            let known =
                if orders.is_empty() { "no order is open yet".into() } else { format!("it has {}", orders.join(", ")) };
            LaboratoryError::UnknownOrder { order: order.clone(), known }
        })
    }

    /// The run a command is about: the one named, or the only one of the order.
    ///
    /// # Errors
    /// [`LaboratoryError::WhichRun`], [`LaboratoryError::UnknownRun`].
    pub fn run_of(&self, order: &OrderId, run: Option<&RunId>) -> Result<RunId, LaboratoryError> {
        self.order(order)?;
        let known: Vec<RunId> = self.state.runs_of(order).into_iter().map(|run| run.run.id.clone()).collect();
        let runs = || known.iter().map(RunId::as_str).collect::<Vec<_>>().join(", ");
        match run {
            Some(run) if known.contains(run) => Ok(run.clone()),
            Some(run) => Err(LaboratoryError::UnknownRun { order: order.clone(), run: run.clone(), runs: runs() }),
            None if known.len() == 1 => Ok(known[0].clone()),
            None => Err(LaboratoryError::WhichRun { order: order.clone(), runs: runs() }),
        }
    }

    /// The data package of an order with its pulses.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownOrder`], [`LaboratoryError::PulseMissing`].
    pub fn package(&self, order: &OrderId) -> Result<DataPackage, LaboratoryError> {
        self.order(order)?;
        let mut pulses: Pulses = BTreeMap::new();
        for digest in self.state.pulse_digests_of(order) {
            let missing = || LaboratoryError::PulseMissing { digest: digest.to_string() };
            let bytes = self.store.blob(&BlobDigest::from_bytes(*digest.as_bytes()))?.ok_or_else(missing)?;
            pulses.insert(digest, Arc::new(Pulse::from_canonical_bytes(&bytes).ok_or_else(missing)?));
        }
        self.state.package(order, pulses).ok_or_else(|| LaboratoryError::NotReady {
            order: order.clone(),
            act: "evaluated",
            why: "it has not been opened for work".into(),
        })
    }

    /// Works out an order from its readings and decisions. Stores nothing.
    ///
    /// # Errors
    /// As [`Laboratory::package`]; [`LaboratoryError::Edition`].
    pub fn evaluate(&self, order: &OrderId) -> Result<Evaluated, LaboratoryError> {
        let package = self.package(order)?;
        let decisions = self.state.decisions_of(order);
        let outcome = evaluate(&package, &decisions)?;
        Ok(Evaluated { package, decisions, outcome })
    }

    /// Tells how a result came about.
    ///
    /// # Errors
    /// As [`Laboratory::package`]; [`LaboratoryError::NoSuchResult`].
    pub fn explain(
        &self,
        order: &OrderId,
        sample: &SampleId,
        element: Option<&Element>,
    ) -> Result<Explanation, LaboratoryError> {
        let package = self.package(order)?;
        Ok(explain(&package, &self.state.decisions_of(order), sample, element)?)
    }

    /// Holds the results of an order against Monte Carlo.
    ///
    /// # Errors
    /// As [`Laboratory::package`].
    pub fn validate(&self, order: &OrderId, trials: Option<u32>) -> Result<Vec<Validated>, LaboratoryError> {
        let package = self.package(order)?;
        Ok(validate(&package, &self.state.decisions_of(order), trials)?)
    }

    /// Opens the key of a person with their passphrase.
    pub(crate) fn unlock(&self, person: &PersonId, passphrase: &str) -> Result<SigningKey, LaboratoryError> {
        let pem = self.store.key(person)?.ok_or_else(|| LaboratoryError::NoKey { person: person.clone() })?;
        let key = SigningKey::from_encrypted_pem(&pem, passphrase)?;
        // A key that is not the one in the record signs nothing that anybody would accept.
        if self.person(person)?.public_key.as_ref() != Some(&key.public_key()) {
            return Err(LaboratoryError::NoKey { person: person.clone() });
        }
        Ok(key)
    }
}

/// The identity of the entry that takes this place of a log.
///
/// Of two programs that append at the same moment both want the same place. Since a store keeps an identity once, the
/// second is turned back in the same breath in which it would have been written, however short the time between its look
/// at the record and its append.
fn identity_of(log: &LogId, place: u64) -> EntryId {
    let digest = Digest::of(format!("darkline/place/1\n{log}\n{place}\n").as_bytes());
    let mut first = [0; 16];
    first.copy_from_slice(&digest.as_bytes()[..16]);
    EntryId::from_bytes(first)
}

#[cfg(test)]
mod tests {
    use super::*;
    use darkline_audit_trail::SqliteStore;
    use darkline_audit_trail::merkle::Frontier;
    use darkline_audit_trail::{Checkpoint, Entry, Hash};
    use std::path::Path;

    const PASSPHRASE: &str = "gathered by the weir";

    fn open(path: &Path) -> SqliteStore {
        SqliteStore::open(path).unwrap().sign_with(SigningKey::from_seed(&[7; 32])).unwrap()
    }

    fn begun(path: &Path) -> Laboratory {
        let store =
            SqliteStore::create(path, &LogId::new("bench-1").unwrap(), SigningKey::from_seed(&[7; 32])).unwrap();
        let mut laboratory = Laboratory::over(Box::new(store)).unwrap();
        laboratory.begin(&willow(), "K. Willow", PASSPHRASE, "Millrace Laboratory", &["1 Weir Lane".into()]).unwrap();
        laboratory
    }

    fn willow() -> PersonId {
        PersonId::new("k.willow").unwrap()
    }

    fn move_to(laboratory: &mut Laboratory, address: &str) -> Result<u64, LaboratoryError> {
        laboratory.set_laboratory(&willow(), "Millrace Laboratory", &[address.into()])
    }

    /// A store before whose append somebody else appends: in the moment after the laboratory has looked at the record.
    struct Overtaken {
        inner: SqliteStore,
        other: Option<Laboratory>,
    }

    impl Store for Overtaken {
        fn append(&mut self, drafts: &[Draft]) -> Result<Vec<u64>, StoreError> {
            if let Some(mut other) = self.other.take() {
                move_to(&mut other, "2 Weir Lane").unwrap();
            }
            self.inner.append(drafts)
        }
        fn log(&self) -> &LogId {
            self.inner.log()
        }
        fn append_with(&mut self, device: SigningKey) -> Result<(), StoreError> {
            self.inner.append_with(device)
        }
        fn enrol_device(&mut self, device: &darkline_audit_trail::keys::PublicKey) -> Result<(), StoreError> {
            self.inner.enrol_device(device)
        }
        fn scan(
            &self,
            log: &LogId,
            from: u64,
            visit: &mut dyn FnMut(&Entry) -> ControlFlow<()>,
        ) -> Result<(), StoreError> {
            self.inner.scan(log, from, visit)
        }
        fn size(&self, log: &LogId) -> Result<u64, StoreError> {
            self.inner.size(log)
        }
        fn leaves(
            &self,
            log: &LogId,
            from: u64,
            visit: &mut dyn FnMut(u64, Hash) -> ControlFlow<()>,
        ) -> Result<(), StoreError> {
            self.inner.leaves(log, from, visit)
        }
        fn frontier(&self, log: &LogId, size: u64) -> Result<Option<Frontier>, StoreError> {
            self.inner.frontier(log, size)
        }
        fn checkpoints(
            &self,
            log: &LogId,
            from: u64,
            visit: &mut dyn FnMut(&Checkpoint) -> ControlFlow<()>,
        ) -> Result<(), StoreError> {
            self.inner.checkpoints(log, from, visit)
        }
        fn last_checkpoint(&self, log: &LogId) -> Result<Option<Checkpoint>, StoreError> {
            self.inner.last_checkpoint(log)
        }
        fn devices(&self) -> Result<Vec<darkline_audit_trail::keys::PublicKey>, StoreError> {
            self.inner.devices()
        }
        fn put_blobs(&mut self, blobs: &[&[u8]]) -> Result<Vec<BlobDigest>, StoreError> {
            self.inner.put_blobs(blobs)
        }
        fn blob(&self, digest: &BlobDigest) -> Result<Option<Vec<u8>>, StoreError> {
            self.inner.blob(digest)
        }
        fn blob_digests(&self, visit: &mut dyn FnMut(BlobDigest) -> ControlFlow<()>) -> Result<(), StoreError> {
            self.inner.blob_digests(visit)
        }
        fn put_key(&mut self, person: &PersonId, encrypted_pem: &str) -> Result<(), StoreError> {
            self.inner.put_key(person, encrypted_pem)
        }
        fn key(&self, person: &PersonId) -> Result<Option<String>, StoreError> {
            self.inner.key(person)
        }
        fn form_faults(&self) -> Result<Vec<String>, StoreError> {
            self.inner.form_faults()
        }
    }

    #[test]
    fn who_is_overtaken_is_told_and_appends_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("millrace.trail");
        let mut first = begun(&path);
        let mut second = Laboratory::over(Box::new(open(&path))).unwrap();
        assert_eq!(move_to(&mut first, "2 Weir Lane").unwrap(), 2);
        let told = move_to(&mut second, "3 Weir Lane").unwrap_err();
        assert!(matches!(told, LaboratoryError::Overtaken { n: 1 }), "{told}");
        let again = Laboratory::over(Box::new(open(&path))).unwrap();
        assert_eq!(again.state().n_entries, 3);
        assert_eq!(again.state().laboratory.as_ref().unwrap().1, ["2 Weir Lane"]);
    }

    #[test]
    fn who_is_overtaken_within_the_append_itself_is_told_as_well() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("millrace.trail");
        let other = begun(&path);
        let store = Overtaken { inner: open(&path), other: Some(other) };
        let mut late = Laboratory::over(Box::new(store)).unwrap();
        let told = move_to(&mut late, "3 Weir Lane").unwrap_err();
        assert!(matches!(told, LaboratoryError::Overtaken { n: 1 }), "{told}");
        let again = Laboratory::over(Box::new(open(&path))).unwrap();
        assert_eq!(again.state().n_entries, 3);
        assert_eq!(again.state().laboratory.as_ref().unwrap().1, ["2 Weir Lane"]);
        assert!(darkline_audit_trail::verify_trail(again.store(), again.store().log()).unwrap().is_intact());
    }

    #[test]
    fn only_an_administrator_says_what_the_laboratory_is_called() {
        let folder = tempfile::tempdir().unwrap();
        let mut laboratory = begun(&folder.path().join("millrace.trail"));
        let alder = PersonId::new("j.alder").unwrap();
        laboratory.add_person(&willow(), &alder, "J. Alder", [Role::Analyst].into(), "catkins before leaves").unwrap();
        let told = laboratory.set_laboratory(&alder, "Alder", &["1 Weir Lane".into()]).unwrap_err();
        assert!(matches!(told, LaboratoryError::Refused(Refusal::NoRole { verb: Verb::ManagePeople })), "{told}");
        let told =
            laboratory.add_person(&willow(), &alder, "Another", [Role::Reviewer].into(), PASSPHRASE).unwrap_err();
        assert_eq!(told.to_string(), "j.alder is entered already, as J. Alder; a name is never given to another");
    }
}
