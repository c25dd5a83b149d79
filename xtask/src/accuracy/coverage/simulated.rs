//! Simulated calibrations: draws from fixed seeds, the truth of an instrument, and the count of intervals that hold it.
//!
//! Invariant: the draws of a calibration depend on the name of its study and its number, not on threads.

use darkline_calibration::calibration_function::CalibrationModel;
use darkline_metrology::distribution::normal;
use rand_chacha::ChaCha12Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use rayon::prelude::*;

/// Calibrations of each study.
pub const N_CALIBRATIONS: u64 = 2_000;
/// Unknowns read from each calibration at each place.
pub const N_UNKNOWNS: usize = 4;
/// Where the unknowns lie, as parts of the range: low, in the middle, high.
pub const PLACES: [f64; 3] = [0.1, 0.5, 0.9];
/// The level of the intervals.
pub const LEVEL: f64 = 0.95;
/// The amount of the highest standard, µg/L.
pub const TOP: f64 = 10.0;

/// Normal deviates, one after the other.
pub struct Draws(ChaCha12Rng);

impl Draws {
    /// The draws of one calibration of a study.
    pub fn of(study: &str, number: u64) -> Self {
        // FNV-1a, the function of G. Fowler, L. C. Noll and K.-P. Vo: one seed for each name.
        let seed = study
            .bytes()
            .fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3));
        let mut stream = ChaCha12Rng::seed_from_u64(seed);
        stream.set_stream(number);
        Self(stream)
    }

    /// A deviate with mean zero and this standard deviation.
    pub fn normal(&mut self, sd: f64) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "52 bits and a half are exact")]
        let p = ((self.0.next_u64() >> 12) as f64 + 0.5) / 4_503_599_627_370_496.0;
        sd * normal::quantile(p).expect("a cell of the open interval from 0 to 1")
    }
}

/// The true response of an instrument whose calibration has this model, at an amount in µg/L.
pub fn truth(model: CalibrationModel, amount: f64) -> f64 {
    match model {
        CalibrationModel::Proportional => 0.05 * amount,
        CalibrationModel::Line => 0.01 + 0.05 * amount,
        CalibrationModel::QuadraticThroughOrigin => 0.05 * amount - 0.001 * amount * amount,
        CalibrationModel::Quadratic => 0.01 + 0.05 * amount - 0.001 * amount * amount,
        CalibrationModel::Hyperbola => 0.05 * amount / (1.0 + 0.03 * amount),
        CalibrationModel::HyperbolaWithOffset => 0.01 + 0.05 * amount / (1.0 + 0.03 * amount),
        // 1 % of unabsorbed light; the ceiling lies at an absorbance of 2.
        CalibrationModel::UnabsorbedLight => {
            let passed = libm::exp10(-0.1 * amount);
            libm::log10(1.01 / (passed + 0.01))
        }
        // k1 = −20, k2 = 0.6, k3 = 4: amount = (k1·A + k3·A²)/(k2·A − 1), solved for A.
        CalibrationModel::Rational => {
            let half = 0.6 * amount + 20.0;
            2.0 * amount / (half + (half * half - 16.0 * amount).sqrt())
        }
    }
}

/// What became of the unknowns of one calibration.
#[derive(Clone, Copy, Default)]
pub struct Trial {
    given: [u32; PLACES.len()],
    holding: [u32; PLACES.len()],
    refused: u32,
}

impl Trial {
    /// Takes an interval up, or a refusal.
    pub fn take(&mut self, place: usize, truth: f64, interval: Option<(f64, f64)>) {
        match interval {
            Some((low, high)) => {
                self.given[place] += 1;
                self.holding[place] += u32::from(low <= truth && truth <= high);
            }
            None => self.refused += 1,
        }
    }

    /// A calibration that could not be made refuses all its unknowns.
    pub fn refused() -> Self {
        #[expect(clippy::cast_possible_truncation, reason = "unknowns are few")]
        let refused = (PLACES.len() * N_UNKNOWNS) as u32;
        Self { refused, ..Self::default() }
    }
}

/// A study: what is calibrated how, and the interval under test.
pub struct Study {
    /// The model.
    pub model: &'static str,
    /// How the readings scatter and what they weigh.
    pub scatter: &'static str,
    /// The door the interval comes from.
    pub interval: &'static str,
    /// One calibration with its unknowns.
    pub trial: Box<dyn Fn(&mut Draws) -> Trial + Sync>,
}

