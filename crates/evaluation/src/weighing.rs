//! How readings of a run scatter, by the weights the method asks for: those of the standards, and that of an unknown.
//!
//! Invariant: a weight is finite and above zero, or there is a reason in words why not.

use darkline_calibration::point::{Dispersion, Point};
use darkline_calibration::two_component::TwoComponent;
use darkline_calibration::weighting::{GivenU, ReplicateScatter, Weighting};
use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_record::method::{Amounts, CalibrationModel, ModelPlan, ResolvedMethod, Weights};

use crate::calibrating::CurvePoint;
use crate::evidence;

/// The weights of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Weighing {
    /// The weights as a function of amount and response.
    pub weighting: Weighting,
    /// Below the lowest standard with analyte a weight by a power would grow without bound; it stays as it is there.
    lowest: MassConcentration,
    lowest_response: Response,
    /// Where the size of the scatter comes from.
    pub dispersion: Dispersion,
}

impl Weighing {
    /// The weights that a method asks for, estimated from the standards where it says so.
    ///
    /// # Arguments
    /// * `points`: the readings of the standards; their weights are not looked at.
    ///
    /// # Errors
    /// Why the standards give no weights, as a fact.
    ///
    /// # Source
    /// By the inverse variance: ISO/TS 28037:2010, 6.1; the two-component model: D. M. Rocke, S. Lorenzato, Technometrics 37
    /// (1995) 176.
    pub fn of(method: &ResolvedMethod, points: &[CurvePoint]) -> Result<Self, String> {
        let plain = || points.iter().map(CurvePoint::unweighted).collect::<Vec<_>>();
        let plan = &method.calibration;
        let weighting = match &plan.weights {
            Weights::Equal => Weighting::Equal,
            Weights::Repeatability => Weighting::Repeatability {
                sd_at_zero: method.replicates.sd_at_zero.value().si(),
                rsd: method.replicates.rsd.value().si(),
            },
            Weights::GivenU { levels } => {
                let levels: Vec<_> = levels.iter().map(|level| (level.amount.value(), level.u.value())).collect();
                let given = GivenU::new(&levels).ok_or("a given standard uncertainty is not above zero")?;
                Weighting::Given(given)
            }
            Weights::InverseAmount { power } => Weighting::InverseAmount { power: power.value().si() },
            Weights::InverseResponse { power } => Weighting::InverseResponse { power: power.value().si() },
            Weights::Replicates => {
                Weighting::Replicates(ReplicateScatter::of(&plain()).map_err(|why| why.to_string())?)
            }
            Weights::TwoComponent => two_component(&plan.model, &plain())?,
        };
        let is_known = plan.amounts == Amounts::Uncertain || matches!(weighting, Weighting::Given(_));
        let with_analyte = points.iter().filter(|point| point.amount.si() > 0.0);
        let lowest = with_analyte.min_by(|a, b| a.amount.si().total_cmp(&b.amount.si()));
        Ok(Self {
            weighting,
            lowest: lowest.map_or(MassConcentration::from_si(0.0), |point| point.amount),
            lowest_response: lowest.map_or(Response::from_si(0.0), |point| point.mean_response),
            dispersion: if is_known { Dispersion::Known } else { Dispersion::Estimated },
        })
    }

    /// The weight of a reading of a standard.
    ///
    /// # Arguments
    /// * `mean_response`: of the readings of its row, so that no reading weighs more by its own scatter.
    ///
    /// # Errors
    /// Why it has none.
    pub fn of_standard(&self, amount: MassConcentration, mean_response: Response) -> Result<f64, String> {
        self.weighting.weight_at(amount, mean_response).map_err(|undefined| undefined.to_string())
    }

    /// The weight of a reading of an unknown whose amount has been read back from the mean response.
    ///
    /// # Errors
    /// As [`Weighing::of_standard`].
    ///
    /// # Source
    /// D. L. Massart et al., Handbook of Chemometrics and Qualimetrics A, 1997, 8.2.3. That the weight of the lowest standard
    /// holds below it: common practice, no source.
    pub fn of_unknown(&self, amount: MassConcentration, mean_response: Response) -> Result<f64, String> {
        let at_least = |figure: f64, least: f64| if figure > least { figure } else { least };
        match &self.weighting {
            Weighting::InverseAmount { .. } | Weighting::InverseResponse { .. } => self.of_standard(
                MassConcentration::from_si(at_least(amount.si(), self.lowest.si())),
                Response::from_si(at_least(mean_response.si(), self.lowest_response.si())),
            ),
            Weighting::TwoComponent(_) => {
                self.of_standard(MassConcentration::from_si(at_least(amount.si(), 0.0)), mean_response)
            }
            _ => self.of_standard(amount, mean_response),
        }
    }

    /// Whether its weight depends on nothing but the response, so that no amount has to be read back for it.
    pub fn needs_no_amount(&self) -> bool {
        matches!(self.weighting, Weighting::Repeatability { .. } | Weighting::Equal | Weighting::Replicates(_))
    }
}

/// The two-component model about the function that the method asks for, fitted with equal weights: a bend is no scatter.
/// Where the evidence chooses, about the function with the most parameters that fits.
fn two_component(plan: &ModelPlan, points: &[Point]) -> Result<Weighting, String> {
    let fitted = plan
        .allowed()
        .iter()
        .filter(|model| **model != CalibrationModel::StraightLine)
        .filter_map(|model| evidence::function_of(*model).fit(points, Dispersion::Estimated).ok())
        .max_by_key(|function| function.model().n_parameters());
    match fitted {
        Some(function) => TwoComponent::fit_along(points, &*function).map(Weighting::TwoComponentOfResponse),
        None => TwoComponent::fit(points).map(Weighting::TwoComponent),
    }
    .map_err(|why| why.to_string())
}
