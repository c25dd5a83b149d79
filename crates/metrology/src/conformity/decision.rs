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

/// A fraction in per cent, without binary noise and without noughts at the end.
fn percent(fraction: f64) -> String {
    let hundred = Decimal::from_f64(100.0).expect("a hundred is finite");
    let Some(fraction) = Decimal::from_f64(fraction) else { return fraction.to_string() };
    let text = (&fraction * &hundred).to_string();
    match text.split_once('.') {
        Some((whole, decimals)) if decimals.bytes().all(|d| d == b'0') => whole.to_owned(),
        Some(_) => text.trim_end_matches('0').to_owned(),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    fn measured(value: &str, expanded_u: &str) -> MeasuredValue {
        MeasuredValue { value: d(value), expanded_u: d(expanded_u), coverage_factor: 2.0, dof: f64::INFINITY }
    }

    #[test]
    fn the_rules_say_themselves() {
        assert_eq!(
            DecisionRule::SimpleAcceptance.words(),
            "simple acceptance: complies if the value keeps to the limit, does not comply otherwise"
        );
        assert_eq!(
            DecisionRule::GuardedAcceptance(Guard::Multiple(d("0.83"))).words(),
            "guarded acceptance, guard band 0.83 U: complies if the value keeps to the limit by at least the guard band, \
             does not comply otherwise"
        );
        assert_eq!(
            DecisionRule::GuardedRejection(Guard::Risk(0.05)).words(),
            "guarded rejection, guard band for a risk of 5 %: does not comply if the value passes the limit by more than \
             the guard band, complies otherwise"
        );
        assert_eq!(
            DecisionRule::GuardedBothWays(Guard::Width(d("0.010"))).words(),
            "guard band on both sides, guard band 0.010: complies if the value keeps to the limit by at least the guard \
             band, does not comply if it passes the limit by more than the guard band, inconclusive between"
        );
        assert!(DecisionRule::GuardedAcceptance(Guard::Risk(0.025)).words().contains("a risk of 2.5 %"));
    }

    #[test]
    fn a_rule_reads_back_as_it_was_written() {
        for rule in [
            DecisionRule::SimpleAcceptance,
            DecisionRule::GuardedAcceptance(Guard::ExpandedUncertainty),
            DecisionRule::GuardedRejection(Guard::Multiple(d("0.83"))),
            DecisionRule::GuardedBothWays(Guard::Risk(0.05)),
            DecisionRule::GuardedAcceptance(Guard::Width(d("0.010"))),
        ] {
            let written = serde_json::to_string(&rule).unwrap();
            assert_eq!(serde_json::from_str::<DecisionRule>(&written).unwrap(), rule, "{written}");
        }
    }

    #[test]
    fn a_limit_on_both_sides_guards_both_ends() {
        let limit = Limit::between(d("85"), d("115")).unwrap();
        let rule = DecisionRule::GuardedBothWays(Guard::ExpandedUncertainty);
        let said = |value| decide(&measured(value, "5"), &limit, &rule).unwrap().statement.to_string();
        assert_eq!(said("79.9"), "does not comply");
        assert_eq!(said("80"), "inconclusive");
        assert_eq!(said("90"), "complies");
        assert_eq!(said("110"), "complies");
        assert_eq!(said("112"), "inconclusive");
        assert_eq!(said("120.1"), "does not comply");
    }

    #[test]
    fn a_lower_limit_is_guarded_upwards() {
        let limit = Limit::AtLeast(d("5"));
        let judge = |value, rule: &DecisionRule| decide(&measured(value, "0.4"), &limit, rule).unwrap().statement;
        let acceptance = DecisionRule::GuardedAcceptance(Guard::ExpandedUncertainty);
        let rejection = DecisionRule::GuardedRejection(Guard::ExpandedUncertainty);
        assert_eq!(judge("5.39", &acceptance), Statement::DoesNotComply);
        assert_eq!(judge("5.4", &acceptance), Statement::Complies);
        assert_eq!(judge("4.6", &rejection), Statement::Complies);
        assert_eq!(judge("4.59", &rejection), Statement::DoesNotComply);
    }

    #[test]
    fn what_makes_no_guard_band_makes_no_statement() {
        let limit = Limit::AtMost(d("1"));
        let risky = DecisionRule::GuardedAcceptance(Guard::Risk(1.0));
        assert_eq!(decide(&measured("1", "0.1"), &limit, &risky), None);
        assert_eq!(decide(&measured("1", "-0.1"), &limit, &DecisionRule::SimpleAcceptance), None);
        let nought = MeasuredValue { coverage_factor: 0.0, ..measured("1", "0.1") };
        assert_eq!(decide(&nought, &limit, &DecisionRule::SimpleAcceptance), None);
        let unknown = MeasuredValue { dof: f64::NAN, ..measured("1", "0.1") };
        assert_eq!(decide(&unknown, &limit, &DecisionRule::SimpleAcceptance), None);
    }

    proptest! {
        #[test]
        fn the_rules_agree_in_their_order(y in 0_u32..3000, u in 0_u32..500) {
            let measured = measured(&format!("{y}e-3"), &format!("{u}e-3"));
            let limit = Limit::AtMost(d("1.5"));
            let says = |rule: DecisionRule| decide(&measured, &limit, &rule).unwrap().statement;
            let guard = Guard::ExpandedUncertainty;
            let accepted = says(DecisionRule::GuardedAcceptance(guard.clone())) == Statement::Complies;
            let simple = says(DecisionRule::SimpleAcceptance) == Statement::Complies;
            let tolerated = says(DecisionRule::GuardedRejection(guard.clone())) == Statement::Complies;
            prop_assert!(accepted <= simple && simple <= tolerated);
            let expected = match (accepted, tolerated) {
                (true, _) => Statement::Complies,
                (false, true) => Statement::Inconclusive,
                (false, false) => Statement::DoesNotComply,
            };
            prop_assert_eq!(says(DecisionRule::GuardedBothWays(guard)), expected);
        }
    }
}
