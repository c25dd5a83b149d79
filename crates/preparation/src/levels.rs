//! The calibration levels: how many, and where, judged by the uncertainty they lead to.
//!
//! [`designs`] compares numbers and spacings over the working range; [`choose`] takes the fewest levels that come near the
//! best. What counts is the relative standard uncertainty of an amount read back, where it is worst, and at the limit.

use serde::Serialize;

/// A design comes near the best when its worst uncertainty is within this part of it.
///
/// Our choice: a level more costs time and solution.
pub const NEAR_THE_BEST: f64 = 0.05;

/// The function that will be fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Model {
    /// a + b·x.
    StraightLine,
    /// a + b·x + c·x².
    Quadratic,
}

impl Model {
    fn terms(self) -> usize {
        match self {
            Model::StraightLine => 2,
            Model::Quadratic => 3,
        }
    }
}

/// The widest gap between neighbours, as a part of the range, where a bend would still be seen. Our choice.
pub const WIDEST_GAP: f64 = 0.45;

/// What is known of the measurement; amounts in one unit throughout.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Measurement {
    /// The function.
    pub model: Model,
    /// Response per amount, above zero.
    pub slope: f64,
    /// Standard deviation of one response at zero.
    pub sd_at_zero: f64,
    /// Relative standard deviation of one response far above zero.
    pub rsd: f64,
    /// Relative standard uncertainty of each level, by its own dilution.
    pub u_level: f64,
    /// Readings of each level.
    pub readings_of_level: usize,
    /// Readings of a sample.
    pub readings: usize,
    /// The working range.
    pub low: f64,
    /// The top of the working range.
    pub high: f64,
    /// The amount that matters most: the limit, in the solution measured.
    pub at: f64,
}

/// Where levels stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Spacing {
    /// The same difference from one to the next.
    Equal,
    /// The same ratio from one to the next.
    Geometric,
    /// Half of them crowded at either end.
    AtTheEnds,
}

impl Spacing {
    /// All of them.
    pub const ALL: [Spacing; 3] = [Spacing::Equal, Spacing::Geometric, Spacing::AtTheEnds];
    /// The words on sheets.
    pub fn words(self) -> &'static str {
        match self {
            Spacing::Equal => "equal steps",
            Spacing::Geometric => "equal ratios",
            Spacing::AtTheEnds => "at the ends",
        }
    }
}

/// A design and what it leads to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Design {
    /// The levels, ascending, without the blank that stands before them.
    pub levels: Vec<f64>,
    /// Where they stand.
    pub spacing: Spacing,
    /// Relative standard uncertainty at the amount that matters.
    pub u_at: f64,
    /// The largest relative standard uncertainty over the working range.
    pub u_worst: f64,
}

/// Designs of `fewest` to `most` levels beside the blank, by number and spacing; those that leave a coefficient open are left out.
///
/// # Source
/// Weighted least squares, weights 1/u² of the mean response: the covariance of the coefficients is (XᵀWX)⁻¹, and an amount read
/// back has u² = (u²(y) + xᵀ(XᵀWX)⁻¹x)/slope². Checked by `tests/published/levels.rs` against Eurachem/CITAC CG 4, A5.
pub fn designs(measurement: &Measurement, fewest: usize, most: usize) -> Vec<Design> {
    let Measurement { low, high, .. } = *measurement;
    let mut all = Vec::new();
    for n in fewest.max(2)..=most {
        for spacing in Spacing::ALL {
            let levels = placed(low, high, n, spacing);
            if levels.windows(2).any(|pair| pair[1] <= pair[0]) {
                continue;
            }
            let with_blank: Vec<f64> = std::iter::once(0.0).chain(levels.iter().copied()).collect();
            if let Some((u_at, u_worst)) = judged(measurement, &with_blank) {
                all.push(Design { levels, spacing, u_at, u_worst });
            }
        }
    }
    all
}

