//! Checking a whole trail: every entry hashed again, every checkpoint held against its key.
//!
//! [`verify_trail`] believes nothing that is stored but the public keys of the devices; who knows
//! those keys, or has checkpoints from elsewhere (every report carries one), hands them over to
//! [`verify_trail_knowing`], since a file that was rewritten as a whole, keys included, or cut
//! back to an older copy is sound in itself.
//!
//! It goes on after a fault: where the stored hashes lead on to the next signed root, the check
//! takes up from there, so that a report names every altered entry and not only the first.
//!
//! A clock that was set back is reported and is no fault: the numbers keep the order.

use std::ops::ControlFlow;

use rayon::prelude::*;

use crate::keys::{Fingerprint, PublicKey};
use crate::merkle::Frontier;
use crate::{
    Checkpoint, CheckpointFault, EntryId, Form, Hash, LogId, NumberById, Recounted, Store, StoreError, Timestamp,
};
use reading::{Block, Reader};

pub use report::{ClockStep, Fault, TrailReport};

mod reading;
mod report;

/// So many places where the index of a store differs are told.
const FORM_FAULTS: usize = 20;
/// Room for so many identities is made at once.
const ROOM: u64 = 4 << 20;
/// So many signatures are worth the way to other threads.
const FEW_SIGNATURES: usize = 16;

/// What somebody knows about a trail from elsewhere.
#[derive(Debug, Clone, Default)]
pub struct Known {
    /// Checkpoints from reports, copies, other logs; in any order.
    pub checkpoints: Vec<Checkpoint>,
    /// The public keys of the benches, if known; otherwise those that the store names count.
    pub devices: Option<Vec<PublicKey>>,
}

/// Checks a whole log by itself: hashes, numbers, identities, checkpoints, blobs, guards.
///
/// # Errors
/// [`StoreError::OtherLog`], [`StoreError::NoSuchLog`], [`StoreError::Locked`],
/// [`StoreError::Unreachable`]: there was nothing to check. What is damaged
/// is no error but a fault in the report.
pub fn verify_trail(store: &dyn Store, log: &LogId) -> Result<TrailReport, StoreError> {
    verify_trail_knowing(store, log, &Known::default())
}

/// Checks a whole log, and holds it against what is known from elsewhere.
///
/// # Arguments
/// * `known`: checkpoints of this log (others are passed over), and the keys of the benches.
///
/// # Errors
/// As [`verify_trail`].
pub fn verify_trail_knowing(store: &dyn Store, log: &LogId, known: &Known) -> Result<TrailReport, StoreError> {
    let mut check = Check::new(store, log, known)?;
    check.all_entries()?;
    check.finish()
}

/// What a store says about damage; any other trouble ends the check.
fn damage(error: StoreError) -> Result<String, StoreError> {
    match error {
        StoreError::OtherLog { .. }
        | StoreError::NoSuchLog { .. }
        | StoreError::Locked { .. }
        | StoreError::Unreachable { .. }
        | StoreError::Address(_) => Err(error),
        other => Ok(other.to_string()),
    }
}

/// A checkpoint, and whether it is signed by a key that counts or why not.
type Answered = (Checkpoint, Result<(), String>);

/// The state of a check on its way through a log.
struct Check<'a> {
    store: &'a dyn Store,
    log: &'a LogId,
    /// Known checkpoints of this log, the largest first, so that the next one is the last.
    known: Vec<Checkpoint>,
    devices: Vec<PublicKey>,
    /// How many numbers are behind us: the number expected next.
    size: u64,
    n_entries: u64,
    n_checkpoints: u64,
    /// The size of the newest signed checkpoint behind us.
    covered: u64,
    /// The smallest size of a checkpoint not read yet.
    unread: u64,
    newest: Option<Checkpoint>,
    signers: Vec<Fingerprint>,
    /// The tree over the entries as they are now; nothing after an entry that is missing.
    tree: Option<Frontier>,
    /// The tree over the stored hashes, kept only since they began to differ.
    tree_as_stored: Option<Frontier>,
    /// Entries since the last checkpoint whose hash is not the stored one.
    differing: Vec<u64>,
    /// The place of the fault that later roots only repeat.
    adrift: Option<usize>,
    identities: Vec<(EntryId, u64)>,
    last_entry_at: Option<Timestamp>,
    faults: Vec<Fault>,
    clock_steps: Vec<ClockStep>,
}

