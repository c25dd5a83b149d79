//! The sources of a tape found by their names.
//!
//! Looked up once for each source of each input, which is most of what writing a budget costs: hence slots by a hash of the
//! name rather than a tree. Nothing ever walks the slots, so that their order reaches no figure.

use super::tape::KnownSource;

/// Slots for places in a list of sources.
#[derive(Debug, Default)]
pub(super) struct SourceIndex {
    /// A power of two of them, at most half taken.
    slots: Vec<Option<u32>>,
    n_taken: usize,
}

impl SourceIndex {
    /// The place of the source of this name; where there is none, the next place is noted for it.
    ///
    /// # Errors
    /// The next place, where the source now has to be put.
    pub fn find_or_note(&mut self, name: &str, sources: &[KnownSource]) -> Result<u32, u32> {
        if 2 * (self.n_taken + 1) > self.slots.len() {
            self.grow(sources);
        }
        let mut slot = self.first_slot(name);
        while let Some(place) = self.slots[slot] {
            if sources[place as usize].id.as_str() == name {
                return Ok(place);
            }
            slot = self.after(slot);
        }
        let next = u32::try_from(sources.len()).expect("sources are fewer than terms");
        self.slots[slot] = Some(next);
        self.n_taken += 1;
        Err(next)
    }

    fn grow(&mut self, sources: &[KnownSource]) {
        self.slots = vec![None; (2 * self.slots.len()).max(128)];
        for (place, source) in (0..).zip(sources) {
            let mut slot = self.first_slot(source.id.as_str());
            while self.slots[slot].is_some() {
                slot = self.after(slot);
            }
            self.slots[slot] = Some(place);
        }
    }

    fn first_slot(&self, name: &str) -> usize {
        (hash(name.as_bytes()) >> 32) as usize & (self.slots.len() - 1)
    }

    fn after(&self, slot: usize) -> usize {
        (slot + 1) & (self.slots.len() - 1)
    }
}

/// Eight bytes at a time, each multiplied in.
fn hash(name: &[u8]) -> u64 {
    // 2⁶⁴ over the golden ratio, made odd.
    const FACTOR: u64 = 0x9e37_79b9_7f4a_7c15;
    let (whole, rest) = name.as_chunks::<8>();
    let mut last = [0; 8];
    last[..rest.len()].copy_from_slice(rest);
    let mut hash = name.len() as u64;
    for bytes in whole.iter().chain(std::iter::once(&last)) {
        hash = (hash.rotate_left(29) ^ u64::from_le_bytes(*bytes)).wrapping_mul(FACTOR);
        hash ^= hash >> 32;
    }
    hash.wrapping_mul(FACTOR)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::{Shape, SourceId};
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn every_name_is_found_at_its_place_and_no_other(names in prop::collection::btree_set("[a-c/]{0,12}", 0..300)) {
            let (mut index, mut sources) = (SourceIndex::default(), Vec::new());
            for (next, name) in (0..).zip(&names) {
                prop_assert_eq!(index.find_or_note(name, &sources), Err(next));
                sources.push(KnownSource { id: SourceId::new(name), dof: 1.0, pool: None, shape: Shape::Normal });
            }
            for (place, name) in (0..).zip(&names) {
                prop_assert_eq!(index.find_or_note(name, &sources), Ok(place));
            }
        }
    }
}
