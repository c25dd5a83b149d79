//! The Merkle tree of a log: one hash that stands for all entries and their order.
//!
//! A leaf is SHA-256 of 00 and the stored bytes of an entry; a node is SHA-256 of 01 and its two
//! children. The left side of every node is the largest complete subtree that leaves something
//! for the right; nothing is padded or doubled. Two trees differ in size or in any entry, then
//! they differ in their root.
//!
//! * [`root`] says what the tree is; [`Frontier`] grows it and keeps a few hashes only, which is
//!   what a writer needs; [`Tree`] keeps all nodes and gives proofs.
//! * [`verify_inclusion`] and [`verify_consistency`] need neither tree nor entries.
//!
//! What the arithmetic of an inclusion proof does not show: the size of the tree, and that the
//! hash handed in is a leaf and no inner node. Take size and root from a signed checkpoint and
//! the leaf from the entry's bytes; [`crate::EntryProof`] does so.
//!
//! Source: RFC 9162, section 2.1; the same tree as RFC 6962, section 2.1.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::hexadecimal::hexadecimal_text;

pub use frontier::Frontier;
pub use proof::{NotProven, verify_consistency, verify_inclusion};
pub use tree::{ProofWish, Tree};

mod frontier;
mod proof;
mod tree;

/// The byte before the stored bytes of an entry in the hash of a leaf (RFC 9162, section 2.1.1).
pub(crate) const LEAF_PREFIX: u8 = 0;
/// The byte before the two children in the hash of a node (RFC 9162, section 2.1.1).
const NODE_PREFIX: u8 = 1;

/// A SHA-256 hash: of a leaf, a node, or a whole tree.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Hash([u8; 32]);

hexadecimal_text!(Hash, 32, "a hash");

impl Hash {
    /// Makes a hash of 32 bytes that are one.
    pub fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }
}

/// The hash of one leaf: SHA-256(00 || data).
///
/// # Source
/// RFC 9162, section 2.1.1. Checked by `tests/published/rfc_9162.rs`.
pub fn leaf_hash(data: &[u8]) -> Hash {
    Hash(Sha256::new().chain_update([LEAF_PREFIX]).chain_update(data).finalize().into())
}

/// The hash of a node over its two children: SHA-256(01 || left || right).
///
/// # Source
/// RFC 9162, section 2.1.1. Checked by `tests/published/rfc_9162.rs`.
pub fn node_hash(left: Hash, right: Hash) -> Hash {
    let mut node = [NODE_PREFIX; 65];
    node[1..33].copy_from_slice(&left.0);
    node[33..].copy_from_slice(&right.0);
    Hash(Sha256::digest(node).into())
}

/// The root of the tree over these leaf hashes; of no leaves, SHA-256 of nothing.
///
/// # Source
/// RFC 9162, section 2.1.1. Checked by `tests/published/rfc_9162.rs`.
///
/// # Example
/// ```
/// use darkline_audit_trail::merkle;
/// let leaves = [b"a", b"b", b"c"].map(|data| merkle::leaf_hash(data));
/// let left = merkle::node_hash(leaves[0], leaves[1]);
/// assert_eq!(merkle::root(&leaves), merkle::node_hash(left, leaves[2]));
/// ```
pub fn root(leaves: &[Hash]) -> Hash {
    match leaves {
        [] => Hash(Sha256::digest([]).into()),
        [leaf] => *leaf,
        _ => {
            let (left, right) = leaves.split_at(leaves.len().next_power_of_two() / 2);
            node_hash(root(left), root(right))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_doubled_last_leaf_gives_another_root() {
        let [a, b, c] = [b"a", b"b", b"c"].map(|data| leaf_hash(data));
        assert_ne!(root(&[a, b, c]), root(&[a, b, c, c]));
    }

    #[test]
    fn order_counts() {
        let [a, b] = [b"a", b"b"].map(|data| leaf_hash(data));
        assert_ne!(root(&[a, b]), root(&[b, a]));
    }

    #[test]
    fn a_leaf_of_two_hashes_is_not_their_node() {
        let [a, b] = [b"a", b"b"].map(|data| leaf_hash(data));
        let together = [*a.as_bytes(), *b.as_bytes()].concat();
        assert_ne!(leaf_hash(&together), node_hash(a, b));
    }
}
