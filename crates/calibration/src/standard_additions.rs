//! Standard additions: the calibration made in the sample itself.
//!
//! [`plain`], [`at_constant_volume`] and [`successive`] turn what was done into points; [`StandardAdditions::fit`] lays the
//! line and extrapolates it to no response; [`single`] is the two-point form.
//!
//! Corrects what the matrix does to the slope. Background and blank must be right beforehand: what adds to every response
//! alike is found as analyte.

use darkline_metrology::distribution::student_t;
use darkline_metrology::kind::{Kind, MassConcentration, Response, Volume};
use darkline_metrology::model::Interval;

use crate::fieller;
use crate::fitted::not_rising;
use crate::inverse::Unreadable;
use crate::line::{FitError, Line, Point};
use crate::point::count;
use crate::shown::Shown;

/// Part by which the slope may differ from that of plain standards before a result is reported with caution.
///
/// # Source
/// US EPA SW-846, Methods 7000B and 7010, method of standard additions: 20 % (from memory).
pub const SLOPE_DIFFERENCE: f64 = 0.2;

/// A line of additions and the amount it finds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StandardAdditions {
    /// Response against mass concentration added.
    pub line: Line,
    /// The amount in the native sample: intercept over slope.
    pub amount: MassConcentration,
    /// Its standard error.
    pub u: MassConcentration,
}

/// Additions that find no amount.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotFound {
    /// No line goes through them.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// The line cannot be extrapolated.
    #[error(transparent)]
    Unreadable(#[from] Unreadable),
    /// A volume is not above zero.
    #[error("the volume {} mL is not above zero", Shown(*volume))]
    NoVolume {
        /// The volume, in mL.
        volume: f64,
    },
    /// The addition raised the response by nothing.
    #[error("the response with the addition, {}, does not exceed the one without, {}", Shown(*with), Shown(*without))]
    NoRise {
        /// Response with the addition.
        with: f64,
        /// Response without it.
        without: f64,
    },
}

/// Points of additions that are stated as mass concentration added, referred to the native sample.
pub fn plain(additions: &[(MassConcentration, Response)]) -> Vec<Point> {
    additions.iter().map(|&(amount, response)| Point { amount, response, weight: 1.0 }).collect()
}

/// Points of equal portions of sample with growing volumes of standard, all made up to one volume.
///
/// # Arguments
/// * `portion`: volume of sample in each flask.
/// * `standard`: mass concentration of the standard added.
/// * `additions`: volume of standard and response of each flask.
///
/// The final volume cancels: what counts is how much is added to how much sample.
///
/// # Errors
/// [`NotFound::NoVolume`].
///
/// # Source
/// M. Bader, J. Chem. Educ. 57 (1980) 703: S = k·(C_X·V_0 + C_S·V_S)/V_T. Checked by `tests/published/bader.rs`.
pub fn at_constant_volume(
    portion: Volume,
    standard: MassConcentration,
    additions: &[(Volume, Response)],
) -> Result<Vec<Point>, NotFound> {
    above_zero(portion)?;
    let added = |volume: Volume| MassConcentration::from_si(standard.si() * volume.si() / portion.si());
    Ok(additions.iter().map(|&(volume, response)| Point { amount: added(volume), response, weight: 1.0 }).collect())
}

/// Points of successive additions to one solution, each response corrected for the volume grown.
///
/// # Arguments
/// * `portion`: volume of sample before the first addition.
/// * `standard`: mass concentration of the standard added.
/// * `additions`: volume of standard added so far, and response.
///
/// # Errors
/// [`NotFound::NoVolume`].
///
/// # Source
/// M. Bader, J. Chem. Educ. 57 (1980) 703: S·(V_0 + V_S)/V_0 against C_S·V_S/V_0. Checked by `tests/published/bader.rs`.
pub fn successive(
    portion: Volume,
    standard: MassConcentration,
    additions: &[(Volume, Response)],
) -> Result<Vec<Point>, NotFound> {
    above_zero(portion)?;
    let point = |&(volume, response): &(Volume, Response)| Point {
        amount: MassConcentration::from_si(standard.si() * volume.si() / portion.si()),
        response: Response::from_si(response.si() * (portion.si() + volume.si()) / portion.si()),
        weight: 1.0,
    };
    Ok(additions.iter().map(point).collect())
}

/// The amount by one addition to one of two equal portions.
///
/// # Arguments
/// * `with`, `without`: responses of the portion with the addition and of that with as much solvent.
/// * `portion`, `addition`: volumes of sample and of standard.
/// * `standard`: mass concentration of the standard.
///
/// # Errors
/// [`NotFound`].
///
/// # Source
/// US EPA SW-846, Methods 7000B and 7010: C_X = S_B·V_S·C_S/((S_A − S_B)·V_X). Choose the addition so that S_A is about
/// twice S_B. Checked by `tests/published/epa_standard_addition.rs`.
pub fn single(
    with: Response,
    without: Response,
    portion: Volume,
    addition: Volume,
    standard: MassConcentration,
) -> Result<MassConcentration, NotFound> {
    above_zero(portion)?;
    let (with, without) = (with.si(), without.si());
    if with.is_nan() || without.is_nan() || with <= without {
        return Err(NotFound::NoRise { with, without });
    }
    let amount = without * addition.si() * standard.si() / ((with - without) * portion.si());
    if !amount.is_finite() {
        return Err(Unreadable::OutOfRange { what: "the amount", value: amount }.into());
    }
    Ok(MassConcentration::from_si(amount))
}

