//! How readings of a run scatter, by the weights the method asks for: those of the standards, and that of an unknown.
//!
//! Invariant: a weight is finite and above zero, or there is a reason in words why not.

use darkline_calibration::point::Dispersion;
use darkline_calibration::two_component::TwoComponent;
use darkline_calibration::weighting::{ReplicateScatter, Weighting};
use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_record::method::{Amounts, GivenU, ResolvedMethod, Weights};

use crate::calibrating::CurvePoint;

/// The weights of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Weighing {
    rule: Rule,
    /// Below the lowest standard with analyte a weight by a power would grow without bound; it stays as it is there.
    lowest: MassConcentration,
    lowest_response: Response,
    /// Where the size of the scatter comes from.
    pub dispersion: Dispersion,
}

#[derive(Clone, Debug, PartialEq)]
enum Rule {
    ByFunction(Weighting),
    Repeatability {
        sd_at_zero: f64,
        rsd: f64,
    },
    /// Amount and standard uncertainty of a response there, ascending.
    Given(Vec<(f64, f64)>),
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
        let in_words = |why: &dyn std::fmt::Display| why.to_string();
        let plain = || points.iter().map(CurvePoint::unweighted).collect::<Vec<_>>();
        let plan = &method.calibration;
        let rule = match &plan.weights {
            Weights::Equal => Rule::ByFunction(Weighting::Equal),
            Weights::Repeatability => Rule::Repeatability {
                sd_at_zero: method.replicates.sd_at_zero.value().si(),
                rsd: method.replicates.rsd.value().si(),
            },
            Weights::GivenU { levels } => Rule::Given(given(levels)),
            Weights::InverseAmount { power } => {
                Rule::ByFunction(Weighting::InverseAmount { power: power.value().si() })
            }
            Weights::InverseResponse { power } => {
                Rule::ByFunction(Weighting::InverseResponse { power: power.value().si() })
            }
            Weights::Replicates => {
                Rule::ByFunction(Weighting::Replicates(ReplicateScatter::of(&plain()).map_err(|why| in_words(&why))?))
            }
            Weights::TwoComponent => {
                Rule::ByFunction(Weighting::TwoComponent(TwoComponent::fit(&plain()).map_err(|why| in_words(&why))?))
            }
        };
        let is_known = plan.amounts == Amounts::Uncertain || matches!(rule, Rule::Given(_));
        let with_analyte = points.iter().filter(|point| point.amount.si() > 0.0);
        let lowest = with_analyte.min_by(|a, b| a.amount.si().total_cmp(&b.amount.si()));
        Ok(Self {
            rule,
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
        match &self.rule {
            Rule::ByFunction(weighting) => {
                weighting.weight_at(amount, mean_response).map_err(|undefined| undefined.to_string())
            }
            Rule::Repeatability { sd_at_zero, rsd } => {
                let relative = rsd * mean_response.si();
                positive(1.0 / (sd_at_zero * sd_at_zero + relative * relative))
            }
            Rule::Given(levels) => {
                let u = between(levels, amount.si());
                positive(1.0 / (u * u))
            }
        }
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
        match &self.rule {
            Rule::ByFunction(Weighting::InverseAmount { .. } | Weighting::InverseResponse { .. }) => self.of_standard(
                MassConcentration::from_si(at_least(amount.si(), self.lowest.si())),
                Response::from_si(at_least(mean_response.si(), self.lowest_response.si())),
            ),
            Rule::ByFunction(Weighting::TwoComponent(_)) => {
                self.of_standard(MassConcentration::from_si(at_least(amount.si(), 0.0)), mean_response)
            }
            _ => self.of_standard(amount, mean_response),
        }
    }

    /// The same weights as a function of the calibration crate, for limits from the line; `None` where that has none.
    pub fn function(&self) -> Option<&Weighting> {
        match &self.rule {
            Rule::ByFunction(weighting) => Some(weighting),
            _ => None,
        }
    }

    /// Whether its weight depends on nothing but the response, so that no amount has to be read back for it.
    pub fn needs_no_amount(&self) -> bool {
        matches!(self.rule, Rule::Repeatability { .. } | Rule::ByFunction(Weighting::Equal | Weighting::Replicates(_)))
    }
}

fn positive(weight: f64) -> Result<f64, String> {
    if weight > 0.0 && weight.is_finite() { Ok(weight) } else { Err(format!("the weight of a reading is {weight}")) }
}

fn given(levels: &[GivenU]) -> Vec<(f64, f64)> {
    let mut knots: Vec<(f64, f64)> =
        levels.iter().map(|level| (level.amount.value().si(), level.u.value().si())).collect();
    knots.sort_by(|a, b| a.0.total_cmp(&b.0));
    knots
}

/// Straight between the knots, that of the end knot outside.
fn between(knots: &[(f64, f64)], at: f64) -> f64 {
    let (Some(first), Some(last)) = (knots.first(), knots.last()) else { return f64::NAN };
    if at <= first.0 {
        return first.1;
    }
    for pair in knots.windows(2) {
        let ((low, u_low), (high, u_high)) = (pair[0], pair[1]);
        if at <= high && high > low {
            return u_low + (u_high - u_low) * (at - low) / (high - low);
        }
    }
    last.1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_given_u_is_straight_between_its_amounts_and_level_outside() {
        let knots = [(1.0, 0.5), (3.0, 0.5), (4.0, 1.0)];
        for (at, u) in [(0.0, 0.5), (2.0, 0.5), (3.5, 0.75), (4.0, 1.0), (9.0, 1.0)] {
            assert!((between(&knots, at) - u).abs() < 1e-15, "{at}");
        }
    }
}