impl<'a> Check<'a> {
    fn new(store: &'a dyn Store, log: &'a LogId, known: &Known) -> Result<Self, StoreError> {
        // Tells a log that is not here, before anything else is read.
        store.scan(log, 0, &mut |_| ControlFlow::Break(())).or_else(|error| damage(error).map(|_| ()))?;
        let mut faults = Vec::new();
        let devices = match &known.devices {
            Some(devices) => devices.clone(),
            None => store.devices_of(log).or_else(|error| {
                let what = damage(error)?;
                faults.push(Fault::Form { what });
                Ok::<_, StoreError>(Vec::new())
            })?,
        };
        let mut known: Vec<_> = known.checkpoints.iter().filter(|it| it.log == *log).cloned().collect();
        known.sort_by_key(|checkpoint| std::cmp::Reverse(checkpoint.size));
        Ok(Self {
            store,
            log,
            known,
            devices,
            size: 0,
            n_entries: 0,
            n_checkpoints: 0,
            covered: 0,
            unread: 1,
            newest: None,
            signers: Vec::new(),
            tree: Some(Frontier::new()),
            tree_as_stored: None,
            differing: Vec::new(),
            adrift: None,
            identities: Vec::new(),
            last_entry_at: None,
            faults,
            clock_steps: Vec::new(),
        })
    }

    /// Checks the form, all entries, and the checkpoints over them. With several threads the next blocks are read, and the
    /// form is looked at, while these are taken into the tree.
    fn all_entries(&mut self) -> Result<(), StoreError> {
        let mut reader = Reader::new(self.store, self.log);
        // As many as the store says there are, within what is no burden if it is wrong.
        let n = self.store.size(self.log).map_or(0, |size| size.min(ROOM));
        self.identities.reserve(usize::try_from(n).unwrap_or_default());
        let own = if reader.has_others() { self.store.reader() } else { None };
        let mut form = if own.is_none() { reading::form(self.store) } else { Ok(Form::default()) };
        let first = self.faults.len();
        self.known_up_to(0);
        rayon::in_place_scope(|aside| {
            if let Some(own) = own {
                let form = &mut form;
                aside.spawn(move |_| *form = reading::form(&*own));
            }
            let mut blocks = reader.next(self.store)?;
            while !blocks.is_empty() {
                let mut next = Ok(Vec::new());
                if reader.has_others() {
                    rayon::in_place_scope(|aside| {
                        aside.spawn(|_| next = reader.next_of_all());
                        self.take_blocks(blocks)
                    })?;
                } else {
                    self.take_blocks(blocks)?;
                    next = reader.next(self.store);
                }
                blocks = next?;
            }
            Ok::<_, StoreError>(())
        })?;
        let Form { faults, index } = form?;
        // The form is told first, whenever it was read; from here on no fault is looked up by its place.
        self.faults.splice(first..first, faults.into_iter().map(|what| Fault::Form { what }));
        self.hold_identities(index);
        Ok(())
    }

    /// Takes blocks with the checkpoints over them.
    fn take_blocks(&mut self, blocks: Vec<Block>) -> Result<(), StoreError> {
        blocks.into_iter().try_for_each(|block| self.take_block(block))
    }

    fn take_block(&mut self, block: Block) -> Result<(), StoreError> {
        self.faults.extend(block.faults);
        let end = block.entries.last().map_or(self.size, |read| read.number + 1);
        let mut checkpoints = self.read_checkpoints(end)?.into_iter().peekable();
        for read in block.entries {
            // Checkpoints over numbers that are missing come before the next entry that is there.
            if read.number > self.size {
                self.faults.push(Fault::EntriesMissing { first: self.size, last: read.number - 1 });
                (self.tree, self.tree_as_stored) = (None, None);
                while let Some((checkpoint, signed)) =
                    checkpoints.next_if(|(checkpoint, _)| checkpoint.size <= read.number)
                {
                    self.size = checkpoint.size;
                    self.hold_against(&checkpoint, signed);
                }
                self.size = read.number;
                self.known_up_to(self.size);
            }
            let number = read.number;
            self.take(read);
            self.size = number + 1;
            while let Some((checkpoint, signed)) = checkpoints.next_if(|(checkpoint, _)| checkpoint.size <= self.size) {
                self.hold_against(&checkpoint, signed);
            }
            self.known_up_to(self.size);
        }
        Ok(())
    }

