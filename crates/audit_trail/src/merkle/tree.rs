//! A tree that keeps its nodes and gives proofs for any size it ever had.
//!
//! Only complete subtrees are kept: level 0 are the leaves, node i of level k stands for the
//! leaves i·2^k up to (i+1)·2^k. They never change when leaves are appended, so every earlier
//! tree is still in there. It takes two hashes a leaf.

use super::{Hash, node_hash, root};

/// All complete subtrees over the leaves pushed so far.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Tree {
    levels: Vec<Vec<Hash>>,
}

/// Why the tree cannot give what was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ProofWish {
    /// The tree is smaller than the size asked for.
    #[error("the tree has {held} leaves, {wanted} were asked for")]
    BeyondTree {
        /// The size asked for.
        wanted: u64,
        /// How many leaves there are.
        held: u64,
    },
    /// The leaf does not stand in a tree of that size.
    #[error("leaf {index} does not stand in a tree of {size} leaves")]
    BeyondSize {
        /// The number of the leaf, the first being 0.
        index: u64,
        /// The size of the tree asked about.
        size: u64,
    },
    /// The earlier tree is empty or larger than the later one.
    #[error("a tree of {first} leaves cannot be shown to be the beginning of one of {second}")]
    NotEarlier {
        /// The size of the earlier tree.
        first: u64,
        /// The size of the later tree.
        second: u64,
    },
}

impl Tree {
    /// The tree without leaves.
    pub fn new() -> Self {
        Self::default()
    }

    /// Appends a leaf: at most one hash a level, one on average.
    pub fn push(&mut self, leaf: Hash) {
        let mut node = leaf;
        for level in 0.. {
            if level == self.levels.len() {
                self.levels.push(Vec::new());
            }
            let nodes = &mut self.levels[level];
            nodes.push(node);
            let n_nodes = nodes.len();
            if n_nodes % 2 == 1 {
                return;
            }
            node = node_hash(nodes[n_nodes - 2], node);
        }
    }

    /// How many leaves the tree has.
    pub fn size(&self) -> u64 {
        self.levels.first().map_or(0, |leaves| leaves.len() as u64)
    }

    /// The root of the whole tree.
    pub fn root(&self) -> Hash {
        self.range(0, self.levels.first().map_or(0, Vec::len))
    }

    /// The root the tree had when it had `size` leaves.
    ///
    /// # Errors
    /// [`ProofWish::BeyondTree`]: it never had as many.
    pub fn root_at(&self, size: u64) -> Result<Hash, ProofWish> {
        self.held(size).map(|size| self.range(0, size))
    }

    /// The hashes that lead from a leaf to the root, the leaf's sibling first.
    ///
    /// # Arguments
    /// * `index`: the number of the leaf, the first being 0.
    /// * `size`: the size of the tree whose root is to be reached; `index` < `size`.
    ///
    /// # Errors
    /// * [`ProofWish::BeyondTree`]: the tree is smaller than `size`.
    /// * [`ProofWish::BeyondSize`]: `index` ≥ `size`.
    ///
    /// # Source
    /// RFC 9162, section 2.1.3.1. Checked by `tests/published/rfc_9162.rs`.
    ///
    /// # Example
    /// ```
    /// use darkline_audit_trail::merkle::{Tree, leaf_hash, verify_inclusion};
    /// let mut tree = Tree::new();
    /// for number in 0..12 {
    ///     tree.push(leaf_hash(format!("entry-{number:04}").as_bytes()));
    /// }
    /// let path = tree.inclusion_proof(7, 10)?;
    /// verify_inclusion(leaf_hash(b"entry-0007"), 7, 10, &path, tree.root_at(10)?)?;
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn inclusion_proof(&self, index: u64, size: u64) -> Result<Vec<Hash>, ProofWish> {
        let n_leaves = self.held(size)?;
        if index >= size {
            return Err(ProofWish::BeyondSize { index, size });
        }
        let index = usize::try_from(index).expect("it is below the number of leaves in memory");
        let mut path = Vec::new();
        let (mut from, mut to) = (0, n_leaves);
        // From the root down; the path is wanted from the leaf up.
        while to - from > 1 {
            let middle = from + (to - from).next_power_of_two() / 2;
            if index < middle {
                path.push(self.range(middle, to));
                to = middle;
            } else {
                path.push(self.range(from, middle));
                from = middle;
            }
        }
        path.reverse();
        Ok(path)
    }

