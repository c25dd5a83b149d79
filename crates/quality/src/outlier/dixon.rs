//! Dixon's ratios: gaps at an end of a series over its range, with exact critical values.

use darkline_metrology::distribution::{gamma, normal};

use super::End;
use crate::tail_point::tail_point;

/// Which ratio: r_ji = (x_n − x_(n−j))/(x_n − x_(i+1)) for the high end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ratio {
    /// j: the gap is to the j-th value from the end.
    pub gap: u8,
    /// i: so many values at the other end do not count.
    pub left_out: u8,
}

impl Ratio {
    /// r10, r11, r12, r20, r21 and r22.
    pub const ALL: [Ratio; 6] = [
        Ratio { gap: 1, left_out: 0 },
        Ratio { gap: 1, left_out: 1 },
        Ratio { gap: 1, left_out: 2 },
        Ratio { gap: 2, left_out: 0 },
        Ratio { gap: 2, left_out: 1 },
        Ratio { gap: 2, left_out: 2 },
    ];

    /// The ratio of a name such as `r21`.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|ratio| ratio.name() == name)
    }

    /// Its name.
    pub fn name(self) -> String {
        format!("r{}{}", self.gap, self.left_out)
    }

    /// The ratio for a number of values.
    ///
    /// # Source
    /// Size rule of ASTM E178: 3 to 7 r10, 8 to 10 r11, 11 to 13 r21, 14 to 30 r22.
    pub fn for_size(n: usize) -> Option<Self> {
        Self::from_name(match n {
            3..=7 => "r10",
            8..=10 => "r11",
            11..=13 => "r21",
            14..=30 => "r22",
            _ => return None,
        })
    }

    /// The ratio of a series; `None` where it has too few values or no range.
    ///
    /// # Source
    /// W. J. Dixon, Ann. Math. Statist. 22 (1951) 68-78.
    pub fn of(self, x: &[f64], end: End) -> Option<f64> {
        let mut x = super::sorted(x)?;
        let (gap, left_out) = (usize::from(self.gap), usize::from(self.left_out));
        if x.len() < gap + left_out + 2 {
            return None;
        }
        match end {
            End::Highest => {}
            End::Lowest => x = x.iter().rev().map(|value| -value).collect(),
            End::Either => {
                let high = self.of(&x, End::Highest)?;
                return Some(high.max(self.of(&x, End::Lowest)?));
            }
        }
        let last = x[x.len() - 1];
        let range = last - x[left_out];
        if range == 0.0 { None } else { Some((last - x[x.len() - 1 - gap]) / range) }
    }

    /// The upper critical value for a named end; the two-sided one for P is this for P/2.
    ///
    /// # Arguments
    /// * `n`: up to 200 values.
    ///
    /// # Source
    /// The double integral of W. J. Dixon (1951); two-sided reading of D. B. Rorabacher, Anal. Chem. 63 (1991) 139-146.
    pub fn critical(self, n: usize, significance: f64) -> Option<f64> {
        let (gap, left_out) = (usize::from(self.gap), usize::from(self.left_out));
        if n < gap + left_out + 2 || n > LONGEST || !(significance > 0.0 && significance < 1.0) {
            return None;
        }
        let between = n - left_out - 2;
        if gap > between + 1 {
            return None;
        }
        let log_factorial = |k: usize| gamma::log_gamma(k as f64 + 1.0);
        let log_factor = log_factorial(n)? - log_factorial(left_out)? - log_factorial(between)?;
        let grid: Vec<f64> =
            (0..=N_Y).map(|place| normal::cdf(FROM + STEP * place as f64).unwrap_or(f64::NAN)).collect();
        let tail = |q: f64| self.probability_above(q, between, log_factor, &grid);
        Some(tail_point(tail, significance, 1e-9, 1.0 - 1e-9))
    }

    /// The probability of a ratio above q.
    fn probability_above(self, q: f64, between: usize, log_factor: f64, grid: &[f64]) -> f64 {
        let m = between as f64;
        let mut sum = 0.0;
        // x is the value below, y = x + t the highest; x on whole steps, t by Simpson's rule.
        for x_place in (0..N_X).step_by(2) {
            let x = FROM + STEP * x_place as f64;
            let at_x = grid[x_place];
            let log_x = f64::from(self.left_out) * libm::log(at_x) - 0.5 * x * x;
            let mut inner = 0.0;
            for t_place in 1..=N_T {
                let t = STEP * t_place as f64;
                let y = x + t;
                let inside = grid[x_place + t_place] - at_x;
                if inside <= 0.0 {
                    continue;
                }
                let h = ((normal::cdf(x + (1.0 - q) * t).unwrap_or(f64::NAN) - at_x) / inside).clamp(0.0, 1.0);
                let kept = if self.gap == 1 {
                    power(h, between)
                } else {
                    power(h, between) + m * (1.0 - h) * power(h, between.saturating_sub(1))
                };
                let weight = if t_place == N_T {
                    1.0
                } else if t_place % 2 == 1 {
                    4.0
                } else {
                    2.0
                };
                inner += weight * libm::exp(log_x + m * libm::log(inside) - 0.5 * y * y + log_factor) * kept;
            }
            if between == 0 {
                // Nothing lies between: the integrand does not vanish at t = 0.
                inner += libm::exp(log_x - 0.5 * x * x + log_factor);
            }
            sum += inner;
        }
        sum * (STEP / 3.0) * (2.0 * STEP) / (2.0 * core::f64::consts::PI)
    }
}

const LONGEST: usize = 200;
const FROM: f64 = -8.0;
const STEP: f64 = 0.05;
const N_X: usize = 320;
const N_T: usize = 240;
const N_Y: usize = N_X + N_T;

fn power(base: f64, exponent: usize) -> f64 {
    if exponent == 0 { 1.0 } else { libm::pow(base, exponent as f64) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// W. J. Dixon (1951), recomputed exactly; D. B. Rorabacher, Anal. Chem. 63 (1991) 139-146.
    #[test]
    fn critical_values_are_those_of_the_exact_tables() {
        for (name, n, significance, exact) in [
            ("r10", 3, 0.05, 0.9413),
            ("r10", 3, 0.005, 0.9940),
            ("r10", 4, 0.05, 0.7655),
            ("r10", 7, 0.025, 0.568_951_647_319),
            ("r11", 10, 0.05, 0.477_885_228_839),
            ("r21", 12, 0.05, 0.545_684_813_417),
            ("r22", 15, 0.05, 0.524_026_542_215),
        ] {
            let found = Ratio::from_name(name).unwrap().critical(n, significance).unwrap();
            assert!((found - exact).abs() < 1e-4, "{name} {n} {significance}: {found}");
        }
    }

    #[test]
    fn series_without_range_have_no_ratio() {
        let r10 = Ratio::from_name("r10").unwrap();
        assert_eq!(r10.of(&[1.0, 1.0, 1.0], End::Highest), None);
        assert_eq!(r10.of(&[1.0, 2.0], End::Highest), None);
        assert_eq!(r10.critical(2, 0.05), None);
        assert_eq!(Ratio::from_name("r33"), None);
    }
}