    /// Looks for identities that were used twice, and holds all against the index by which the store finds entries.
    fn hold_identities(&mut self, index: Option<(Vec<NumberById>, u64)>) {
        let mut found = std::mem::take(&mut self.identities);
        found.par_sort_unstable();
        let twice = found.windows(2).filter(|pair| pair[0].0 == pair[1].0);
        let twice = twice.map(|pair| Fault::IdentityTwice { id: pair[0].0, first: pair[0].1, second: pair[1].1 });
        self.faults.extend(twice);
        let is_unreadable = |fault: &Fault| matches!(fault, Fault::EntryUnreadable { .. } | Fault::Unreadable { .. });
        let is_readable = !self.faults.iter().any(is_unreadable);
        let Some((index, size)) = index.filter(|_| is_readable) else { return };
        // What was appended between the two readings is in one of them only.
        let end = size.min(self.size);
        let within = |place: &&(EntryId, u64)| place.1 < end;
        let mut entries = found.iter().filter(within).peekable();
        let mut places = index.iter().filter(within).peekable();
        let mut told = 0;
        while told < FORM_FAULTS {
            let what = match (entries.peek(), places.peek()) {
                (None, None) => break,
                (Some(entry), Some(place)) if entry == place => {
                    entries.next();
                    places.next();
                    continue;
                }
                (Some(entry), place) if place.is_none_or(|place| *entry < *place) => {
                    let number = entry.1;
                    entries.next();
                    format!("entry {number} is missing from the index of identities")
                }
                (_, place) => {
                    let number = place.map_or(0, |place| place.1);
                    places.next();
                    format!("the index of identities leads to entry {number}, which has another")
                }
            };
            self.faults.push(Fault::Form { what });
            told += 1;
        }
    }

    /// Reads the checkpoints up to a size, and whether each is signed by a key that counts.
    fn read_checkpoints(&mut self, up_to: u64) -> Result<Vec<Answered>, StoreError> {
        let mut read = Vec::new();
        loop {
            let answer = self.store.checkpoints(self.log, self.unread, &mut |checkpoint| {
                if checkpoint.size > up_to {
                    return ControlFlow::Break(());
                }
                read.push(checkpoint.clone());
                ControlFlow::Continue(())
            });
            match answer {
                Ok(()) => break,
                Err(StoreError::DamagedCheckpoint { size, .. }) if size > up_to => break,
                Err(StoreError::DamagedCheckpoint { size, what }) => {
                    self.faults.push(Fault::CheckpointUnreadable { size, what });
                    self.unread = size + 1;
                }
                Err(error) => {
                    let what = damage(error)?;
                    self.faults.push(Fault::CheckpointUnreadable { size: self.unread, what });
                    break;
                }
            }
        }
        self.unread = up_to.saturating_add(1);
        let devices = &self.devices;
        let with_answer = |checkpoint: Checkpoint| {
            let signed = signed_by_one_of(&checkpoint, devices);
            (checkpoint, signed)
        };
        if read.len() < FEW_SIGNATURES {
            return Ok(read.into_iter().map(with_answer).collect());
        }
        Ok(read.into_par_iter().map(with_answer).collect())
    }

    /// Takes one entry into the tree, and looks at its identity and its time.
    fn take(&mut self, read: Recounted) {
        self.n_entries += 1;
        let Recounted { number, now, kept: stored } = read;
        let mut leaf = None;
        if let Ok(now) = now {
            self.identities.push((now.id, number));
            let before = self.last_entry_at.replace(now.at);
            if let (Some(before), Some(at)) = (before, &self.last_entry_at)
                && before.instant() > at.instant()
            {
                self.clock_steps.push(ClockStep { at: format!("entry {number}"), before, after: at.clone() });
            }
            leaf = Some(now.leaf);
        }
        if leaf != stored {
            self.tree_as_stored = self.tree_as_stored.take().or_else(|| self.tree.clone());
            if leaf.is_some() && stored.is_some() {
                self.differing.push(number);
            }
        }
        // An entry that cannot be read is passed over by its stored hash.
        let grow = |tree: &mut Option<Frontier>, leaf: Option<Hash>| match (tree.as_mut(), leaf) {
            (Some(grown), Some(leaf)) => {
                grown.push(leaf);
            }
            _ => *tree = None,
        };
        grow(&mut self.tree, leaf.or(stored));
        if self.tree_as_stored.is_some() {
            grow(&mut self.tree_as_stored, stored.or(leaf));
        }
    }

