//! Checking proofs: that a leaf stands in a tree, that one tree is the beginning of another.
//!
//! Neither the entries nor a tree are needed, only the roots that somebody signed.

use super::{Hash, node_hash};

/// Why a proof does not show what it should.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotProven {
    /// The leaf cannot stand in a tree of that size.
    #[error("leaf {index} does not stand in a tree of {size} leaves")]
    BeyondSize {
        /// The number of the leaf, the first being 0.
        index: u64,
        /// The size of the tree.
        size: u64,
    },
    /// The earlier tree is empty or larger than the later one.
    #[error("a tree of {first} leaves cannot be the beginning of one of {second}")]
    NotEarlier {
        /// The size of the earlier tree.
        first: u64,
        /// The size of the later tree.
        second: u64,
    },
    /// There are more or fewer hashes than the sizes ask for.
    #[error("the proof has {found} hashes, which does not fit the sizes it is for")]
    OtherLength {
        /// How many hashes the proof has.
        found: usize,
    },
    /// The hashes lead to another root than the one that was signed.
    #[error("the proof leads to the root {found}, signed was {wanted}")]
    OtherRoot {
        /// The root the proof leads to.
        found: Hash,
        /// The root that was signed.
        wanted: Hash,
    },
}

/// Checks that a leaf stands at its place in the tree with this size and root.
///
/// # Arguments
/// * `leaf`: the leaf hash, worked out from the stored bytes of the entry, never taken from
///   whoever sent the proof.
/// * `index`: the number of the leaf, the first being 0.
/// * `size`, `root`: of the tree, from a signed checkpoint. The arithmetic alone cannot tell a
///   wrong size whose path has the same shape.
/// * `path`: the hashes from the leaf's sibling to the child of the root.
///
/// # Errors
/// [`NotProven`]: leaf beyond the size, a path of another length, another root.
///
/// # Source
/// RFC 9162, section 2.1.3.2. Checked by `tests/published/rfc_9162.rs`.
pub fn verify_inclusion(leaf: Hash, index: u64, size: u64, path: &[Hash], root: Hash) -> Result<(), NotProven> {
    if index >= size {
        return Err(NotProven::BeyondSize { index, size });
    }
    let mut place = Place { leaf: index, last: size - 1 };
    let mut found = leaf;
    for sibling in path {
        found = match place.climb().ok_or(NotProven::OtherLength { found: path.len() })? {
            Sibling::Left => node_hash(*sibling, found),
            Sibling::Right => node_hash(found, *sibling),
        };
    }
    if place.last != 0 {
        return Err(NotProven::OtherLength { found: path.len() });
    }
    same_root(found, root)
}

/// Checks that the tree of `first` leaves is the beginning of the tree of `second` leaves.
///
/// # Arguments
/// * `first`, `first_root`: from the earlier signed checkpoint; `first` ≥ 1.
/// * `second`, `second_root`: from the later signed checkpoint; `second` ≥ `first`.
/// * `proof`: the hashes of [`super::Tree::consistency_proof`]; none for equal sizes.
///
/// # Errors
/// [`NotProven`]: sizes in the wrong order, a proof of another length, another root.
///
/// # Source
/// RFC 9162, section 2.1.4.2. Checked by `tests/published/rfc_9162.rs`.
pub fn verify_consistency(
    first: u64,
    second: u64,
    first_root: Hash,
    second_root: Hash,
    proof: &[Hash],
) -> Result<(), NotProven> {
    if first == 0 || first > second {
        return Err(NotProven::NotEarlier { first, second });
    }
    let other_length = NotProven::OtherLength { found: proof.len() };
    if first == second {
        return if proof.is_empty() { same_root(first_root, second_root) } else { Err(other_length) };
    }
    let mut place = Place { leaf: first - 1, last: second - 1 };
    while place.leaf % 2 == 1 {
        place.up();
    }
    // A first tree that is complete is its own first hash; the proof leaves it out.
    let (start, rest) = match (first.is_power_of_two(), proof) {
        (_, []) => return Err(other_length),
        (true, all) => (first_root, all),
        (false, [start, rest @ ..]) => (*start, rest),
    };
    let (mut found_first, mut found_second) = (start, start);
    for sibling in rest {
        match place.climb().ok_or(other_length)? {
            Sibling::Left => {
                found_first = node_hash(*sibling, found_first);
                found_second = node_hash(*sibling, found_second);
            }
            Sibling::Right => found_second = node_hash(found_second, *sibling),
        }
    }
    if place.last != 0 {
        return Err(other_length);
    }
    same_root(found_first, first_root)?;
    same_root(found_second, second_root)
}

fn same_root(found: Hash, wanted: Hash) -> Result<(), NotProven> {
    if found == wanted { Ok(()) } else { Err(NotProven::OtherRoot { found, wanted }) }
}

/// On which side the next hash of a proof stands.
enum Sibling {
    Left,
    Right,
}

/// A node on its way to the root: its own number and that of the last node, on its level
/// (`fn` and `sn` of the RFC).
struct Place {
    leaf: u64,
    last: u64,
}

impl Place {
    fn up(&mut self) {
        self.leaf >>= 1;
        self.last >>= 1;
    }

    /// Goes one step up and says on which side the sibling stood; nothing above the root.
    fn climb(&mut self) -> Option<Sibling> {
        if self.last == 0 {
            return None;
        }
        let sibling = if self.leaf % 2 == 1 || self.leaf == self.last {
            // The last node of an uneven level has no sibling there: up to where it has one.
            while self.leaf != 0 && self.leaf.is_multiple_of(2) {
                self.up();
            }
            Sibling::Left
        } else {
            Sibling::Right
        };
        self.up();
        Some(sibling)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::merkle::leaf_hash;
    use proptest::prelude::*;

    #[test]
    fn the_largest_sizes_get_an_answer() {
        let leaf = leaf_hash(b"");
        let long = [leaf; 64];
        let other_length = |found| Err(NotProven::OtherLength { found });
        assert_eq!(verify_inclusion(leaf, u64::MAX - 1, u64::MAX, &[], leaf), other_length(0));
        assert_eq!(verify_inclusion(leaf, 0, 1, &long, leaf), other_length(64));
        assert!(matches!(verify_inclusion(leaf, 0, u64::MAX, &long, leaf), Err(NotProven::OtherRoot { .. })));
        assert_eq!(verify_consistency(1, u64::MAX, leaf, leaf, &[leaf]), other_length(1));
        assert_eq!(verify_consistency(0, 1, leaf, leaf, &[]), Err(NotProven::NotEarlier { first: 0, second: 1 }));
        assert_eq!(verify_consistency(3, 3, leaf, leaf, &[leaf]), other_length(1));
    }

    proptest! {
        #[test]
        fn made_up_proofs_get_an_answer_and_show_nothing(
            index: u64, size: u64, hashes in proptest::collection::vec(any::<[u8; 32]>(), 0..70),
        ) {
            let path: Vec<Hash> = hashes.into_iter().map(Hash::from_bytes).collect();
            let (leaf, root) = (leaf_hash(b"leaf"), leaf_hash(b"root"));
            prop_assert!(verify_inclusion(leaf, index, size, &path, root).is_err());
            prop_assert!(verify_consistency(index, size, leaf, root, &path).is_err());
        }
    }
}