/// The fewest levels whose worst uncertainty is within [`NEAR_THE_BEST`] of the best; of those the surest at the amount that
/// matters. Designs with a gap wider than [`WIDEST_GAP`] are not chosen: no bend would be seen in it.
pub fn choose(designs: &[Design]) -> Option<&Design> {
    let shows_a_bend = |design: &&Design| {
        let range = design.levels.last().copied().unwrap_or(0.0) - design.levels.first().copied().unwrap_or(0.0);
        design.levels.windows(2).all(|pair| pair[1] - pair[0] <= WIDEST_GAP * range)
    };
    let designs: Vec<&Design> = designs.iter().filter(shows_a_bend).collect();
    let best = designs.iter().map(|design| design.u_worst).fold(f64::INFINITY, f64::min);
    let near: Vec<&Design> =
        designs.into_iter().filter(|design| design.u_worst <= best * (1.0 + NEAR_THE_BEST)).collect();
    let fewest = near.iter().map(|design| design.levels.len()).min()?;
    near.into_iter().filter(|design| design.levels.len() == fewest).min_by(|a, b| a.u_at.total_cmp(&b.u_at))
}

fn placed(low: f64, high: f64, n: usize, spacing: Spacing) -> Vec<f64> {
    let part = |place: usize| place as f64 / (n - 1) as f64;
    let raw: Vec<f64> = match spacing {
        Spacing::Equal => (0..n).map(|place| low + (high - low) * part(place)).collect(),
        Spacing::Geometric => (0..n).map(|place| low * libm::exp(libm::log(high / low) * part(place))).collect(),
        Spacing::AtTheEnds => {
            let lower = n.div_ceil(2);
            let step = (high - low) / 10.0;
            let from_low = (0..lower).map(|place| low + step * place as f64 / lower as f64);
            let to_high = (lower..n).map(|place| high - step * (n - 1 - place) as f64 / lower as f64);
            from_low.chain(to_high).collect()
        }
    };
    raw.into_iter().map(rounded).collect()
}

/// The nearest round figure, as people make levels: 1, 1.2, 1.5, 2, 2.5, 3, 4, … of a decade.
pub fn rounded(figure: f64) -> f64 {
    const ROUND: [f64; 13] = [1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0];
    let written = format!("{figure:e}");
    let parts =
        written.split_once('e').and_then(|(mantissa, exponent)| Some((mantissa.parse::<f64>().ok()?, exponent)));
    let Some((mantissa, exponent)) = parts else { return figure };
    let nearest = ROUND.into_iter().min_by(|a, b| (a - mantissa).abs().total_cmp(&(b - mantissa).abs()));
    // By way of decimal text: the figure that is printed.
    nearest.and_then(|round| format!("{round}e{exponent}").parse().ok()).unwrap_or(figure)
}

/// Relative standard uncertainty at the amount that matters, and the largest over the range; none where the levels leave a
/// coefficient open.
///
/// # Arguments
/// * `levels`: the amounts measured, 0 for the blank where there is one.
///
/// # Source
/// As for [`designs`].
pub fn judged(measurement: &Measurement, levels: &[f64]) -> Option<(f64, f64)> {
    let covariance = covariance(measurement, levels)?;
    let at = u_relative(measurement, &covariance, measurement.at);
    let points = (0..=16).map(|place| {
        let part = f64::from(place) / 16.0;
        measurement.low + (measurement.high - measurement.low) * part
    });
    let worst = points.map(|amount| u_relative(measurement, &covariance, amount)).fold(0.0, f64::max);
    (at.is_finite() && worst.is_finite()).then_some((at, worst))
}

/// The variance of a mean response at an amount.
fn variance(measurement: &Measurement, amount: f64, readings: usize) -> f64 {
    let far = measurement.rsd * measurement.slope * amount;
    (measurement.sd_at_zero * measurement.sd_at_zero + far * far) / readings as f64
}

fn powers(amount: f64) -> [f64; 3] {
    [1.0, amount, amount * amount]
}

