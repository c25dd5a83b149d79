//! How the method turns responses into amounts: its calibration functions, its weights, and what the standards may show.

use darkline_metrology::kind::{Factor, MassConcentration, Response};
use serde::{Deserialize, Serialize};

use crate::figure::Written;

/// How responses become amounts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalibrationPlan {
    /// The calibration function, or those among which the evidence of the standards chooses.
    pub model: ModelPlan,
    /// How much each reading counts.
    pub weights: Weights,
    /// Whether the amounts of the standards count as exact in the fit.
    #[serde(default, skip_serializing_if = "Amounts::are_exact")]
    pub amounts: Amounts,
    /// How samples are read: from the calibration function, or from a line of their own.
    #[serde(default, skip_serializing_if = "OfSamples::is_function")]
    pub of_samples: OfSamples,
    /// How additions are made, where samples are read by standard additions.
    #[serde(default, skip_serializing_if = "Additions::are_usual")]
    pub additions: Additions,
    /// Standard uncertainty of the standards that they share through their stock, relative; exact where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_stock: Option<Written<Factor>>,
}

impl CalibrationPlan {
    /// A plan that names its function; amounts exact, no stock.
    pub fn named(model: CalibrationModel, weights: Weights) -> Self {
        Self {
            model: ModelPlan::Named(model),
            weights,
            amounts: Amounts::Exact,
            of_samples: OfSamples::CalibrationFunction,
            additions: Additions::ConstantVolume,
            u_stock: None,
        }
    }
}

/// Which calibration function is taken.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum ModelPlan {
    /// The method names it.
    Named(CalibrationModel),
    /// The evidence of the standards chooses among these.
    ByEvidence(Vec<CalibrationModel>),
}

impl ModelPlan {
    /// The functions that may come of it.
    pub fn allowed(&self) -> &[CalibrationModel] {
        match self {
            ModelPlan::Named(model) => std::slice::from_ref(model),
            ModelPlan::ByEvidence(models) => models,
        }
    }
}

/// The calibration function.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CalibrationModel {
    /// `response = a + b·amount`.
    StraightLine,
    /// `response = b·amount`.
    ThroughOrigin,
    /// `response = a + b·amount + c·amount²`.
    Quadratic,
    /// `response = b·amount + c·amount²`.
    QuadraticThroughOrigin,
    /// A hyperbola through the origin.
    Hyperbola,
    /// A hyperbola and an offset.
    HyperbolaWithOffset,
    /// The three-coefficient rational equation.
    Rational,
    /// Absorbance bent by light that is not absorbed.
    UnabsorbedLight,
}

impl CalibrationModel {
    /// All of them.
    pub const ALL: [CalibrationModel; 8] = [
        CalibrationModel::StraightLine,
        CalibrationModel::ThroughOrigin,
        CalibrationModel::Quadratic,
        CalibrationModel::QuadraticThroughOrigin,
        CalibrationModel::Hyperbola,
        CalibrationModel::HyperbolaWithOffset,
        CalibrationModel::Rational,
        CalibrationModel::UnabsorbedLight,
    ];
    /// The words in documents.
    pub fn words(self) -> &'static str {
        match self {
            CalibrationModel::StraightLine => "straight line",
            CalibrationModel::ThroughOrigin => "straight line through the origin",
            CalibrationModel::Quadratic => "quadratic",
            CalibrationModel::QuadraticThroughOrigin => "quadratic through the origin",
            CalibrationModel::Hyperbola => "hyperbola",
            CalibrationModel::HyperbolaWithOffset => "hyperbola with offset",
            CalibrationModel::Rational => "rational",
            CalibrationModel::UnabsorbedLight => "unabsorbed light",
        }
    }
    /// The model with these words.
    pub fn from_words(words: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|model| model.words() == words)
    }
}

/// How much each reading counts in the calibration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Weights {
    /// All alike.
    Equal,
    /// By the inverse square of the repeatability the method states.
    Repeatability,
    /// By the inverse square of standard uncertainties that the method gives and that count as known.
    GivenU {
        /// The standard uncertainty of one reading at some amounts, straight between them.
        levels: Vec<GivenU>,
    },
    /// By `1/amount^power`.
    InverseAmount {
        /// The power.
        power: Written<Factor>,
    },
    /// By `1/response^power`.
    InverseResponse {
        /// The power.
        power: Written<Factor>,
    },
    /// By the scatter of the standards' own replicates.
    Replicates,
    /// By the two-component error model, estimated from the standards.
    TwoComponent,
}

/// The standard uncertainty of a reading at an amount.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GivenU {
    /// The amount.
    pub amount: Written<MassConcentration>,
    /// The standard uncertainty of the response there.
    pub u: Written<Response>,
}

impl Weights {
    /// The words in documents for each of them.
    pub const WORDS: [&'static str; 7] = [
        "equal",
        "repeatability",
        "given u",
        "inverse power of amount",
        "inverse power of response",
        "replicates",
        "two-component",
    ];
    /// The words in documents.
    pub fn words(&self) -> &'static str {
        match self {
            Weights::Equal => "equal",
            Weights::Repeatability => "repeatability",
            Weights::GivenU { .. } => "given u",
            Weights::InverseAmount { .. } => "inverse power of amount",
            Weights::InverseResponse { .. } => "inverse power of response",
            Weights::Replicates => "replicates",
            Weights::TwoComponent => "two-component",
        }
    }
    /// The words of the report: with the power where there is one.
    pub fn described(&self) -> String {
        match self {
            Weights::InverseAmount { power } => format!("1/amount^{}", power.digits()),
            Weights::InverseResponse { power } => format!("1/response^{}", power.digits()),
            Weights::TwoComponent => "two-component error model".into(),
            Weights::Replicates => "scatter of replicates".into(),
            plain => plain.words().into(),
        }
    }
    /// Whether they are the inverse squares of standard uncertainties, so that a reading of weight one has no unit.
    pub fn are_inverse_variances(&self) -> bool {
        matches!(self, Weights::Repeatability | Weights::GivenU { .. } | Weights::Replicates | Weights::TwoComponent)
    }
}

