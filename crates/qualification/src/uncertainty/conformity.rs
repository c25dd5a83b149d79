//! Conformity with a limit: probabilities, guard bands, decisions, risks.

use darkline_metrology::conformity::{
    AcceptanceSide, Bound, DecisionRule, Guard, Limit, MeasuredValue, Prior, Statement, acceptance_limit, decide,
    global_risk, probability_of_conformity, risk_at_acceptance_limit,
};
use darkline_metrology::distribution::normal;
use darkline_metrology::rounding::Decimal;

use super::Computed;
use crate::answer::Found;
use crate::case_file::{Node, Read};
use crate::stop::{Stop, no_value};

/// A written figure as a decimal: comparisons with a limit are made digit by digit.
fn decimal(node: &Node<'_>) -> Read<Decimal> {
    node.written().trim().parse().map_err(|why: darkline_metrology::rounding::DecimalError| node.fault(why.to_string()))
}

fn measured(value: Decimal, expanded_u: Decimal, k: f64) -> MeasuredValue {
    MeasuredValue { value, expanded_u, coverage_factor: k, dof: f64::INFINITY }
}

pub(super) fn probability(_: Node<'_>, item: Node<'_>) -> Computed {
    let lower = item.number_or("T_L", f64::NEG_INFINITY)?;
    let upper = item.number_or("T_U", f64::INFINITY)?;
    let dof = item.number_or("dof", f64::INFINITY)?;
    let mut found = Found::new();
    found.put_if("p_c", probability_of_conformity(item.number_of("y")?, item.number_of("u")?, dof, lower, upper));
    Ok(found)
}

pub(super) fn guard_band(case: Node<'_>, item: Node<'_>) -> Computed {
    let of_case = case.get("given").map_or(Ok(2.0), |given| given.number_or("k", 2.0))?;
    let (r, k) = (item.number_of("r")?, item.number_or("k", of_case)?);
    let risk = risk_at_acceptance_limit(r, k);
    let mut found = Found::new();
    found.put_if("risk", risk);
    found.put("risk_kind", if r < 0.0 { "PFR" } else { "PFA" });
    if let (Some(limit), Some(risk)) = (item.number_if("stated_limit")?, risk) {
        // The document bounds the risk; it is met where the risk does not exceed the bound.
        if risk <= limit {
            found.put("stated_limit", limit);
        } else {
            found.put("stated_limit", risk);
        }
    }
    Ok(found)
}

pub(super) fn acceptance(_: Node<'_>, item: Node<'_>) -> Computed {
    let limit = item.number_of("limit")?;
    let (side, mode) = (item.need("side")?, item.need("mode")?);
    let bound = match side.text()? {
        "upper" => Bound::AtMost(limit),
        "lower" => Bound::AtLeast(limit),
        other => return Err(side.fault(format!("{other} is no side; write upper or lower")).into()),
    };
    let mode = match mode.text()? {
        "stringent" => AcceptanceSide::Stringent,
        "relaxed" => AcceptanceSide::Relaxed,
        other => return Err(mode.fault(format!("{other} is no mode; write stringent or relaxed")).into()),
    };
    let (alpha, dof) = (item.number_of("alpha")?, item.number_or("dof", f64::INFINITY)?);
    let mut found = Found::new();
    found.put_if("A", acceptance_limit(bound, mode, item.number_of("u")?, dof, alpha));
    found.put_if("z", normal::upper_quantile(alpha));
    Ok(found)
}

/// The limit that a table states: `T_L`, `T_U` or both.
fn limit(given: &Node<'_>) -> Result<Limit, Stop> {
    match (given.get("T_L"), given.get("T_U")) {
        (None, Some(upper)) => Ok(Limit::AtMost(decimal(&upper)?)),
        (Some(lower), None) => Ok(Limit::AtLeast(decimal(&lower)?)),
        (Some(lower), Some(upper)) => {
            Ok(Limit::between(decimal(&lower)?, decimal(&upper)?).map_err(|why| upper.fault(why.to_string()))?)
        }
        (None, None) => Err(given.fault("neither T_L nor T_U is given").into()),
    }
}

