//! A pulse beside the standards of its run: what is different, and what each difference may mean.
//!
//! [`ShapeOfStandards::of`] takes the pulses of a run's standards, [`ShapeOfStandards::differences`] compares another pulse
//! with them. A standard has no matrix, so that a difference of a sample speaks of its matrix, and one of a late standard of
//! the tube.

use serde::{Deserialize, Serialize};

use crate::pulse_figures::PulseFigures;

/// A feature of the shape of a pulse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Feature {
    /// When the pulse appears.
    Appearance,
    /// When it is highest.
    PeakTime,
    /// Its width at half height.
    Width,
    /// How far it leans.
    Tailing,
    /// A second hump.
    SecondHump,
    /// What is still there when the read ends, over the height.
    Remainder,
}

impl Feature {
    /// All of them.
    pub const ALL: [Feature; 6] = [
        Feature::Appearance,
        Feature::PeakTime,
        Feature::Width,
        Feature::Tailing,
        Feature::SecondHump,
        Feature::Remainder,
    ];

    /// The words on screens and in documents.
    pub fn words(self) -> &'static str {
        match self {
            Feature::Appearance => "appearance time",
            Feature::PeakTime => "peak time",
            Feature::Width => "width at half height",
            Feature::Tailing => "tailing",
            Feature::SecondHump => "second hump",
            Feature::Remainder => "remainder at the end of the read",
        }
    }

    /// What a difference from the standards may mean.
    ///
    /// # Source
    /// Common practice, no source.
    pub fn meaning(self, more: bool) -> &'static str {
        match (self, more) {
            (Feature::Appearance, true) => {
                "late release: a modifier or a matrix holds the analyte, or the platform heats more slowly"
            }
            (Feature::Appearance, false) => {
                "early release: modifier missing, or the drop lies on the wall instead of the platform"
            }
            (Feature::PeakTime, true) => "late release by the matrix, or a tube that has aged and heats more slowly",
            (Feature::PeakTime, false) => {
                "early release: modifier missing, or a hotter atomisation than for the standards"
            }
            (Feature::Width, true) => {
                "slow release or slow loss: matrix, an aged tube, or the capillary left a spread drop"
            }
            (Feature::Width, false) => "fast loss: gas flow during atomisation, a leaking contact, or a hotter tube",
            (Feature::Tailing, true) => {
                "analyte that condenses and comes off again, or carbide: a hotter or longer atomisation"
            }
            (Feature::Tailing, false) => "a pulse more symmetric than the standards: another form of the analyte",
            (Feature::SecondHump, _) => {
                "two forms or two places of the analyte, or a pulse beyond the roll-over: see whether the total channel dips too"
            }
            (Feature::Remainder, true) => {
                "the read ends too early or the clean-out is too weak: the next firing reads high"
            }
            (Feature::Remainder, false) => "less is left than by the standards",
        }
    }

    fn of(self, pulse: &PulseFigures) -> Option<f64> {
        let reduced = &pulse.reduced;
        match self {
            Feature::Appearance => reduced.appearance_time_s,
            Feature::PeakTime => Some(reduced.peak_time_s),
            Feature::Width => reduced.width_s,
            Feature::Tailing => reduced.asymmetry,
            Feature::SecondHump => Some(pulse.second_hump().unwrap_or(0.0)),
            Feature::Remainder => reduced.tail,
        }
    }

    /// Least spread a feature is taken to have: standards that agree by chance make no difference of every rounding.
    ///
    /// Times: two samples or 5 % of the width; tailing: a tenth; second hump and remainder: parts of the height that
    /// matter.
    fn least_sd(self, step_s: f64, width_s: f64, middle: f64) -> f64 {
        match self {
            Feature::Appearance | Feature::PeakTime | Feature::Width => (2.0 * step_s).max(0.05 * width_s),
            Feature::Tailing => 0.1 * middle.abs(),
            Feature::SecondHump => 0.05,
            Feature::Remainder => 0.01,
        }
    }
}

/// A pulse counts as one with a shape where its height is at least this many baseline standard deviations (our choice).
pub const SHAPED_IN_SD: f64 = 30.0;

/// The shape that the standards of a run have in common.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShapeOfStandards {
    features: Vec<Common>,
    /// Number of standards it rests on.
    pub n: usize,
}

/// A feature as the standards have it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Common {
    /// Which.
    pub feature: Feature,
    /// Median of the standards.
    pub median: f64,
    /// Their spread as a standard deviation, not below what sampling alone makes.
    pub sd: f64,
}

/// A feature in which a pulse differs from the standards.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Difference {
    /// Which.
    pub feature: Feature,
    /// The value of the pulse.
    pub found: f64,
    /// The median of the standards.
    pub standards: f64,
    /// Difference over the spread of the standards.
    pub in_sd: f64,
}

impl Difference {
    /// What it may mean.
    pub fn meaning(&self) -> &'static str {
        self.feature.meaning(self.in_sd > 0.0)
    }
}

/// Whether a pulse is high enough above its noise to have a shape.
pub fn has_shape(pulse: &PulseFigures) -> bool {
    let noise = pulse.reduced.baseline_noise;
    noise > 0.0 && pulse.reduced.peak_absorbance >= SHAPED_IN_SD * noise
}