/// The outcome of a study, figures in per cent.
pub struct Coverage {
    /// At each of [`PLACES`].
    pub at_places: [f64; PLACES.len()],
    /// Over all unknowns.
    pub overall: f64,
    /// Standard error of the latter, between calibrations.
    pub u_overall: f64,
    /// Unknowns without an interval, of a hundred.
    pub refused: f64,
}

impl Coverage {
    /// Whether 94 to 96 % of all intervals hold their truth, as printed to a tenth.
    pub fn holds(&self) -> bool {
        let tenths = (self.overall * 10.0).round();
        (940.0..=960.0).contains(&tenths)
    }
}

impl Study {
    /// Its name, from which its draws come.
    fn name(&self) -> String {
        format!("{} / {} / {}", self.model, self.scatter, self.interval)
    }

    /// Does it.
    pub fn run(&self) -> Coverage {
        let name = self.name();
        let trials: Vec<Trial> =
            (0..N_CALIBRATIONS).into_par_iter().map(|number| (self.trial)(&mut Draws::of(&name, number))).collect();
        of(&trials)
    }
}

fn of(trials: &[Trial]) -> Coverage {
    let n = trials.len() as f64;
    let sum = |of: fn(&Trial) -> u32| trials.iter().map(|trial| f64::from(of(trial))).sum::<f64>();
    let mut at_places = [0.0; PLACES.len()];
    for (place, coverage) in at_places.iter_mut().enumerate() {
        let given: f64 = trials.iter().map(|trial| f64::from(trial.given[place])).sum();
        let holding: f64 = trials.iter().map(|trial| f64::from(trial.holding[place])).sum();
        *coverage = 100.0 * holding / given;
    }
    let given = sum(|trial| trial.given.iter().sum());
    let holding = sum(|trial| trial.holding.iter().sum());
    let refused = sum(|trial| trial.refused);
    let part = holding / given;
    // Unknowns of one calibration share it: the calibrations are what is counted. Ratio estimator, first order.
    let squares: f64 = trials
        .iter()
        .map(|trial| {
            let (given, holding): (u32, u32) = (trial.given.iter().sum(), trial.holding.iter().sum());
            let distance = f64::from(holding) - part * f64::from(given);
            distance * distance
        })
        .sum();
    let u = (squares / (n - 1.0) * n).sqrt() / given;
    Coverage { at_places, overall: 100.0 * part, u_overall: 100.0 * u, refused: 100.0 * refused / (given + refused) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_interval_of_known_width_covers_what_it_must() {
        let study = Study {
            model: "none",
            scatter: "normal",
            interval: "mean ± 1.96",
            trial: Box::new(|draws| {
                let mut trial = Trial::default();
                for place in 0..PLACES.len() {
                    for _ in 0..N_UNKNOWNS {
                        let found = draws.normal(1.0);
                        trial.take(place, 0.0, Some((found - 1.96, found + 1.96)));
                    }
                }
                trial
            }),
        };
        let coverage = study.run();
        // 24 000 independent intervals: 0.14 %.
        assert!((coverage.overall - 95.0).abs() < 0.5 && coverage.u_overall < 0.2, "{}", coverage.overall);
        assert!(coverage.holds() && coverage.refused == 0.0);
    }

    #[test]
    fn refusals_are_counted_apart() {
        let mut trial = Trial::default();
        trial.take(0, 1.0, None);
        trial.take(0, 1.0, Some((0.0, 2.0)));
        trial.take(1, 1.0, Some((2.0, 3.0)));
        let coverage = of(&[trial, Trial::default()]);
        assert_eq!((coverage.overall, coverage.at_places[0], coverage.at_places[1]), (50.0, 100.0, 0.0));
        assert!((coverage.refused - 100.0 / 3.0).abs() < 1e-12);
    }

    #[test]
    fn each_truth_rises_from_near_nothing() {
        for model in CalibrationModel::ALL {
            let responses: Vec<f64> = (0..=10).map(|x| truth(model, f64::from(x))).collect();
            assert!(responses[0].abs() < 0.011 && responses.is_sorted(), "{model}: {responses:?}");
            assert!(responses[10] > 0.3 && responses[10] < 1.0, "{model}: {responses:?}");
        }
    }
}