pub(super) fn decision(case: Node<'_>, item: Node<'_>) -> Computed {
    let given = case.need("given")?;
    let (limit, expanded_u) = (limit(&given)?, decimal(&given.need("U")?)?);
    let measured = measured(decimal(&item.need("y")?)?, expanded_u, given.number_or("k", 2.0)?);
    let judge = |rule: DecisionRule| decide(&measured, &limit, &rule).ok_or_else(|| no_value("the decision"));
    let binary = |rule| {
        Ok::<_, Stop>(match judge(rule)?.statement {
            Statement::Complies => "pass",
            Statement::DoesNotComply => "fail",
            Statement::Inconclusive => "inconclusive",
        })
    };
    let both_ways = judge(DecisionRule::GuardedBothWays(Guard::ExpandedUncertainty))?;
    let non_binary = match (both_ways.statement, both_ways.value_keeps_to_limit) {
        (Statement::Complies, _) => "pass",
        (Statement::Inconclusive, true) => "conditional pass",
        (Statement::Inconclusive, false) => "conditional fail",
        (Statement::DoesNotComply, _) => "fail",
    };
    let mut found = Found::new();
    found.put("simple", binary(DecisionRule::SimpleAcceptance)?);
    found.put("guarded", binary(DecisionRule::GuardedAcceptance(Guard::ExpandedUncertainty))?);
    found.put("non_binary", non_binary);
    Ok(found)
}

/// A food lot: rejected only beyond reasonable doubt.
pub(super) fn lot(_: Node<'_>, item: Node<'_>) -> Computed {
    let mut found = Found::new();
    let corrected = match item.number_if("x_uncorrected")? {
        Some(uncorrected) => Some(uncorrected / item.number_of("recovery")?),
        None => None,
    };
    let x = match (item.get("x"), corrected) {
        (Some(x), _) => decimal(&x)?,
        (None, Some(corrected)) => Decimal::from_f64(corrected).ok_or_else(|| no_value("x"))?,
        (None, None) => return Err(item.fault("neither x nor x_uncorrected is given").into()),
    };
    found.put("x", corrected.unwrap_or(x.to_f64()));
    let expanded_u = decimal(&item.need("U")?)?;
    found.put("lower", (&x - &expanded_u).to_f64());
    let limit = Limit::AtMost(decimal(&item.need("ML")?)?);
    let rule = DecisionRule::GuardedRejection(Guard::ExpandedUncertainty);
    let judged = decide(&measured(x, expanded_u, 2.0), &limit, &rule).ok_or_else(|| no_value("the decision"))?;
    found.put("compliant", judged.statement == Statement::Complies);
    Ok(found)
}

pub(super) fn global(case: Node<'_>) -> Computed {
    let given = case.need("given")?;
    let word = given.need("prior")?;
    let prior = match word.text()? {
        "normal" => Prior::Normal { mean: given.number_of("mean")?, sd: given.number_of("sd")? },
        "gamma" => Prior::Gamma { shape: given.number_of("shape")?, rate: given.number_of("rate")? },
        other => return Err(word.fault(format!("{other} is no prior known here")).into()),
    };
    let tolerance = (given.number_or("T_L", f64::NEG_INFINITY)?, given.number_or("T_U", f64::INFINITY)?);
    let upper = given.number_or("acceptance_limit", f64::INFINITY)?;
    let acceptance =
        (given.number_or("acceptance_lower", f64::NEG_INFINITY)?, given.number_or("acceptance_upper", upper)?);
    let risk =
        global_risk(prior, given.number_of("u_m")?, tolerance, acceptance).ok_or_else(|| no_value("the risk"))?;
    let mut found = Found::new();
    found.put("p_nonconforming", risk.nonconforming);
    found.put("R_C", risk.consumer);
    found.put("R_P", risk.producer);
    Ok(found)
}