    /// Holds the entries behind us against a checkpoint over exactly them.
    fn hold_against(&mut self, checkpoint: &Checkpoint, signed: Result<(), String>) {
        self.n_checkpoints += 1;
        let size = checkpoint.size;
        if let Err(why) = signed {
            // What nobody signed says nothing about the entries.
            self.faults.push(Fault::CheckpointNotSigned { size, why });
            return;
        }
        let before = self.newest.replace(checkpoint.clone()).map(|newest| newest.at);
        if let Some(before) = before.filter(|before| before.instant() > checkpoint.at.instant()) {
            let at = format!("the checkpoint of {size} entries");
            self.clock_steps.push(ClockStep { at, before, after: checkpoint.at.clone() });
        }
        let first = std::mem::replace(&mut self.covered, size);
        if !self.signers.contains(&checkpoint.key) {
            self.signers.push(checkpoint.key);
        }
        let leads_there = |tree: &Option<Frontier>| {
            tree.as_ref().is_some_and(|tree| tree.size() == size && tree.root() == checkpoint.root)
        };
        let differing = std::mem::take(&mut self.differing);
        if leads_there(&self.tree) {
            let altered = |number| Fault::StoredHashChanged { number };
            self.faults.extend(differing.into_iter().map(altered));
            (self.tree_as_stored, self.adrift) = (None, None);
            return;
        }
        self.faults.extend(differing.into_iter().map(|number| Fault::EntryChanged { number }));
        if leads_there(&self.tree_as_stored) {
            self.tree = self.tree_as_stored.take();
            self.adrift = None;
            return;
        }
        let last = size - 1;
        match self.adrift.and_then(|place| self.faults.get_mut(place)) {
            Some(Fault::RootDiffers { last: known_last, .. }) => *known_last = last,
            _ => {
                self.adrift = Some(self.faults.len());
                self.faults.push(Fault::RootDiffers { first, last });
            }
        }
        // The hashes stored on the way may still lead to this root; then the check goes on from it.
        let stored = self.store.frontier(self.log, size).ok().flatten();
        if leads_there(&stored) {
            (self.tree, self.tree_as_stored, self.adrift) = (stored, None, None);
        }
    }

    /// Holds the entries behind us against the known checkpoints of this size and below.
    fn known_up_to(&mut self, size: u64) {
        while let Some(known) = self.known.pop_if(|known| known.size <= size) {
            let leads_there =
                self.tree.as_ref().is_some_and(|tree| tree.size() == known.size && tree.root() == known.root);
            if let Err(why) = signed_by_one_of(&known, &self.devices) {
                self.faults.push(Fault::CheckpointNotSigned { size: known.size, why });
            } else if !leads_there {
                self.faults.push(Fault::KnownRootDiffers { size: known.size, at: known.at });
            }
        }
    }

    fn finish(mut self) -> Result<TrailReport, StoreError> {
        self.faults.extend(self.differing.drain(..).map(|number| Fault::EntryChanged { number }));
        if self.covered < self.size {
            let (first, last) = (self.covered, self.size - 1);
            self.faults.push(Fault::EntriesUnsigned { first, last });
        }
        let beyond = self.read_checkpoints(u64::MAX)?;
        self.n_checkpoints += beyond.len() as u64;
        let signed = beyond.into_iter().filter(|(_, signed)| signed.is_ok());
        let sizes: Vec<u64> = signed.map(|(checkpoint, _)| checkpoint.size).filter(|size| *size > self.size).collect();
        let known = self.known.iter().filter(|known| signed_by_one_of(known, &self.devices).is_ok());
        let n_entries = self.size;
        if let Some(size) = sizes.into_iter().chain(known.map(|known| known.size)).max() {
            self.faults.push(Fault::EndMissing { size, n_entries });
        }
        if self.faults.is_empty() {
            let edge = self.store.frontier(self.log, self.size)?;
            if edge != self.tree {
                self.faults.push(Fault::EdgeChanged);
            }
        }
        let n_blobs = self.check_blobs()?;
        Ok(TrailReport {
            log: self.log.clone(),
            n_entries: self.n_entries,
            n_checkpoints: self.n_checkpoints,
            n_blobs,
            root: self.tree.map(|tree| tree.root()),
            newest: self.newest,
            devices: self.signers,
            faults: self.faults,
            clock_steps: self.clock_steps,
        })
    }

    fn check_blobs(&mut self) -> Result<u64, StoreError> {
        let mut digests = Vec::new();
        let listed = self.store.blob_digests(&mut |digest| {
            digests.push(digest);
            ControlFlow::Continue(())
        });
        if let Err(error) = listed {
            self.faults.push(Fault::BlobsUnreadable { what: damage(error)? });
        }
        for digest in &digests {
            match self.store.blob(digest) {
                Ok(_) => {}
                Err(StoreError::DamagedBlob { .. }) => {
                    self.faults.push(Fault::BlobChanged { digest: *digest });
                }
                Err(error) => self.faults.push(Fault::BlobsUnreadable { what: damage(error)? }),
            }
        }
        Ok(digests.len() as u64)
    }
}

fn signed_by_one_of(checkpoint: &Checkpoint, devices: &[PublicKey]) -> Result<(), String> {
    let device = devices.iter().find(|device| device.fingerprint() == checkpoint.key);
    let Some(device) = device else {
        return Err(format!("the key {} is not among those that count", checkpoint.key));
    };
    checkpoint.verify(device).map_err(|why: CheckpointFault| why.to_string())
}