impl ShapeOfStandards {
    /// What pulses of standards have in common; `None` below two pulses with a shape.
    ///
    /// # Source
    /// Median, and 1.4826 times the median distance from it, which is the standard deviation of normal values: ISO 13528:2022,
    /// C.2 (from memory). The least spreads are our choice.
    pub fn of<'a>(standards: impl IntoIterator<Item = &'a PulseFigures>) -> Option<ShapeOfStandards> {
        let standards: Vec<&PulseFigures> = standards.into_iter().filter(|pulse| has_shape(pulse)).collect();
        let [first, _, ..] = standards[..] else { return None };
        let of = |feature: Feature| -> Option<(f64, f64)> {
            let values: Vec<f64> = standards.iter().filter_map(|pulse| feature.of(pulse)).collect();
            let middle = median(values.clone())?;
            let spread = median(values.into_iter().map(|value| (value - middle).abs()).collect())?;
            Some((middle, 1.4826 * spread))
        };
        let width = of(Feature::Width).map_or(0.0, |(middle, _)| middle);
        let features = Feature::ALL
            .into_iter()
            .filter_map(|feature| {
                let (median, spread) = of(feature)?;
                let sd = spread.max(feature.least_sd(first.reduced.step_s, width, median));
                (sd > 0.0 && sd.is_finite()).then_some(Common { feature, median, sd })
            })
            .collect();
        Some(ShapeOfStandards { features, n: standards.len() })
    }

    /// The features as the standards have them.
    pub fn features(&self) -> &[Common] {
        &self.features
    }

    /// Features in which a pulse differs by more than so many spreads, in the order of [`Feature::ALL`]; none for a pulse
    /// that is too low to have a shape.
    ///
    /// # Arguments
    /// * `limit_in_sd`: 4 to 6 leaves hardly a false one among some dozens of pulses.
    pub fn differences(&self, pulse: &PulseFigures, limit_in_sd: f64) -> Vec<Difference> {
        if !has_shape(pulse) {
            return Vec::new();
        }
        // Without an appearance or a crossing there is nothing to compare.
        let compared = self.features.iter().filter_map(|common| {
            let found = common.feature.of(pulse)?;
            let in_sd = (found - common.median) / common.sd;
            Some(Difference { feature: common.feature, found, standards: common.median, in_sd })
        });
        compared.filter(|difference| difference.in_sd.abs() > limit_in_sd).collect()
    }
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let (low, high) = (values.get(values.len().checked_sub(1)? / 2)?, values.get(values.len() / 2)?);
    Some(0.5 * low + 0.5 * high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pulse_figures::examine;
    use crate::pulse_shape::ExponentiallyModifiedGaussian;
    use crate::window::Window;

    fn pulse(of: &[(f64, f64, f64)]) -> PulseFigures {
        let window = Window { baseline_from_s: -0.5, baseline_to_s: 0.0, from_s: 0.0, to_s: 4.0 };
        let t_s: Vec<f64> = (0..451).map(|i| f64::from(i) * 0.01 - 0.5).collect();
        let absorbance = |t: f64| -> f64 {
            of.iter()
                .map(|&(area, centre_s, decay_s)| {
                    ExponentiallyModifiedGaussian { area, centre_s, width_s: 0.08, decay_s }.absorbance(t)
                })
                .sum()
        };
        let ripple = |i: usize| if i.is_multiple_of(3) { 0.001 } else { -0.0005 };
        let total: Vec<f32> = t_s.iter().enumerate().map(|(i, &t)| (absorbance(t) + ripple(i)) as f32).collect();
        examine(&t_s, &total, &vec![0.0; 451], &window).expect("a pulse")
    }

    fn standards() -> ShapeOfStandards {
        let pulses: Vec<PulseFigures> = [0.05, 0.1, 0.2, 0.3].iter().map(|&area| pulse(&[(area, 0.8, 0.3)])).collect();
        ShapeOfStandards::of(&pulses).expect("four standards")
    }

    fn seen(of: &[(f64, f64, f64)]) -> Vec<Feature> {
        standards().differences(&pulse(of), 5.0).iter().map(|difference| difference.feature).collect()
    }

    #[test]
    fn a_pulse_like_the_standards_is_like_them_and_so_is_a_blank() {
        assert_eq!(seen(&[(0.15, 0.8, 0.3)]), []);
        assert_eq!(seen(&[(0.15, 0.81, 0.31)]), []);
        assert_eq!(seen(&[]), [], "a blank has no shape");
        assert_eq!(standards().n, 4);
    }

    #[test]
    fn a_late_a_slow_and_a_double_release_are_told_with_their_meaning() {
        let late = standards().differences(&pulse(&[(0.15, 1.1, 0.3)]), 5.0);
        assert_eq!(late.iter().map(|d| d.feature).collect::<Vec<_>>(), [Feature::Appearance, Feature::PeakTime]);
        assert!(late[0].in_sd > 0.0 && late[0].meaning().starts_with("late release"));
        assert!(seen(&[(0.15, 0.8, 0.9)]).contains(&Feature::Width));
        assert!(seen(&[(0.15, 0.8, 1.4)]).contains(&Feature::Remainder));
        assert!(seen(&[(0.1, 0.8, 0.3), (0.08, 2.2, 0.1)]).contains(&Feature::SecondHump));
    }

    #[test]
    fn one_standard_or_blanks_alone_have_no_common_shape() {
        assert_eq!(ShapeOfStandards::of(&[pulse(&[(0.1, 0.8, 0.3)])]), None);
        assert_eq!(ShapeOfStandards::of(&[pulse(&[]), pulse(&[])]), None);
    }

    #[test]
    fn every_feature_has_a_meaning_both_ways() {
        for feature in Feature::ALL {
            for more in [true, false] {
                assert!(feature.meaning(more).len() > 20, "{feature:?}");
            }
            assert!(!feature.words().is_empty());
        }
    }
}
