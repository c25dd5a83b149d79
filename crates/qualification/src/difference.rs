//! Differences: figures of the shipped cases where the source is wrong or we differ from it on purpose.
//!
//! Each names the figure as it is printed and what we find in its place; anything else there is a disagreement.

use crate::answer::Answer;

/// A figure that differs, and why.
struct Difference {
    case: &'static str,
    key: &'static str,
    printed: &'static str,
    /// What we find, to 1e-9 of itself.
    found: f64,
    why: &'static str,
}

/// All of them.
const KNOWN: &[Difference] = &[Difference {
    case: "stock-gravimetric-factors",
    key: "item[9].M",
    printed: "249.677043",
    found: 249.677,
    why: "no sum of the case's own atomic weights gives the last two digits, those of manganese: \
          63.546 + 32.06 + 9 × 15.999 + 10 × 1.008 = 249.677",
}];

/// Why this figure of this case differs, where it is known to.
pub(crate) fn known(case: &str, key: &str, printed: &str, found: &Answer) -> Option<&'static str> {
    let found = found.number()?;
    let same = |known: &&Difference| {
        known.case == case
            && known.key == key
            && known.printed == printed
            && (found - known.found).abs() <= 1e-9 * known.found.abs()
    };
    KNOWN.iter().find(same).map(|known| known.why)
}