    /// The hashes that show that the tree of `first` leaves is the beginning of that of `second`.
    ///
    /// Of two equal sizes the proof is empty: their roots are compared.
    ///
    /// # Errors
    /// * [`ProofWish::BeyondTree`]: the tree is smaller than `second`.
    /// * [`ProofWish::NotEarlier`]: `first` is 0 or larger than `second`.
    ///
    /// # Source
    /// RFC 9162, section 2.1.4.1. Checked by `tests/published/rfc_9162.rs`.
    pub fn consistency_proof(&self, first: u64, second: u64) -> Result<Vec<Hash>, ProofWish> {
        let n_second = self.held(second)?;
        if first == 0 || first > second {
            return Err(ProofWish::NotEarlier { first, second });
        }
        let n_first = usize::try_from(first).expect("it is at most the number of leaves in memory");
        let mut proof = Vec::new();
        let (mut from, mut to) = (0, n_second);
        // From the root down, until the range ends where the first tree ends.
        while to > n_first {
            let middle = from + (to - from).next_power_of_two() / 2;
            if n_first <= middle {
                proof.push(self.range(middle, to));
                to = middle;
            } else {
                proof.push(self.range(from, middle));
                from = middle;
            }
        }
        // The range itself is known to the verifier only if it is the whole first tree.
        if from > 0 {
            proof.push(self.range(from, to));
        }
        proof.reverse();
        Ok(proof)
    }

    /// `size` as a number of leaves in memory, if there are as many.
    fn held(&self, size: u64) -> Result<usize, ProofWish> {
        let held = self.size();
        let beyond = ProofWish::BeyondTree { wanted: size, held };
        usize::try_from(size).ok().filter(|_| size <= held).ok_or(beyond)
    }

    /// The root over the leaves `from` up to `to`; a range that a split of the tree leads to, so
    /// that every complete part of it is kept as a node.
    fn range(&self, from: usize, to: usize) -> Hash {
        let n_leaves = to - from;
        if n_leaves == 0 {
            return root(&[]);
        }
        if n_leaves.is_power_of_two() {
            let level = n_leaves.trailing_zeros();
            return self.levels[level as usize][from >> level];
        }
        let middle = from + n_leaves.next_power_of_two() / 2;
        node_hash(self.range(from, middle), self.range(middle, to))
    }
}

