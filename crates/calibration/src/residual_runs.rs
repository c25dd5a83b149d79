//! The residual pattern: how often the sign of the residuals changes along the amounts.
//!
//! [`ResidualRuns::of`] counts runs of equal sign over the levels. A bend that a straight line misses shows as few long runs
//! before any sum of squares does; with fewer than about eight levels the pattern can only hint.

use darkline_metrology::kind::Kind;

use crate::calibration_function::CalibrationFunction;
use crate::level::levels;
use crate::point::{Point, count};

/// The runs with the figures behind them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResidualRuns {
    /// Runs of equal sign.
    pub runs: usize,
    /// Levels whose mean lies above the function.
    pub n_above: usize,
    /// Levels whose mean lies below it.
    pub n_below: usize,
    /// The probability of as few runs or fewer if the signs stand in random order.
    pub p: f64,
}

impl ResidualRuns {
    /// The runs of the level means about a function.
    ///
    /// `None` where all means lie on one side, so that nothing can be counted; a mean on the function has no sign.
    ///
    /// # Source
    /// A. Wald, J. Wolfowitz, Ann. Math. Stat. 11 (1940) 147: distribution of the number of runs (from memory).
    pub fn of(function: &dyn CalibrationFunction, points: &[Point]) -> Option<Self> {
        let signs: Vec<bool> = levels(points)
            .iter()
            .filter_map(|level| Some(level.mean()?.si() - function.response(level.amount).si()))
            .filter(|residual| *residual != 0.0)
            .map(|residual| residual > 0.0)
            .collect();
        Self::of_signs(&signs)
    }

    fn of_signs(signs: &[bool]) -> Option<Self> {
        let n_above = signs.iter().filter(|above| **above).count();
        let n_below = signs.len() - n_above;
        if n_above == 0 || n_below == 0 {
            return None;
        }
        let runs = 1 + signs.windows(2).filter(|pair| pair[0] != pair[1]).count();
        let all = combinations(signs.len(), n_above);
        let p = (2..=runs).map(|runs| ways(runs, n_above, n_below)).sum::<f64>() / all;
        Some(Self { runs, n_above, n_below, p: p.min(1.0) })
    }
}

/// Arrangements of so many above and below in exactly so many runs.
fn ways(runs: usize, above: usize, below: usize) -> f64 {
    let half = runs / 2;
    let parts = |of: usize, into: usize| if into == 0 { 0.0 } else { combinations(of - 1, into - 1) };
    if runs.is_multiple_of(2) {
        2.0 * parts(above, half) * parts(below, half)
    } else {
        parts(above, half + 1) * parts(below, half) + parts(above, half) * parts(below, half + 1)
    }
}

fn combinations(n: usize, k: usize) -> f64 {
    if k > n {
        return 0.0;
    }
    (1..=k).fold(1.0, |product, i| product * count(n - k + i) / count(i))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn signs(text: &str) -> Option<ResidualRuns> {
        ResidualRuns::of_signs(&text.chars().map(|c| c == '+').collect::<Vec<_>>())
    }

    #[test]
    fn a_bend_gives_three_long_runs() {
        let found = signs("--++++--").unwrap();
        assert_eq!((found.runs, found.n_above, found.n_below), (3, 4, 4));
        // Of 70 arrangements 2 have two runs and 6 three.
        assert!((found.p - 8.0 / 70.0).abs() < 1e-15);
    }

    #[test]
    fn as_many_runs_as_there_can_be_are_certain() {
        assert_eq!(signs("+-+-+-").unwrap().p, 1.0);
        assert_eq!(signs("+-").unwrap().p, 1.0);
    }

    #[test]
    fn one_side_alone_says_nothing() {
        assert_eq!(signs("++++"), None);
        assert_eq!(signs(""), None);
    }
}
