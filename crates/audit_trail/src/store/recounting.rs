//! Entries looked at again: what each is now, and the hash that was stored with it.

use std::ops::ControlFlow;

use crate::{Entry, EntryId, Hash, LogId, Store, StoreError, Timestamp};

/// As many entries, or as many bytes, before their stored hashes are read.
const PORTION: usize = 2048;
const PORTION_BYTES: usize = 32 << 20;

/// An entry as it stands in a store, whatever was done to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Recounted {
    /// Its number.
    pub number: u64,
    /// What it is now, or why it cannot be read.
    pub now: Result<Now, String>,
    /// The hash that was stored with it, where that can be read.
    pub kept: Option<Hash>,
}

/// What a check keeps of an entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Now {
    /// Its identity.
    pub id: EntryId,
    /// Its time.
    pub at: Timestamp,
    /// Its hash, of its bytes as they are.
    pub leaf: Hash,
    /// How many opaque bytes it has.
    pub n_bytes: usize,
}

impl Now {
    /// What is kept of an entry that was read as a whole.
    pub(crate) fn of(entry: &Entry) -> Self {
        Self { id: entry.id, at: entry.at.clone(), leaf: entry.leaf_hash(), n_bytes: entry.bytes.len() }
    }
}

/// The identity of an entry and the number that it leads to.
pub type NumberById = (EntryId, u64);

/// The form of a store, as far as it is looked at for a check of all its entries.
#[derive(Debug, Clone, Default)]
pub struct Form {
    /// What is not as the store was made; one sentence each.
    pub faults: Vec<String>,
    /// The numbers by identity as the store finds them, sorted, and how many entries there were before it was read; nothing
    /// where the faults tell about it already.
    pub index: Option<(Vec<NumberById>, u64)>,
}

/// Recounts a log in two passes, for a store that has no quicker way.
pub(super) fn in_two_passes<S: Store + ?Sized>(
    store: &S,
    log: &LogId,
    mut from: u64,
    visit: &mut dyn FnMut(Recounted) -> ControlFlow<()>,
) -> Result<(), StoreError> {
    loop {
        let mut portion = Vec::new();
        let (mut n_bytes, mut more) = (0, false);
        let mut next = from;
        let mut ended = loop {
            let answer = store.scan(log, next, &mut |entry| {
                n_bytes += entry.bytes.len();
                let now = Now::of(entry);
                portion.push(Recounted { number: entry.number, now: Ok(now), kept: None });
                more = portion.len() >= PORTION || n_bytes >= PORTION_BYTES;
                if more { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
            });
            match answer {
                Err(StoreError::DamagedEntry { number, what }) => {
                    portion.push(Recounted { number, now: Err(what), kept: None });
                    next = number.saturating_add(1);
                }
                other => break other,
            }
        };
        let mut unread = portion.iter_mut().peekable();
        let mut next = from;
        while unread.peek().is_some() {
            let answer = store.leaves(log, next, &mut |number, leaf| {
                while let Some(found) = unread.next_if(|found| found.number <= number) {
                    if found.number == number {
                        found.kept = Some(leaf);
                    }
                }
                if unread.peek().is_some() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
            });
            match answer {
                Err(StoreError::DamagedEntry { number, .. }) => next = number.saturating_add(1),
                // What cannot be read is said once, by the entries themselves.
                _ => break,
            }
        }
        from = portion.last().map_or(from, |found| found.number.saturating_add(1));
        for found in portion {
            if visit(found).is_break() {
                (more, ended) = (false, Ok(()));
                break;
            }
        }
        if ended.is_err() || !more {
            return ended;
        }
    }
}
