//! What a method allows a run to show: limits of the rules of quality control, and the figures that repeats are counted by.
//!
//! Every limit may be absent: then the rule that would need it keeps silent, and the details of a run say so.

use darkline_metrology::kind::{Absorbance, Duration, Factor, Mass, MassConcentration, Volume};
use serde::{Deserialize, Serialize};

use crate::figure::Written;

/// Declares the limits once: field, kind, and what it says.
macro_rules! limits {
    ($($(#[doc = $doc:literal])+ $name:ident: $kind:ident),+ $(,)?) => {
        /// The limits of a method, all optional.
        #[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields)]
        pub struct Limits {
            $(
                $(#[doc = $doc])+
                #[serde(default, skip_serializing_if = "Option::is_none")]
                pub $name: Option<Written<$kind>>,
            )+
            /// Fewest levels of standards above ten times the standard deviation at zero.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub least_levels: Option<u8>,
            /// Most solutions of portions between two check standards.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub most_between_checks: Option<u8>,
            /// Most times the replicates of a solution may be measured again; fixed before anything is measured.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub most_repeats: Option<u8>,
            /// How outlying replicates are found; by the critical range where absent.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub replicate_test: Option<ReplicateTest>,
            /// Controls that every preparation batch must bring.
            #[serde(default, skip_serializing_if = "Vec::is_empty")]
            pub batch_controls: Vec<BatchControl>,
            /// What dilutions made in the cup are made with, in words.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub diluent: Option<String>,
            /// What earlier runs found.
            #[serde(default, skip_serializing_if = "Vec::is_empty")]
            pub history: Vec<History>,
        }

        impl Limits {
            /// Whether a method states none.
            pub fn is_empty(&self) -> bool {
                *self == Self::default()
            }
        }
    };
}

limits! {
    /// Characteristic mass of the line, furnace: the handbook's figure.
    characteristic_mass: Mass,
    /// Volume put into the tube.
    injected_volume: Volume,
    /// Characteristic concentration of the line, flame.
    characteristic_concentration: MassConcentration,
    /// How far the sensitivity may lie from what it should be, relative.
    sensitivity_window: Factor,
    /// How far a standard may be from the calibration function, as an amount, relative.
    back_calculated: Factor,
    /// Significance of the test for lack of fit.
    lack_of_fit: Factor,
    /// Least slope over the top fifth of the calibration, over that of the bottom fifth.
    least_slope_ratio: Factor,
    /// First check standard after the calibration: lowest recovery.
    first_check_lowest: Factor,
    /// First check standard after the calibration: highest recovery.
    first_check_highest: Factor,
    /// Check standards at or below the lowest calibration standard: lowest recovery.
    low_check_lowest: Factor,
    /// Check standards at or below the lowest calibration standard: highest recovery.
    low_check_highest: Factor,
    /// Highest background absorbance that the instrument corrects.
    highest_background: Absorbance,
    /// Deepest negative net absorbance that noise explains, as a figure above zero.
    deepest_dip: Absorbance,
    /// Most that a peak may come earlier or later than those of the standards.
    highest_peak_shift: Duration,
    /// Highest second hump of a pulse, over the highest.
    highest_second_hump: Factor,
    /// Most that a steady reading may rise or fall over its read time, over its mean.
    highest_reading_slope: Factor,
    /// Most times the median noise of the run that a reading may have.
    highest_noise: Factor,
    /// Highest part of a response that may be found in the next one.
    highest_carry_over: Factor,
    /// Most that the sensitivity may move between two check standards, relative.
    highest_drift: Factor,
    /// Most that duplicates may differ by, relative to their mean.
    highest_duplicate_difference: Factor,
    /// Spike recovery: lowest.
    spike_lowest: Factor,
    /// Spike recovery: highest.
    spike_highest: Factor,
    /// Most that a diluted solution may differ from the undiluted one, relative.
    highest_dilution_difference: Factor,
    /// Longest time between receipt and measurement.
    longest_holding: Duration,
    /// Smallest mass of a test portion.
    least_portion: Mass,
    /// Largest mass of the portions of one sample, over the smallest.
    highest_mass_ratio: Factor,
    /// Most that the portions of one sample may scatter beyond their measurement, relative standard deviation.
    highest_inhomogeneity: Factor,
    /// Volume of solution in a cup.
    cup_volume: Volume,
    /// What of it the sampler does not reach.
    cup_rest: Volume,
    /// Time from one reading to the next, where the readings themselves do not tell.
    time_per_reading: Duration,
}

/// How outlying replicates are found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReplicateTest {
    /// By the range that the stated repeatability allows.
    CriticalRange,
    /// By the distance from their mean over their own standard deviation.
    Grubbs,
    /// By the gap beside the outlying one over their range.
    Dixon,
    /// By the distance from their median over their own robust spread.
    Robust,
}

impl ReplicateTest {
    /// All of them.
    pub const ALL: [ReplicateTest; 4] =
        [ReplicateTest::CriticalRange, ReplicateTest::Grubbs, ReplicateTest::Dixon, ReplicateTest::Robust];
    /// The words in documents.
    pub fn words(self) -> &'static str {
        match self {
            ReplicateTest::CriticalRange => "critical range",
            ReplicateTest::Grubbs => "Grubbs",
            ReplicateTest::Dixon => "Dixon",
            ReplicateTest::Robust => "robust",
        }
    }
}

/// A control of a preparation batch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BatchControl {
    /// Everything but the sample.
    MethodBlank,
    /// A material whose value is known.
    Control,
    /// A second portion of a sample.
    Duplicate,
    /// A portion with analyte added.
    Spike,
}

impl BatchControl {
    /// All of them.
    pub const ALL: [BatchControl; 4] =
        [BatchControl::MethodBlank, BatchControl::Control, BatchControl::Duplicate, BatchControl::Spike];
    /// The words in documents.
    pub fn words(self) -> &'static str {
        match self {
            BatchControl::MethodBlank => "method blank",
            BatchControl::Control => "control",
            BatchControl::Duplicate => "duplicate",
            BatchControl::Spike => "spike",
        }
    }
}

/// What earlier runs found of one thing, oldest first, as parts of what it should be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct History {
    /// Of what: "sensitivity", or the material of a control.
    pub of: String,
    /// The values found over the value that should be; for the sensitivity, the characteristic mass or concentration over
    /// that of the method.
    pub found: Vec<Written<Factor>>,
}

impl Limits {
    /// What earlier runs found of something, oldest first; none where nothing is known.
    pub fn history(&self, of: &str) -> Vec<f64> {
        use darkline_metrology::kind::Kind;
        let known = self.history.iter().find(|history| history.of == of);
        known.map_or_else(Vec::new, |history| history.found.iter().map(|part| part.value().si()).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_method_without_limits_writes_none() {
        assert!(Limits::default().is_empty());
        assert_eq!(serde_json::to_string(&Limits::default()).unwrap(), "{}");
    }

    #[test]
    fn what_was_written_reads_back() {
        let text = r#"{"characteristic_mass":"15 pg","least_levels":3,"batch_controls":["method-blank"],"history":[{"of":"sensitivity","found":["98 %"]}]}"#;
        let limits: Limits = serde_json::from_str(text).unwrap();
        assert_eq!(serde_json::to_string(&limits).unwrap(), text);
        assert_eq!(limits.history("sensitivity"), [0.98]);
        assert!(limits.history("control").is_empty());
    }
}