fn covariance(measurement: &Measurement, levels: &[f64]) -> Option<Vec<Vec<f64>>> {
    let p = measurement.model.terms();
    let mut normal = vec![vec![0.0; p]; p];
    for &amount in levels {
        let of_level = measurement.u_level * measurement.slope * amount;
        let weight = 1.0 / (variance(measurement, amount, measurement.readings_of_level) + of_level * of_level);
        let row = powers(amount);
        for (i, line) in normal.iter_mut().enumerate() {
            for (j, cell) in line.iter_mut().enumerate() {
                *cell += weight * row[i] * row[j];
            }
        }
    }
    inverted(normal)
}

/// The inverse by elimination with the largest pivot; none where it is singular.
fn inverted(mut matrix: Vec<Vec<f64>>) -> Option<Vec<Vec<f64>>> {
    let n = matrix.len();
    let mut inverse: Vec<Vec<f64>> = (0..n).map(|i| (0..n).map(|j| if i == j { 1.0 } else { 0.0 }).collect()).collect();
    for column in 0..n {
        let pivot = (column..n).max_by(|a, b| matrix[*a][column].abs().total_cmp(&matrix[*b][column].abs()))?;
        if !(matrix[pivot][column].abs() > 0.0 && matrix[pivot][column].is_finite()) {
            return None;
        }
        matrix.swap(column, pivot);
        inverse.swap(column, pivot);
        let by = matrix[column][column];
        for j in 0..n {
            matrix[column][j] /= by;
            inverse[column][j] /= by;
        }
        for i in (0..n).filter(|i| *i != column) {
            let times = matrix[i][column];
            for j in 0..n {
                matrix[i][j] -= times * matrix[column][j];
                inverse[i][j] -= times * inverse[column][j];
            }
        }
    }
    Some(inverse)
}

fn u_relative(measurement: &Measurement, covariance: &[Vec<f64>], amount: f64) -> f64 {
    let row = powers(amount);
    let mut of_curve = 0.0;
    for (i, line) in covariance.iter().enumerate() {
        for (j, cell) in line.iter().enumerate() {
            of_curve += row[i] * cell * row[j];
        }
    }
    (variance(measurement, amount, measurement.readings) + of_curve).sqrt() / measurement.slope / amount
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lead() -> Measurement {
        Measurement {
            model: Model::StraightLine,
            slope: 0.006,
            sd_at_zero: 0.0012,
            rsd: 0.02,
            u_level: 0.005,
            readings_of_level: 3,
            readings: 3,
            low: 3.0,
            high: 50.0,
            at: 10.0,
        }
    }

    #[test]
    fn a_bend_that_has_to_be_found_too_makes_amounts_less_sure() {
        let levels = [0.0, 3.0, 10.0, 20.0, 35.0, 50.0];
        let line = judged(&lead(), &levels).unwrap();
        let bent = judged(&Measurement { model: Model::Quadratic, ..lead() }, &levels).unwrap();
        assert!(line.0 < bent.0);
        let designs = designs(&lead(), 3, 8);
        assert!(designs.iter().any(|design| design.spacing == Spacing::AtTheEnds));
        let chosen = choose(&designs).unwrap();
        assert!(chosen.levels.is_sorted());
        assert!(chosen.levels.windows(2).all(|pair| pair[1] - pair[0] <= WIDEST_GAP * 47.0), "{chosen:?}");
        let even = designs.iter().filter(|other| other.spacing == Spacing::Equal);
        assert!(even.into_iter().all(|other| chosen.u_worst <= other.u_worst * (1.0 + NEAR_THE_BEST)));
    }

    #[test]
    fn a_level_more_never_makes_the_curve_less_sure() {
        let few = judged(&lead(), &[0.0, 3.0, 20.0, 50.0]).unwrap();
        let more = judged(&lead(), &[0.0, 3.0, 10.0, 20.0, 50.0]).unwrap();
        assert!(more.0 <= few.0 && more.1 <= few.1);
    }

    #[test]
    fn levels_in_one_place_leave_a_bent_curve_open() {
        let bent = Measurement { model: Model::Quadratic, ..lead() };
        assert!(judged(&bent, &[0.0, 10.0]).is_none_or(|(at, _)| at > 1e3));
        assert!(choose(&[]).is_none());
    }
}
