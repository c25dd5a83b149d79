//! The decision rule and the statement it leads to.
//!
//! [`DecisionRule`] is agreed before measuring and printed with every statement; [`decide`] applies it.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::limit::Limit;
use crate::distribution::student_t;
use crate::rounding::Decimal;

/// How wide a guard band is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Guard {
    /// The expanded uncertainty U: w = U.
    ExpandedUncertainty,
    /// A multiple r of it: w = rU, such as 0.83.
    Multiple(Decimal),
    /// As wide as keeps the risk of a wrong statement at the acceptance limit to this: w = t(1 − α; ν)·u.
    Risk(f64),
    /// A width of its own, in the unit of the limit.
    Width(Decimal),
}

/// How a value and its uncertainty lead to a statement about a limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DecisionRule {
    /// The value alone decides; the uncertainty is taken into account by having been agreed on.
    SimpleAcceptance,
    /// Complies only inside the limit by the guard band, otherwise does not comply: protects who relies
    /// on the limit.
    GuardedAcceptance(Guard),
    /// Does not comply only beyond the limit by the guard band, otherwise complies: protects who is
    /// judged ("beyond reasonable doubt").
    GuardedRejection(Guard),
    /// Complies inside by the guard band, does not comply beyond by it, and is inconclusive between.
    GuardedBothWays(Guard),
}

impl Guard {
    fn words(&self) -> String {
        match self {
            Guard::ExpandedUncertainty => "guard band U".to_owned(),
            Guard::Multiple(r) => format!("guard band {r} U"),
            Guard::Risk(alpha) => format!("guard band for a risk of {} %", percent(*alpha)),
            Guard::Width(w) => format!("guard band {w}"),
        }
    }

    /// The width for a measured value; `None` where the risk or the coverage factor makes none.
    fn width(&self, measured: &MeasuredValue) -> Option<Decimal> {
        match self {
            Guard::ExpandedUncertainty => Some(measured.expanded_u.clone()),
            Guard::Multiple(r) => Some(r * &measured.expanded_u),
            Guard::Width(w) => Some(w.clone()),
            Guard::Risk(alpha) => {
                let u = measured.expanded_u.to_f64() / measured.coverage_factor;
                Decimal::from_f64(student_t::upper_quantile(*alpha, measured.dof)? * u)
            }
        }
    }
}

impl DecisionRule {
    /// The rule in words, as printed with every statement.
    ///
    /// # Source
    /// ILAC-G8:09/2019, 4.2 (the rules); ISO/IEC 17025:2017, 7.8.6.2 (that the rule is reported).
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            DecisionRule::SimpleAcceptance => {
                "simple acceptance: complies if the value keeps to the limit, does not comply otherwise".to_owned()
            }
            DecisionRule::GuardedAcceptance(guard) => format!(
                "guarded acceptance, {}: complies if the value keeps to the limit by at least the guard band, does not \
                 comply otherwise",
                guard.words()
            ),
            DecisionRule::GuardedRejection(guard) => format!(
                "guarded rejection, {}: does not comply if the value passes the limit by more than the guard band, \
                 complies otherwise",
                guard.words()
            ),
            DecisionRule::GuardedBothWays(guard) => format!(
                "guard band on both sides, {}: complies if the value keeps to the limit by at least the guard band, does \
                 not comply if it passes the limit by more than the guard band, inconclusive between",
                guard.words()
            ),
        }
    }

    fn guard(&self) -> Option<&Guard> {
        match self {
            DecisionRule::SimpleAcceptance => None,
            DecisionRule::GuardedAcceptance(guard)
            | DecisionRule::GuardedRejection(guard)
            | DecisionRule::GuardedBothWays(guard) => Some(guard),
        }
    }
}

/// A value to be judged.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredValue {
    /// The value, in the unit of the limit.
    pub value: Decimal,
    /// Its expanded uncertainty U, 0 or above.
    pub expanded_u: Decimal,
    /// The coverage factor k behind U, above 0.
    pub coverage_factor: f64,
    /// Effective degrees of freedom, above 0; infinity for none stated.
    pub dof: f64,
}

