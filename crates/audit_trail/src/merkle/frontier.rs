//! The growing edge of a tree: all that is needed to append the next leaf.
//!
//! A tree of n leaves is a row of complete subtrees, one for each 1 in the binary form of n, the
//! largest first; [`Frontier`] keeps their roots and nothing else. A writer at entry one million
//! keeps at most twenty hashes.

use super::{Hash, node_hash};

/// The roots of the complete subtrees of a tree, the largest and oldest first.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Frontier {
    size: u64,
    peaks: Vec<Hash>,
}

impl Frontier {
    /// The edge of the empty tree.
    pub fn new() -> Self {
        Self::default()
    }

    /// Puts an edge together again from its stored parts.
    ///
    /// # Arguments
    /// * `size`: the number of leaves.
    /// * `peaks`: the roots of the complete subtrees, largest first, one for each 1 in the binary
    ///   form of `size`. Whether they belong to a tree shows only in [`Frontier::root`].
    ///
    /// Gives nothing when the number of roots is another one.
    pub fn from_peaks(size: u64, peaks: Vec<Hash>) -> Option<Self> {
        (usize::try_from(size.count_ones()) == Ok(peaks.len())).then_some(Self { size, peaks })
    }

    /// The numbers of the leaves at which the complete subtrees of a tree of `size` leaves end,
    /// largest subtree first.
    ///
    /// [`Frontier::push`] gives the root of that subtree when that leaf is pushed; who keeps what
    /// it gives can put the edge of any earlier tree together again.
    pub fn peak_ends(size: u64) -> Vec<u64> {
        let mut ends = Vec::new();
        let mut end = 0;
        for bit in (0..u64::BITS).rev().map(|power| 1 << power) {
            if size & bit != 0 {
                end |= bit;
                ends.push(end - 1);
            }
        }
        ends
    }

    /// Appends a leaf; gives the root of the largest complete subtree that ends with it.
    ///
    /// Takes as many hashes as the binary form of the old size ends in 1s: one on average, the
    /// logarithm of the size at most.
    pub fn push(&mut self, leaf: Hash) -> Hash {
        let mut subtree = leaf;
        for _ in 0..self.size.trailing_ones() {
            let left = self.peaks.pop().expect("there is one peak for each 1 of the size");
            subtree = node_hash(left, subtree);
        }
        self.peaks.push(subtree);
        self.size += 1;
        subtree
    }

    /// How many leaves the tree has.
    pub fn size(&self) -> u64 {
        self.size
    }

    /// The root of the tree.
    pub fn root(&self) -> Hash {
        let mut newest_first = self.peaks.iter().rev();
        let Some(smallest) = newest_first.next() else {
            return super::root(&[]);
        };
        newest_first.fold(*smallest, |right, left| node_hash(*left, right))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::merkle::{leaf_hash, root};

    #[test]
    fn the_edge_of_every_size_up_to_70_has_the_root_of_the_definition() {
        let mut leaves = Vec::new();
        let mut frontier = Frontier::new();
        for number in 0..70_u8 {
            assert_eq!((frontier.size(), frontier.root()), (u64::from(number), root(&leaves)));
            assert_eq!(frontier.peaks.len(), Frontier::peak_ends(frontier.size()).len());
            let leaf = leaf_hash(&[number]);
            leaves.push(leaf);
            frontier.push(leaf);
        }
    }

    #[test]
    fn what_push_gave_puts_every_earlier_edge_together_again() {
        let mut subtrees = Vec::new();
        let mut frontier = Frontier::new();
        for number in 0..70_u8 {
            subtrees.push(frontier.push(leaf_hash(&[number])));
            let size = frontier.size();
            let peaks = Frontier::peak_ends(size).into_iter();
            let peaks = peaks.map(|end| subtrees[usize::try_from(end).unwrap()]).collect();
            assert_eq!(Frontier::from_peaks(size, peaks), Some(frontier.clone()));
        }
    }

    #[test]
    fn peaks_end_where_the_binary_form_says() {
        assert!(Frontier::peak_ends(0).is_empty());
        assert_eq!(Frontier::peak_ends(1), [0]);
        assert_eq!(Frontier::peak_ends(7), [3, 5, 6]);
        assert_eq!(Frontier::peak_ends(12), [7, 11]);
        assert_eq!(Frontier::peak_ends(u64::MAX).len(), 64);
    }

    #[test]
    fn another_number_of_peaks_is_no_edge() {
        assert_eq!(Frontier::from_peaks(3, vec![leaf_hash(b"")]), None);
        assert_eq!(Frontier::from_peaks(0, vec![]), Some(Frontier::new()));
    }
}
