//! Tests of single values that lie apart, and of scatter that does.
//!
//! Each answers with a statistic and the critical value for a significance; whether to leave a value out stays with a person.

pub mod cochran;
pub mod dixon;
pub mod double_grubbs;
pub mod grubbs;
pub mod rosner;
pub mod simulated;

/// The end of a series that is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The largest values.
    Highest,
    /// The smallest values.
    Lowest,
    /// Whichever lies further from the mean.
    Either,
}

/// Sorted values; `None` where one is not finite.
fn sorted(x: &[f64]) -> Option<Vec<f64>> {
    if !x.iter().all(|value| value.is_finite()) {
        return None;
    }
    let mut sorted = x.to_vec();
    sorted.sort_by(f64::total_cmp);
    Some(sorted)
}