fn above_zero(volume: Volume) -> Result<(), NotFound> {
    if volume.si() > 0.0 && volume.si().is_finite() {
        return Ok(());
    }
    let millilitre = Volume::unit("mL").expect("mL is a unit of volume");
    Err(NotFound::NoVolume { volume: millilitre.read(volume) })
}

impl StandardAdditions {
    /// Fits the line and extrapolates it.
    ///
    /// # Arguments
    /// * `points`: mass concentration added (referred to the native sample) and response; the unspiked sample is one of them.
    ///
    /// # Errors
    /// [`NotFound`]: no line, or one that does not rise.
    ///
    /// # Source
    /// J. N. Miller, J. C. Miller, Statistics and Chemometrics for Analytical Chemistry, 6th ed., 2010, 5.8:
    /// x_E = a/b, s = (s_yx/b)·√(1/n + ȳ²/(b²·S_xx)). The native sample is one of the points; no further reading adds
    /// scatter. Checked by `tests/published/miller.rs`.
    pub fn fit(points: &[Point]) -> Result<Self, NotFound> {
        let line = Line::fit(points)?;
        let slope = line.slope.si();
        if slope <= 0.0 {
            return Err(not_rising(line.lowest.si(), slope).into());
        }
        let distance = line.mean_response.si() / slope;
        let under_root = 1.0 / line.sum_of_weights + distance * distance / line.s_xx;
        let (amount, u) = (line.intercept.si() / slope, line.sd_of_unit_weight() / slope * under_root.sqrt());
        if let Some(value) = [amount, u].into_iter().find(|figure| !figure.is_finite()) {
            return Err(Unreadable::OutOfRange { what: "the amount", value }.into());
        }
        Ok(Self { line, amount: MassConcentration::from_si(amount), u: MassConcentration::from_si(u) })
    }

    /// Half-width of the symmetric limits, t·u; `None` for a level that is not between 0 and 1.
    pub fn half_width(&self, level: f64) -> Option<MassConcentration> {
        let t = student_t::coverage_factor(level, count(self.line.dof()))?;
        Some(MassConcentration::from_si(t * self.u.si()))
    }

    /// Inversion limits of the amount.
    ///
    /// # Errors
    /// [`Unreadable`].
    ///
    /// # Source
    /// [`fieller::of_mean_response`] at no response, mirrored.
    pub fn limits(&self, level: f64) -> Result<Interval<MassConcentration>, Unreadable> {
        let found = fieller::of_mean_response(&self.line, Response::from_si(0.0), level)?.interval;
        let mirrored = |amount: MassConcentration| MassConcentration::from_si(-amount.si());
        Ok(Interval { low: mirrored(found.high), high: mirrored(found.low) })
    }

    /// How far the slope differs from that of plain standards, as a part of theirs; held against [`SLOPE_DIFFERENCE`].
    pub fn slope_difference(&self, standards: &Line) -> Option<f64> {
        let difference = self.line.slope.si() / standards.slope.si() - 1.0;
        difference.is_finite().then_some(difference)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_addition_that_raises_nothing_finds_nothing() {
        let millilitre = Volume::unit("mL").unwrap();
        let standard = MassConcentration::from_si(0.005);
        let find = |with, without, portion| {
            let (with, without) = (Response::from_si(with), Response::from_si(without));
            single(with, without, millilitre.of(portion), millilitre.of(0.1), standard)
        };
        assert_eq!(find(0.12, 0.12, 10.0), Err(NotFound::NoRise { with: 0.12, without: 0.12 }));
        assert_eq!(find(0.2, 0.12, 0.0), Err(NotFound::NoVolume { volume: 0.0 }));
        assert!(find(0.2, 0.12, 10.0).is_ok());
    }

    #[test]
    fn the_volume_made_up_to_does_not_matter() {
        let millilitre = Volume::unit("mL").unwrap();
        let standard = MassConcentration::unit("mg/L").unwrap().of(20.0);
        let additions: Vec<_> =
            [(0.0, 0.05), (1.0, 0.09), (2.0, 0.13)].map(|(v, y)| (millilitre.of(v), Response::from_si(y))).to_vec();
        let points = at_constant_volume(millilitre.of(10.0), standard, &additions).unwrap();
        assert!((points[1].amount.si() - 0.002).abs() < 1e-18);
        let found = StandardAdditions::fit(&points).unwrap();
        assert!((MassConcentration::unit("mg/L").unwrap().read(found.amount) - 2.5).abs() < 1e-12);
        assert!(found.limits(0.95).is_ok());
    }

    #[test]
    fn additions_that_lower_the_response_find_no_amount() {
        let falling: Vec<_> = [(0.0, 0.3), (1.0, 0.2), (2.0, 0.1)]
            .map(|(x, y)| (MassConcentration::from_si(x), Response::from_si(y)))
            .to_vec();
        assert!(matches!(StandardAdditions::fit(&plain(&falling)), Err(NotFound::Unreadable(_))));
    }
}
