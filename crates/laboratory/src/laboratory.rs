//! The laboratory on its store: fetch, fold, ask who may, append.

use std::ops::ControlFlow;

use darkline_audit_trail::people::{Person, Relation, Stage, Verb};
use darkline_audit_trail::{Draft, EntryId, LogId, PersonId, Store, StoreError, Timestamp};
use darkline_record::canonical::Digest;
use darkline_record::identity::{Edition, OrderId, RunId};

use crate::act::Act;
use crate::state::{OrderState, State};

pub use evaluating::Evaluated;
pub use not_done::LaboratoryError;

pub(crate) mod evaluating;
mod not_done;

/// The edition that newly opened orders are evaluated with.
pub const CURRENT_EDITION: Edition = Edition(0);

/// A laboratory: its record and what follows from it.
pub struct Laboratory {
    pub(crate) store: Box<dyn Store>,
    pub(crate) state: State,
    pub(crate) apart: Option<std::path::PathBuf>,
    clock: fn() -> Timestamp,
}

impl Laboratory {
    /// Takes up work on a store: folds everything that is there.
    ///
    /// # Errors
    /// [`LaboratoryError::Store`], [`LaboratoryError::Fold`].
    pub fn over(store: Box<dyn Store>) -> Result<Self, LaboratoryError> {
        let mut laboratory = Self { store, state: State::default(), apart: None, clock: Timestamp::now };
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

    /// Folds what others have appended since; a laboratory that is kept open calls it before it answers.
    ///
    /// # Errors
    /// As [`Laboratory::over`].
    pub fn catch_up(&mut self) -> Result<(), LaboratoryError> {
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
        // A clock that went back is told before anything that carries its time.
        let back = match &self.state.last_at {
            Some(last) if at.instant() < last.instant() => {
                Some(Act::ClockWentBack { from: last.to_string(), to: at.to_string() })
            }
            _ => None,
        };
        let drafts = (size..)
            .zip(back.iter().chain(acts))
            .map(|(place, act)| {
                // What cannot be read back must not be acknowledged.
                let again: Option<Act> = serde_json::from_slice(&act.bytes()).ok();
                if again.as_ref() != Some(act) {
                    return Err(LaboratoryError::NotReadable { act: act.words() });
                }
                Ok(Draft { id: identity_of(&log, place), by: by.clone(), at: at.clone(), bytes: act.bytes() })
            })
            .collect::<Result<Vec<Draft>, LaboratoryError>>()?;
        let mut numbers = match self.store.append(&drafts) {
            Err(StoreError::OtherContent { .. }) => return Err(overtaken(self.store.size(&log)?)),
            answer => answer?,
        };
        self.catch_up()?;
        Ok(numbers.split_off(usize::from(back.is_some())))
    }

    /// How many entries the next act leaves behind when it is appended at this time.
    pub(crate) fn size_after(&self, at: &Timestamp) -> u64 {
        let went_back = self.state.last_at.as_ref().is_some_and(|last| at.instant() < last.instant());
        self.state.n_entries + 1 + u64::from(went_back)
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
        self.person(name)?.may(verb, &relation)?;
        match order {
            Some(order) if matches!(verb, Verb::Import | Verb::Decide | Verb::SignAsAnalyst | Verb::SignAsReviewer) => {
                self.authorised(name, order)
            }
            _ => Ok(()),
        }
    }

    /// The same, and whether the order is in a state in which it can be done.
    pub(crate) fn ask_now(&self, name: &PersonId, verb: Verb, order: &OrderId) -> Result<(), LaboratoryError> {
        self.not_restored(order)?;
        self.ask(name, verb, Some(order))?;
        if self.order(order)?.signatures.is_empty() {
            // Nobody has signed anything: it is open or measured, whatever evaluation finds.
            return match verb.in_stage(Stage::Open).or_else(|_| verb.in_stage(Stage::Measured)) {
                Ok(()) => Ok(()),
                Err(_) => Ok(verb.in_stage(self.stage(order)?)?),
            };
        }
        Ok(verb.in_stage(self.stage(order)?)?)
    }

    /// Turns back work on an order that stands here as an archive.
    pub(crate) fn not_restored(&self, order: &OrderId) -> Result<(), LaboratoryError> {
        match self.state.restored.get(order) {
            Some(restored) => Err(LaboratoryError::IsRestored { order: order.clone(), log: restored.log.clone() }),
            None => Ok(()),
        }
    }

    /// An order.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownOrder`].
    pub fn order(&self, order: &OrderId) -> Result<&OrderState, LaboratoryError> {
        if !self.state.orders.contains_key(order) {
            self.not_restored(order)?;
        }
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
    use darkline_audit_trail::keys::SigningKey;
    use darkline_audit_trail::merkle::Frontier;
    use darkline_audit_trail::people::{Refusal, Role};
    use darkline_audit_trail::{BlobDigest, Checkpoint, Entry, Hash};
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

    fn before() -> Timestamp {
        Timestamp::new("2000-01-01T00:00:00+01:00").unwrap()
    }

    /// 21 CFR 11.10(e), in our words in part11.toml: set the computer clock back: an entry says so.
    #[test]
    fn a_clock_that_goes_back_is_told_by_an_entry_of_its_own() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("millrace.trail");
        drop(begun(&path));
        let mut late = Laboratory::over(Box::new(open(&path))).unwrap().with_clock(before);
        assert_eq!(move_to(&mut late, "2 Weir Lane").unwrap(), 3);
        let entry = late.store().entry(late.store().log(), 2).unwrap().unwrap();
        let words = Act::read(&entry).unwrap().words();
        assert!(
            words.starts_with("the clock went back from 20") && words.ends_with(" to 2000-01-01T00:00:00+01:00"),
            "{words}"
        );
        // It stays where it is: that is told once.
        assert_eq!(move_to(&mut late, "3 Weir Lane").unwrap(), 4);
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
