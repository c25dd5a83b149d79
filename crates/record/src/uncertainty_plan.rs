//! How far the method trusts its budget: when it is validated by Monte Carlo, and what control data say beside it.

use darkline_metrology::kind::Factor;
use serde::{Deserialize, Serialize};

use crate::figure::Written;

/// How the uncertainty of results is validated.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct UncertaintyPlan {
    /// Relative standard uncertainty of a denominator above which every result is validated by Monte Carlo; on demand alone
    /// where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub monte_carlo_above: Option<Written<Factor>>,
    /// Trials.
    pub trials: u32,
    /// Digits of the standard uncertainty that count in the comparison.
    pub digits: u8,
    /// The coverage interval that is compared, and reported where first order does not hold.
    pub interval: CoverageInterval,
    /// What control data say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub top_down: Option<TopDown>,
}

impl UncertaintyPlan {
    /// What holds where a method says nothing.
    ///
    /// # Source
    /// JCGM 101:2008, 7.2.1 (10⁶ trials for a 95 % interval) and 7.9.2 (one or two digits).
    pub const SILENT: UncertaintyPlan = UncertaintyPlan {
        monte_carlo_above: None,
        trials: 1_000_000,
        digits: 2,
        interval: CoverageInterval::Symmetric,
        top_down: None,
    };
}

/// A kind of coverage interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CoverageInterval {
    /// As much probability below it as above.
    Symmetric,
    /// The shortest of its probability.
    Shortest,
}

impl CoverageInterval {
    /// The word in documents.
    pub fn word(self) -> &'static str {
        match self {
            CoverageInterval::Symmetric => "symmetric",
            CoverageInterval::Shortest => "shortest",
        }
    }
}

/// Relative figures from control data, for an uncertainty that no model is needed for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TopDown {
    /// Within-laboratory reproducibility as a relative standard deviation.
    pub u_rw: Written<Factor>,
    /// Relative biases found with reference materials, proficiency tests or recoveries.
    pub biases: Vec<Written<Factor>>,
    /// Relative standard uncertainty of what they were held against.
    pub u_reference: Written<Factor>,
}
