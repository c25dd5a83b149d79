//! What is asked of a limit from a calibration line, and why there may be none.

use darkline_metrology::distribution::student_t;
use darkline_metrology::kind::{Kind, MassConcentration, Sensitivity};

use crate::line::Line;
use crate::point::{Dispersion, count};
use crate::shown::Shown;
use crate::weighting::{Weighting, WeightingError};

/// What is asked of a limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asked {
    /// Probability of an error of the first kind, below one half: stating analyte where there is none.
    pub alpha: f64,
    /// Probability of an error of the second kind, below one half: stating none where there is as much as the detection limit.
    pub beta: f64,
    /// Readings that the mean of a sample will have.
    pub n_readings: u32,
    /// Inverse of the relative half-width allowed at the quantitation limit.
    pub k: f64,
}

impl Asked {
    /// What DIN 32645:2008 takes: α = β = 0.01, one reading, a third at the quantitation limit.
    pub const DIN_32645: Asked = Asked { alpha: 0.01, beta: 0.01, n_readings: 1, k: 3.0 };
}

/// Why a limit does not exist.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoLimit {
    /// The line does not rise.
    #[error("the calibration does not rise: its slope is {} L/µg", Shown(per_microgram(*slope)))]
    NotRising {
        /// The slope, in m³/kg.
        slope: f64,
    },
    /// A figure asked for is outside its range.
    #[error("{what} is {}", Shown(*value))]
    OutOfRange {
        /// What it is.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// The scatter leaves no amount that could be told from none.
    #[error("the scatter of the calibration is too large for its slope: no amount meets what is asked")]
    NoFiniteLimit,
    /// Too few readings.
    #[error("{found} readings were given; {needed} are needed")]
    TooFewReadings {
        /// Readings found.
        found: usize,
        /// Readings needed.
        needed: usize,
    },
    /// A weight has no value where it is needed.
    #[error(transparent)]
    Weight(#[from] WeightingError),
}

fn per_microgram(slope: f64) -> f64 {
    Sensitivity::unit("L/µg").expect("L/µg is a unit of sensitivity").read_si(slope)
}

/// A line with what is asked of it: the half-widths of its prediction band in units of the amount.
pub(crate) struct Predicted<'a> {
    pub line: &'a Line,
    pub asked: Asked,
    weighting: &'a Weighting,
    pub process_sd: f64,
    dof: f64,
}

impl<'a> Predicted<'a> {
    pub fn of(line: &'a Line, asked: Asked, weighting: &'a Weighting) -> Result<Self, NoLimit> {
        let slope = line.slope.si();
        if slope.is_nan() || slope <= 0.0 {
            return Err(NoLimit::NotRising { slope });
        }
        // From one half on a limit would lie on the wrong side of what it is counted from.
        let in_range = |value: f64| value > 0.0 && value < 0.5;
        for (what, value) in [("alpha", asked.alpha), ("beta", asked.beta)] {
            if !in_range(value) {
                return Err(NoLimit::OutOfRange { what, value });
            }
        }
        if asked.n_readings == 0 {
            return Err(NoLimit::OutOfRange { what: "the number of readings", value: 0.0 });
        }
        if !(asked.k > 0.0 && asked.k.is_finite()) {
            return Err(NoLimit::OutOfRange { what: "k", value: asked.k });
        }
        let dof = if line.dispersion == Dispersion::Known { f64::INFINITY } else { count(line.dof()) };
        Ok(Self { line, asked, weighting, process_sd: line.process_sd().si(), dof })
    }

    /// The t that is exceeded with a probability.
    pub fn t(&self, exceeded: f64) -> Result<f64, NoLimit> {
        student_t::upper_quantile(exceeded, self.dof)
            .ok_or(NoLimit::OutOfRange { what: "the degrees of freedom", value: self.dof })
    }

    /// s_x0·√(1/(w·m) + 1/Σw + (x − x̄)²/S_xx).
    ///
    /// # Source
    /// DIN 32645:2008-11, with weights as in D. L. Massart et al., Handbook of Chemometrics and Qualimetrics A, 1997, eq. 8.28.
    pub fn sd_at(&self, amount: f64) -> Result<f64, NoLimit> {
        let amount = MassConcentration::from_si(amount);
        let weight = self.weighting.weight_at(amount, self.line.response(amount))?;
        let distance = amount.si() - self.line.mean_amount.si();
        let of_reading = 1.0 / (weight * f64::from(self.asked.n_readings));
        let under_root = of_reading + 1.0 / self.line.sum_of_weights + distance * distance / self.line.s_xx;
        Ok(self.process_sd * under_root.sqrt())
    }

    /// The lowest amount from `start` on that exceeds `base` by `factor` half-widths of its own.
    pub fn beyond(&self, base: f64, factor: f64, start: f64) -> Result<f64, NoLimit> {
        let first = factor * self.sd_at(start)?;
        if first == 0.0 {
            return Ok(base);
        }
        let mut fault = None;
        let excess = |amount: f64| match self.sd_at(amount) {
            Ok(sd) => amount - base - factor * sd,
            Err(why) => {
                fault = Some(why);
                f64::NAN
            }
        };
        let found = crate::root::towards(excess, start, 0.5 * first, f64::INFINITY);
        match (found, fault) {
            (Some(amount), _) => Ok(amount),
            (None, Some(why)) => Err(why),
            (None, None) => Err(NoLimit::NoFiniteLimit),
        }
    }
}