/// What is said about a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Statement {
    /// The limit is kept.
    Complies,
    /// The limit is not kept.
    DoesNotComply,
    /// The rule leaves it open.
    Inconclusive,
}

impl fmt::Display for Statement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Statement::Complies => "complies",
            Statement::DoesNotComply => "does not comply",
            Statement::Inconclusive => "inconclusive",
        })
    }
}

/// A statement with what it rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Assessment {
    /// The statement.
    pub statement: Statement,
    /// Whether the value itself keeps to the limit: tells a conditional pass from a conditional fail
    /// where the statement is inconclusive.
    pub value_keeps_to_limit: bool,
    /// The width of the guard band, 0 for simple acceptance.
    pub guard_band: Decimal,
}

/// Judges a measured value by a decision rule.
///
/// # Arguments
/// * `measured`: value and uncertainty, rounded or not as the rule of the order says; judged as given.
/// * `limit`: in the same unit.
/// * `rule`: as agreed with the customer.
///
/// `None` where no guard band follows: a risk not between 0 and 1, a coverage factor or degrees of freedom
/// not above 0, a negative uncertainty.
///
/// # Source
/// ILAC-G8:09/2019, 4.2.1 to 4.2.3; JCGM 106:2012, 8.2 and 8.3; Regulation (EC) No 333/2007, annex, D.2
/// (guarded rejection). Checked by `tests/statistics/conformity.rs`.
///
/// # Example
/// ```
/// use darkline_metrology::conformity::{DecisionRule, Guard, Limit, MeasuredValue, Statement, decide};
/// let pond = MeasuredValue { value: "5.3".parse()?, expanded_u: "0.4".parse()?, coverage_factor: 2.0, dof: f64::INFINITY };
/// let rule = DecisionRule::GuardedBothWays(Guard::ExpandedUncertainty);
/// let judged = decide(&pond, &Limit::AtMost("5.0".parse()?), &rule).expect("U is a guard band");
/// assert_eq!(judged.statement, Statement::Inconclusive);
/// # Ok::<(), darkline_metrology::rounding::DecimalError>(())
/// ```
#[must_use]
pub fn decide(measured: &MeasuredValue, limit: &Limit, rule: &DecisionRule) -> Option<Assessment> {
    let judgeable = !measured.expanded_u.is_negative() && measured.coverage_factor > 0.0 && measured.dof > 0.0;
    if !judgeable {
        return None;
    }
    let guard_band = match rule.guard() {
        None => Decimal::ZERO,
        Some(guard) => guard.width(measured)?,
    };
    let value = &measured.value;
    let value_keeps_to_limit = limit.holds_for(value, &Decimal::ZERO);
    let keeps_by_guard = limit.holds_for(value, &-&guard_band);
    let passes_by_guard = !limit.holds_for(value, &guard_band);
    let statement = match rule {
        DecisionRule::SimpleAcceptance => either(value_keeps_to_limit),
        DecisionRule::GuardedAcceptance(_) => either(keeps_by_guard),
        DecisionRule::GuardedRejection(_) => either(!passes_by_guard),
        DecisionRule::GuardedBothWays(_) if keeps_by_guard => Statement::Complies,
        DecisionRule::GuardedBothWays(_) if passes_by_guard => Statement::DoesNotComply,
        DecisionRule::GuardedBothWays(_) => Statement::Inconclusive,
    };
    Some(Assessment { statement, value_keeps_to_limit, guard_band })
}

fn either(complies: bool) -> Statement {
    if complies { Statement::Complies } else { Statement::DoesNotComply }
}

/// A fraction in per cent, without binary noise.
fn percent(fraction: f64) -> String {
    match Decimal::from_f64(fraction) {
        Some(fraction) => {
            (&fraction * &Decimal::from_f64(100.0).expect("finite")).to_string().trim_end_matches(".00").to_owned()
        }
        None => fraction.to_string(),
    }
}
