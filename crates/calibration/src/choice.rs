//! The choice of a calibration model by the evidence of the points, among those a method allows.
//!
//! [`choose`] fits every candidate and returns all of them with the figures that decided: corrected information,
//! lack of fit where there are replicates, and whether the function can be read back at all.
//!
//! A choice by evidence is for method development and for methods that say so; a method that names its model is not
//! second-guessed.

use crate::calibration_function::{CalibrationFunction, CalibrationModel};
use crate::inverse::Unreadable;
use crate::lack_of_fit::{LackOfFit, NotTested, lack_of_fit};
use crate::point::{Dispersion, FitError, Point, count};

/// Differences in corrected information below which the simpler model is taken.
///
/// # Source
/// K. P. Burnham, D. R. Anderson, Model Selection and Multimodel Inference, 2nd ed., Springer, 2002, 2.6 (from memory).
pub const AS_GOOD: f64 = 2.0;

/// Differences in corrected information from which on a model has essentially no support.
///
/// # Source
/// K. P. Burnham, D. R. Anderson, Model Selection and Multimodel Inference, 2nd ed., Springer, 2002, 2.6 (from memory).
pub const NO_SUPPORT: f64 = 10.0;

/// Level at which lack of fit speaks against a candidate.
///
/// # Source
/// Analytical Methods Committee, Analyst 119 (1994) 2363: F at 0.95.
pub const LACK_OF_FIT_LEVEL: f64 = 0.95;

/// One model that was tried.
#[derive(Debug)]
pub struct Candidate {
    /// The model.
    pub model: CalibrationModel,
    /// Its function; why it has none.
    pub function: Result<Box<dyn CalibrationFunction>, FitError>,
    /// Whether it rises over the standards.
    pub rises: Result<(), Unreadable>,
    /// Corrected information; `None` where the points are too few for it or the fit is exact.
    pub corrected_information: Option<f64>,
    /// Lack of fit; why it was not tested.
    pub lack_of_fit: Result<LackOfFit, NotTested>,
}

impl Candidate {
    /// Whether it has a function that rises and a corrected information.
    pub fn is_eligible(&self) -> bool {
        self.function.is_ok() && self.rises.is_ok() && self.corrected_information.is_some()
    }

    /// Whether replicates speak against it at [`LACK_OF_FIT_LEVEL`].
    pub fn lacks_fit(&self) -> bool {
        self.lack_of_fit.as_ref().is_ok_and(|test| test.p < 1.0 - LACK_OF_FIT_LEVEL)
    }
}

/// What decided.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Because {
    /// No other candidate was eligible.
    OnlyOne,
    /// It has the least corrected information.
    LeastInformation,
    /// Its corrected information is within [`AS_GOOD`] of the least, and it has fewer parameters.
    SimplerAndAsGood,
}

/// A choice with everything it rests on.
#[derive(Debug)]
pub struct Choice {
    /// The candidates, in the order of [`CalibrationModel::ALL`].
    pub candidates: Vec<Candidate>,
    /// Place of the one chosen.
    pub chosen: usize,
    /// What decided.
    pub because: Because,
    /// Whether candidates were passed over because replicates speak against them.
    pub passed_over_for_lack_of_fit: bool,
}

impl Choice {
    /// The candidate chosen.
    pub fn candidate(&self) -> &Candidate {
        &self.candidates[self.chosen]
    }
}

/// No candidate can be a calibration.
#[derive(Debug, thiserror::Error)]
#[error("none of the {} models allowed fits the points and rises over them", candidates.len())]
pub struct NoChoice {
    /// The candidates, each with why not.
    pub candidates: Vec<Candidate>,
}

/// Chooses among models.
///
/// Candidates without a function, without a rise over the standards or without corrected information are out. Where
/// replicates show lack of fit for some and not for others, the former are passed over. Of the rest the least corrected
/// information wins, unless a model with fewer parameters comes within [`AS_GOOD`] of it. Where a candidate that does not
/// rise describes the points better by [`NO_SUPPORT`], the points themselves do not rise, and nothing is chosen.
///
/// # Arguments
/// * `allowed`: in any order; repeated ones count once.
/// * `points`: with the weights that all candidates share.
///
/// # Errors
/// [`NoChoice`].
///
/// # Source
/// Corrected information: C. M. Hurvich, C.-L. Tsai, Biometrika 76 (1989) 297; for calibration curves L. Kirkup, M.
/// Mulholland, J. Chromatogr. A 1029 (2004) 1.
pub fn choose(allowed: &[CalibrationModel], points: &[Point], dispersion: Dispersion) -> Result<Choice, NoChoice> {
    let candidates: Vec<Candidate> = CalibrationModel::ALL
        .into_iter()
        .filter(|model| allowed.contains(model))
        .map(|model| candidate(model, points, dispersion))
        .collect();
    let eligible: Vec<usize> = (0..candidates.len()).filter(|&place| candidates[place].is_eligible()).collect();
    let with_fit: Vec<usize> = eligible.iter().copied().filter(|&place| !candidates[place].lacks_fit()).collect();
    let passed_over_for_lack_of_fit = !with_fit.is_empty() && with_fit.len() < eligible.len();
    let pool = if with_fit.is_empty() { &eligible } else { &with_fit };
    let information = |place: usize| candidates[place].corrected_information.unwrap_or(f64::INFINITY);
    let Some(best) = pool.iter().copied().min_by(|&a, &b| information(a).total_cmp(&information(b))) else {
        return Err(NoChoice { candidates });
    };
    let least_of_all = (0..candidates.len()).map(information).fold(f64::INFINITY, f64::min);
    if information(best) - least_of_all >= NO_SUPPORT
        && !eligible.iter().any(|&place| information(place) == least_of_all)
    {
        return Err(NoChoice { candidates });
    }
    // Candidates stand from few parameters to many; among equals the least information counts.
    let n_parameters = |place: usize| candidates[place].model.n_parameters();
    let simpler = pool
        .iter()
        .copied()
        .filter(|&place| n_parameters(place) < n_parameters(best) && information(place) - information(best) < AS_GOOD)
        .min_by(|&a, &b| {
            let by_parameters = n_parameters(a).cmp(&n_parameters(b));
            by_parameters.then(information(a).total_cmp(&information(b)))
        });
    let (chosen, because) = match simpler {
        Some(place) => (place, Because::SimplerAndAsGood),
        None if eligible.len() == 1 => (best, Because::OnlyOne),
        None => (best, Because::LeastInformation),
    };
    Ok(Choice { candidates, chosen, because, passed_over_for_lack_of_fit })
}

