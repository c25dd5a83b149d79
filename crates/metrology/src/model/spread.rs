//! The draw of an estimated standard deviation: √(ν/χ²) as a smooth function of a normal deviate.
//!
//! The quantile of χ² costs a search, a hundred times what a normal deviate does. Its logarithm as a function of the normal
//! deviate of the same probability is smooth, so a polynomial for each quarter of a unit stands in for it.
//!
//! Source: JCGM 101:2008, 6.4.9.2, for the scaled t; the interpolation at Chebyshev nodes is our own, held by its test.
//!
//! Invariant: within 10⁻¹¹ of the quantile itself, for every draw there is.

use crate::distribution::{chi_squared, normal};

/// Nodes a cell.
const N: usize = 8;
/// Cells a unit.
const CELLS: f64 = 4.0;
/// The deviate of the smallest probability drawn, 2⁻³², is −6.23.
const REACH: f64 = 6.5;

/// What draws of a normal source are multiplied with when its standard deviation was estimated.
pub(super) struct Spread {
    /// Nodes within a cell, from −1 to 1.
    nodes: [f64; N],
    /// Newton's coefficients of ln √(ν/χ²), cell by cell from below.
    cells: Vec<[f64; N]>,
}

impl Spread {
    /// For `dof` ≥ 1 degrees of freedom.
    pub fn new(dof: f64) -> Self {
        let mut nodes = [0.0; N];
        for (node, odd) in nodes.iter_mut().zip((1..).step_by(2)) {
            *node = libm::cos(f64::from(odd) * std::f64::consts::PI / (2.0 * N as f64));
        }
        let n_cells = (2.0 * REACH * CELLS) as u32;
        let cells = (0..n_cells)
            .map(|cell| {
                let middle = (f64::from(cell) + 0.5) / CELLS - REACH;
                let mut newton = nodes.map(|node| log_spread(middle + 0.5 * node / CELLS, dof));
                // Divided differences, in place.
                for order in 1..N {
                    for i in (order..N).rev() {
                        newton[i] = (newton[i] - newton[i - 1]) / (nodes[i] - nodes[i - order]);
                    }
                }
                newton
            })
            .collect();
        Self { nodes, cells }
    }

    /// √(ν/χ²) where χ² has the probability of this standard normal deviate.
    pub fn of(&self, deviate: f64) -> f64 {
        let place = (deviate + REACH) * CELLS;
        let cell = (place as usize).min(self.cells.len() - 1);
        let within = 2.0 * (place - cell as f64) - 1.0;
        let newton = &self.cells[cell];
        let mut value = newton[N - 1];
        for i in (0..N - 1).rev() {
            value = value * (within - self.nodes[i]) + newton[i];
        }
        libm::exp(value)
    }
}

/// ln √(ν/χ²), from the tail that has the digits.
fn log_spread(deviate: f64, dof: f64) -> f64 {
    let tail = normal::lower_tail_of(-deviate.abs());
    let chi_squared =
        if deviate < 0.0 { chi_squared::quantile(tail, dof) } else { chi_squared::upper_quantile(tail, dof) };
    // So many degrees of freedom that there is no answer are as good as known.
    chi_squared.map_or(0.0, |chi_squared| 0.5 * libm::log(dof / chi_squared))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::distribution::draw;
    use proptest::prelude::*;

    #[test]
    fn the_ends_of_the_draws_lie_within_the_cells() {
        let (lowest, highest) = (draw::normal(0), draw::normal(u32::MAX));
        assert!(lowest > -REACH && highest < REACH, "{lowest} {highest}");
        for dof in [1.0, 2.5, 30.0, 1e12, 1e300] {
            let spread = Spread::new(dof);
            assert!(spread.of(lowest) >= 1.0 && spread.of(highest) <= 1.0, "{dof}");
        }
    }

    proptest! {
        #[test]
        fn the_polynomials_stand_in_for_the_quantile(
            dof in prop_oneof![1.0..3.0_f64, 3.0..200.0_f64, 200.0..1e9_f64], words in prop::collection::vec(any::<u32>(), 20),
            rare in prop::collection::vec(-6.4..6.4_f64, 20),
        ) {
            let spread = Spread::new(dof);
            for deviate in words.into_iter().map(draw::normal).chain(rare) {
                let exact = libm::exp(log_spread(deviate, dof));
                prop_assert!((spread.of(deviate) / exact - 1.0).abs() < 1e-11, "{dof} {deviate}");
            }
        }
    }
}