/// Whether the amounts of the standards count as exact in the fit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Amounts {
    /// They do; their uncertainty is propagated through the fit.
    #[default]
    Exact,
    /// Each point is met at its nearest place on the function, by the uncertainties of both its figures.
    Uncertain,
}

impl Amounts {
    /// Whether they count as exact.
    #[allow(clippy::trivially_copy_pass_by_ref)] // serde's `skip_serializing_if` asks for a reference.
    pub fn are_exact(&self) -> bool {
        *self == Amounts::Exact
    }
    /// The word in documents.
    pub fn word(self) -> &'static str {
        match self {
            Amounts::Exact => "exact",
            Amounts::Uncertain => "uncertain",
        }
    }
}

/// How samples are read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum OfSamples {
    /// From the calibration function of the run, as checks and blanks are.
    #[default]
    CalibrationFunction,
    /// Each from the line of its own spikes.
    StandardAdditions,
    /// Each between two standards measured before and after it.
    Bracket,
    /// Each by proportion to one standard measured before and after it.
    OneStandard,
}

impl OfSamples {
    /// All of them.
    pub const ALL: [OfSamples; 4] =
        [OfSamples::CalibrationFunction, OfSamples::StandardAdditions, OfSamples::Bracket, OfSamples::OneStandard];
    /// Whether samples are read as checks and blanks are.
    #[allow(clippy::trivially_copy_pass_by_ref)] // serde's `skip_serializing_if` asks for a reference.
    pub fn is_function(&self) -> bool {
        *self == OfSamples::CalibrationFunction
    }
    /// The words in documents.
    pub fn words(self) -> &'static str {
        match self {
            OfSamples::CalibrationFunction => "calibration function",
            OfSamples::StandardAdditions => "standard additions",
            OfSamples::Bracket => "bracket",
            OfSamples::OneStandard => "one standard",
        }
    }
}

/// How standard additions are made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Additions {
    /// Equal portions with growing masses, all made up to one volume; the amount is that of the solution made up.
    #[default]
    ConstantVolume,
    /// Masses added to a volume of the portion's solution that they leave as it is; the amount is that of this solution.
    Plain,
    /// Additions one after the other to one solution, whose volume grows.
    Successive,
    /// One addition to one of two equal portions, as much solvent to the other.
    Single,
}

impl Additions {
    /// All of them.
    pub const ALL: [Additions; 4] =
        [Additions::ConstantVolume, Additions::Plain, Additions::Successive, Additions::Single];
    /// Whether they are made as they usually are.
    #[allow(clippy::trivially_copy_pass_by_ref)] // serde's `skip_serializing_if` asks for a reference.
    pub fn are_usual(&self) -> bool {
        *self == Additions::ConstantVolume
    }
    /// The words in documents.
    pub fn words(self) -> &'static str {
        match self {
            Additions::ConstantVolume => "constant volume",
            Additions::Plain => "plain",
            Additions::Successive => "successive",
            Additions::Single => "single",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plan_of_an_earlier_day_still_reads_and_keeps_its_form() {
        let text = r#"{"model":"straight-line","weights":"repeatability","u_stock":"0.3 %"}"#;
        let plan: CalibrationPlan = serde_json::from_str(text).unwrap();
        assert_eq!(plan.model, ModelPlan::Named(CalibrationModel::StraightLine));
        assert_eq!(serde_json::to_string(&plan).unwrap(), text);
    }

    #[test]
    fn models_by_evidence_and_weights_with_a_power_read_back() {
        let text = r#"{"model":["straight-line","quadratic"],"weights":{"inverse-amount":{"power":"2"}},"amounts":"uncertain"}"#;
        let plan: CalibrationPlan = serde_json::from_str(text).unwrap();
        assert_eq!(plan.model.allowed().len(), 2);
        assert_eq!(plan.weights.described(), "1/amount^2");
        assert_eq!(serde_json::to_string(&plan).unwrap(), text);
    }

    #[test]
    fn brackets_read_back() {
        for way in ["bracket", "one-standard"] {
            let text = format!(r#"{{"model":"straight-line","weights":"equal","of_samples":"{way}"}}"#);
            let plan: CalibrationPlan = serde_json::from_str(&text).unwrap();
            assert!(!plan.of_samples.is_function() && OfSamples::ALL.contains(&plan.of_samples));
            assert_eq!(serde_json::to_string(&plan).unwrap(), text);
        }
    }

    #[test]
    fn forms_of_additions_read_back() {
        for (place, form) in ["plain", "successive", "single"].into_iter().enumerate() {
            let text = format!(
                r#"{{"model":"straight-line","weights":"equal","of_samples":"standard-additions","additions":"{form}"}}"#
            );
            let plan: CalibrationPlan = serde_json::from_str(&text).unwrap();
            assert_eq!(plan.additions, Additions::ALL[place + 1]);
            assert_eq!(plan.additions.words(), form);
            assert_eq!(serde_json::to_string(&plan).unwrap(), text);
        }
    }

    #[test]
    fn words_are_told_apart() {
        for model in CalibrationModel::ALL {
            assert_eq!(CalibrationModel::from_words(model.words()), Some(model));
        }
    }
}