fn candidate(model: CalibrationModel, points: &[Point], dispersion: Dispersion) -> Candidate {
    match model.fit(points, dispersion) {
        Ok(function) => {
            let squares = function.sum_of_squares();
            Candidate {
                model,
                rises: function.rises(),
                corrected_information: corrected_information(squares, points.len(), model.n_parameters(), dispersion),
                lack_of_fit: lack_of_fit(squares, model.n_parameters(), points),
                function: Ok(function),
            }
        }
        Err(why) => Candidate {
            model,
            function: Err(why),
            rises: Ok(()),
            corrected_information: None,
            lack_of_fit: Err(NotTested::NotFinite),
        },
    }
}

/// Akaike's information with the correction for few points, up to a constant that all models of one set of weighted points
/// share.
///
/// # Arguments
/// * `squares`: weighted sum of squared residuals.
/// * `n_parameters`: of the function; an estimated variance counts as one more.
///
/// `None` where the points are too few for the correction, or nothing is left over.
///
/// # Source
/// n·ln(S/n) + 2K + 2K(K + 1)/(n − K − 1) (for known variances S instead of the logarithm); C. M. Hurvich, C.-L. Tsai,
/// Biometrika 76 (1989) 297 (from memory).
pub fn corrected_information(
    squares: f64,
    n_points: usize,
    n_parameters: usize,
    dispersion: Dispersion,
) -> Option<f64> {
    let estimated = usize::from(dispersion == Dispersion::Estimated);
    let parameters = n_parameters + estimated;
    if n_points < parameters + 2 {
        return None;
    }
    let (n, k) = (count(n_points), count(parameters));
    let misfit = match dispersion {
        Dispersion::Estimated => n * libm::log(squares / n),
        Dispersion::Known => squares,
    };
    Some(misfit + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0)).filter(|information| information.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;
    use darkline_metrology::kind::{Kind, MassConcentration, Response};

    fn points(curve: impl Fn(f64) -> f64) -> Vec<Point> {
        let noise = [0.4, -0.7, 0.2, 0.9, -0.5, -0.1, 0.6, -0.8, 0.3, -0.3, 0.5, -0.6];
        (0..12)
            .map(|i: u32| {
                let x = f64::from(i / 2);
                Point {
                    amount: MassConcentration::usual_unit().of(x),
                    response: Response::from_si(curve(x) + 0.0005 * noise[i as usize]),
                    weight: 1.0,
                }
            })
            .collect()
    }

    #[test]
    fn a_straight_calibration_stays_straight() {
        let choice = choose(&CalibrationModel::ALL, &points(|x| 0.02 + 0.1 * x), Dispersion::Estimated).unwrap();
        assert_eq!(choice.candidate().model, CalibrationModel::Line);
        assert_eq!(choice.candidates.len(), 8);
        assert!(choice.passed_over_for_lack_of_fit);
    }

    #[test]
    fn a_bent_calibration_is_taken_for_what_bends_so() {
        let bent = points(|x| 0.12 * x / (1.0 + 0.05 * x));
        let allowed = [CalibrationModel::Line, CalibrationModel::Hyperbola, CalibrationModel::Hyperbola];
        let choice = choose(&allowed, &bent, Dispersion::Estimated).unwrap();
        assert_eq!(choice.candidate().model, CalibrationModel::Hyperbola);
        assert_eq!(choice.candidates.len(), 2);
        assert!(choice.candidates[0].lacks_fit());
    }

    #[test]
    fn points_that_fall_have_no_calibration() {
        let refused = choose(&CalibrationModel::ALL, &points(|x| 1.0 - 0.1 * x), Dispersion::Estimated).unwrap_err();
        assert_eq!(refused.candidates.len(), 8);
        assert!(choose(&[], &points(|x| x), Dispersion::Estimated).is_err());
    }

    #[test]
    fn too_few_points_have_no_corrected_information() {
        assert_eq!(corrected_information(1.0, 4, 2, Dispersion::Estimated), None);
        assert!(corrected_information(1.0, 5, 2, Dispersion::Estimated).is_some());
        assert_eq!(corrected_information(0.0, 9, 2, Dispersion::Estimated), None);
    }
}