impl FromIterator<Hash> for Tree {
    fn from_iter<I: IntoIterator<Item = Hash>>(leaves: I) -> Self {
        let mut tree = Self::new();
        leaves.into_iter().for_each(|leaf| tree.push(leaf));
        tree
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::merkle::{leaf_hash, verify_consistency, verify_inclusion};
    use proptest::prelude::*;

    fn leaves(n: u64) -> Vec<Hash> {
        (0..n).map(|number| leaf_hash(&number.to_be_bytes())).collect()
    }

    #[test]
    fn the_empty_tree_has_a_root_and_no_proofs() {
        let tree = Tree::new();
        assert_eq!((tree.size(), tree.root()), (0, root(&[])));
        assert_eq!(tree.root_at(0), Ok(root(&[])));
        assert_eq!(tree.root_at(1), Err(ProofWish::BeyondTree { wanted: 1, held: 0 }));
        assert_eq!(tree.inclusion_proof(0, 0), Err(ProofWish::BeyondSize { index: 0, size: 0 }));
        assert_eq!(tree.consistency_proof(0, 0), Err(ProofWish::NotEarlier { first: 0, second: 0 }));
    }

    #[test]
    fn what_the_tree_does_not_hold_is_said() {
        let tree: Tree = leaves(5).into_iter().collect();
        assert_eq!(tree.inclusion_proof(0, 6), Err(ProofWish::BeyondTree { wanted: 6, held: 5 }));
        assert_eq!(tree.inclusion_proof(4, 4), Err(ProofWish::BeyondSize { index: 4, size: 4 }));
        assert_eq!(tree.inclusion_proof(u64::MAX, 4), Err(ProofWish::BeyondSize { index: u64::MAX, size: 4 }));
        assert_eq!(tree.consistency_proof(5, 4), Err(ProofWish::NotEarlier { first: 5, second: 4 }));
        assert_eq!(tree.consistency_proof(1, u64::MAX), Err(ProofWish::BeyondTree { wanted: u64::MAX, held: 5 }));
    }

    /// All leaves and all pairs of sizes up to 40: what the reference pack did up to 33.
    #[test]
    fn every_proof_of_every_small_tree_verifies() {
        let leaves = leaves(40);
        let tree: Tree = leaves.iter().copied().collect();
        let mut n_proofs = 0;
        for size in 1..=40_u64 {
            let size_root = tree.root_at(size).unwrap();
            for index in 0..size {
                let path = tree.inclusion_proof(index, size).unwrap();
                let leaf = leaves[usize::try_from(index).unwrap()];
                assert_eq!(verify_inclusion(leaf, index, size, &path, size_root), Ok(()));
                n_proofs += 1;
            }
            for first in 1..=size {
                let proof = tree.consistency_proof(first, size).unwrap();
                // RFC 6962, section 2.1.2: at most ceil(log2 n) + 1 hashes.
                assert!(proof.len() <= size.next_power_of_two().trailing_zeros() as usize + 1);
                let first_root = tree.root_at(first).unwrap();
                assert_eq!(verify_consistency(first, size, first_root, size_root, &proof), Ok(()));
                n_proofs += 1;
            }
        }
        assert_eq!(n_proofs, 2 * 40 * 41 / 2);
    }

    proptest! {
        #[test]
        fn a_tree_grown_leaf_by_leaf_is_the_tree_of_the_definition(n in 0..600_u64, size: u64) {
            let leaves = leaves(n);
            let tree: Tree = leaves.iter().copied().collect();
            prop_assert_eq!(tree.root(), root(&leaves));
            let size = size % (n + 1);
            prop_assert_eq!(tree.root_at(size), Ok(root(&leaves[..usize::try_from(size).unwrap()])));
        }

        #[test]
        fn proofs_of_any_size_verify_and_for_nothing_else(
            n in 2..800_u64, index: u64, size: u64, first: u64, flip: usize,
        ) {
            let leaves = leaves(n);
            let tree: Tree = leaves.iter().copied().collect();
            let size = 2 + size % (n - 1);
            let index = index % size;
            let first = 1 + first % (size - 1);
            let size_root = tree.root_at(size).unwrap();

            let leaf = leaves[usize::try_from(index).unwrap()];
            let mut path = tree.inclusion_proof(index, size).unwrap();
            prop_assert_eq!(verify_inclusion(leaf, index, size, &path, size_root), Ok(()));
            prop_assert!(verify_inclusion(leaf, index ^ 1, size, &path, size_root).is_err());
            prop_assert!(verify_inclusion(leaf, index, size, &path[1..], size_root).is_err());
            let place = flip % path.len();
            path[place] = leaf_hash(b"another entry");
            prop_assert!(verify_inclusion(leaf, index, size, &path, size_root).is_err());

            let first_root = tree.root_at(first).unwrap();
            let mut proof = tree.consistency_proof(first, size).unwrap();
            prop_assert_eq!(verify_consistency(first, size, first_root, size_root, &proof), Ok(()));
            prop_assert!(verify_consistency(first, size, size_root, first_root, &proof).is_err());
            prop_assert!(verify_consistency(first, size, first_root, size_root, &proof[1..]).is_err());
            let place = flip % proof.len();
            proof[place] = leaf_hash(b"another entry");
            prop_assert!(verify_consistency(first, size, first_root, size_root, &proof).is_err());
        }
    }
}
