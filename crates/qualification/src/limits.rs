//! The limits pack: decisions, conversions and criteria that follow from limits; the limits themselves against the handbook.

use darkline_handbook::{Exposure, Handbook};
use darkline_metrology::conformity::{DecisionRule, Guard, Limit, MeasuredValue, Statement, decide};
use darkline_metrology::rounding::{Decimal, Rounding};

use crate::answer::{Answer, Found};
use crate::case_file::{Node, Read};
use crate::comparison::{Comparing, Comparison, FULL_PRECISION, Tolerance};
use crate::pack;
use crate::qualification::Ran;
use crate::stop::{Stop, no_value, refused};

/// How an expected figure is held.
#[derive(Clone, Copy, Debug)]
enum Held {
    /// As an exact decimal.
    Exactly,
    /// Rounded to so many decimals by the rule of the case.
    To(i32),
    /// As it is written, digit for digit.
    Written,
    /// To the digits it is written with: what a table gives rounded.
    AsPrinted,
    /// A word, yes or no.
    Word,
}

type Computed = Result<Found, Stop>;

/// What computes a kind, and the keys that are expected.
type Runner = (fn(&Node<'_>, &Node<'_>) -> Computed, &'static [(&'static str, Held)]);

fn runner(kind: &str) -> Option<Runner> {
    use Held::{AsPrinted, Exactly, To, Word, Written};
    Some(match kind {
        "performance_case" => (performance, &[("loq_max", Exactly), ("u_max", Exactly)]),
        "drying factor" => (drying, &[("expected_level", Written)]),
        "decision" => (
            decision,
            &[
                ("result_minus_U", Written),
                ("outcome_beyond_doubt", Word),
                ("outcome_simple", Word),
                ("outcome_guarded_acceptance", Word),
            ],
        ),
        "84/500 acceptance" => (ceramic_ware, &[("outcome", Word)]),
        "flatware conversion" => (flatware, &[("release_mg_dm2", To(6))]),
        "annual whole sludge application rate" => (sludge, &[("expected_t_ha", To(2))]),
        "unit conversion" => (blood, &[("expected_ug_L", Exactly), ("expected_umol_L", To(4))]),
        "option1_case" => {
            (option_1, &[("oral_ug_g", Exactly), ("parenteral_ug_g", Exactly), ("inhalation_ug_g", Exactly)])
        }
        "option2b_case" => (
            option_2b,
            &[
                ("total_ug_day", Exactly),
                ("percent_of_pde", To(1)),
                ("within_pde", Word),
                ("below_control_threshold", Word),
            ],
        ),
        "j_case" => (
            concentration_after_dilution,
            &[
                ("target_limit_ug_g", To(4)),
                ("dilution_factor_mL_g", To(4)),
                ("J_ng_mL", To(4)),
                ("standard_low_ng_mL", To(4)),
                ("standard_high_ng_mL", To(4)),
            ],
        ),
        "ctcl_case" => (
            skin_exposure,
            &[("daily_rounded_ug_cm2", Exactly), ("expected_ug_g", Exactly), ("unrounded_ug_g", AsPrinted)],
        ),
        "limit" => (on_file, &[("value", Written), ("unit", Word), ("u_max_percent", Exactly)]),
        "pde" => {
            (exposure, &[("oral", Exactly), ("parenteral", Exactly), ("inhalation", Exactly), ("cutaneous", Exactly)])
        }
        _ => return None,
    })
}

/// Whether a kind belongs to this pack.
pub(crate) fn knows(kind: &str) -> bool {
    runner(kind).is_some()
}

/// Runs a case. The root of its file holds limits that it may name.
pub(crate) fn run(name: &str, kind: &str, case: Node<'_>, root: Node<'_>) -> Ran {
    let Some((compute, keys)) = runner(kind) else { return Ok(None) };
    let expected: Vec<(Node<'_>, Held)> = keys.iter().filter_map(|(key, held)| Some((case.get(key)?, *held))).collect();
    if expected.is_empty() {
        let keys: Vec<&str> = keys.iter().map(|(key, _)| *key).collect();
        return Err(case.fault(format!("a case of {kind} expects one of {}", keys.join(", "))));
    }
    let found = pack::settled(compute(&case, &root))?;
    let found = |key: &str| found(key);
    let mut comparing = Comparing::new(name, &found);
    for (key, held) in expected {
        hold(&mut comparing, &key, held)?;
    }
    let comparisons: Vec<Comparison> = comparing.comparisons;
    Ok(Some(comparisons))
}

fn hold(comparing: &mut Comparing<'_>, key: &Node<'_>, held: Held) -> Read<()> {
    match held {
        Held::Word => comparing.key(key, Tolerance::Exact),
        Held::Written => {
            comparing.answer(key.name(), Answer::Text(key.written().to_owned()), key.written(), Tolerance::Exact);
            Ok(())
        }
        Held::Exactly => comparing.figure(key, Tolerance::Relative(FULL_PRECISION)),
        Held::To(decimals) => {
            // Half a unit of the decimals that the rule rounds to, and what sums in binary leave.
            let half = 0.5 * libm::pow(10.0, f64::from(-decimals));
            comparing.figure(key, Tolerance::Absolute(half * (1.0 + FULL_PRECISION)))
        }
        Held::AsPrinted => comparing.figure(key, crate::comparison::of_printed(key.written())),
    }
}

fn decimal(node: &Node<'_>) -> Read<Decimal> {
    let parsed: Result<Decimal, darkline_metrology::rounding::DecimalError> = node.written().trim().parse();
    parsed.map_err(|why| node.fault(format!("{}: {why}", node.name())))
}

/// The value of the limit that a case names, from its own file or from the handbook, and its largest uncertainty.
fn named(case: &Node<'_>, root: &Node<'_>) -> Result<(f64, Option<f64>), Stop> {
    let name = case.need("limit")?;
    let id = name.text()?;
    for limit in root.list_or_none("limit")? {
        if limit.text_or_none("id") == id {
            return Ok((limit.number_of("value")?, limit.number_if("u_max_percent")?));
        }
    }
    let limit = Handbook::shipped().limits().iter().find(|limit| limit.id == id);
    let limit = limit.ok_or_else(|| name.fault(format!("no limit is called {id}")))?;
    let value = limit.value.parse().map_err(|_| refused(format!("{id} is no single value: {}", limit.value)))?;
    Ok((value, limit.u_max_percent.map(f64::from)))
}

/// Directive (EU) 2020/2184, Annex III, part B.
fn performance(case: &Node<'_>, root: &Node<'_>) -> Computed {
    let (value, u_max) = named(case, root)?;
    let mut found = Found::new();
    found.put("loq_max", 0.30 * value);
    found.put_if("u_max", u_max.map(|percent| percent * value / 100.0));
    Ok(found)
}

/// Regulation (EU) 2023/915, Article 3: level × factor, the written digits kept.
fn drying(case: &Node<'_>, _: &Node<'_>) -> Computed {
    let level = case.need("maximum_level")?;
    let place = decimal(&level)?.place();
    let product =
        Decimal::from_f64(level.number()? * case.number_of("factor")?).ok_or_else(|| no_value("the level"))?;
    let mut found = Found::new();
    found.put("expected_level", product.rounded_to_place(place, Rounding::HalfEven).to_string());
    Ok(found)
}

fn decision(case: &Node<'_>, _: &Node<'_>) -> Computed {
    let (result, u) = (decimal(&case.need("result")?)?, decimal(&case.need("expanded_uncertainty")?)?);
    let limit = Limit::AtMost(decimal(&case.need("maximum_level")?)?);
    let coverage = case.text_or_none("coverage").trim_start_matches("k = ").parse().unwrap_or(2.0);
    let mut found = Found::new();
    found.put("result_minus_U", (&result - &u).to_string());
    let measured = MeasuredValue { value: result, expanded_u: u, coverage_factor: coverage, dof: f64::INFINITY };
    for (key, rule, otherwise) in [
        ("outcome_simple", DecisionRule::SimpleAcceptance, "reject"),
        ("outcome_beyond_doubt", DecisionRule::GuardedRejection(Guard::ExpandedUncertainty), "reject"),
        ("outcome_guarded_acceptance", DecisionRule::GuardedAcceptance(Guard::ExpandedUncertainty), "not accepted"),
    ] {
        let judged = decide(&measured, &limit, &rule).ok_or_else(|| no_value("the decision"))?;
        found.put(key, if judged.statement == Statement::Complies { "accept" } else { otherwise });
    }
    Ok(found)
}

/// Directive 84/500/EEC, Article 2(5).
fn ceramic_ware(case: &Node<'_>, _: &Node<'_>) -> Computed {
    let limit = case.number_of("limit_value")?;
    let first = case.number_of("first")?;
    let others = case.list_of("others")?.iter().map(Node::number).collect::<Read<Vec<f64>>>()?;
    let above = |value: f64| value > 1.5 * limit * (1.0 + 1e-12);
    let outcome = if first <= limit {
        "satisfies"
    } else if above(first) {
        "does not satisfy"
    } else if others.len() < 3 {
        "not decided"
    } else {
        let mean = darkline_metrology::summary::mean(&others).ok_or_else(|| no_value("the mean of the others"))?;
        if mean <= limit * (1.0 + 1e-12) && !others.iter().any(|value| above(*value)) {
            "satisfies"
        } else {
            "does not satisfy"
        }
    };
    let mut found = Found::new();
    found.put("outcome", outcome);
    Ok(found)
}

fn flatware(case: &Node<'_>, _: &Node<'_>) -> Computed {
    let released = case.number_of("concentration_mg_L")? * case.number_of("volume_L")?;
    let mut found = Found::new();
    found.put("release_mg_dm2", released / case.number_of("area_dm2")?);
    Ok(found)
}

/// 40 CFR 503, Appendix A.
fn sludge(case: &Node<'_>, _: &Node<'_>) -> Computed {
    let mut found = Found::new();
    found.put("expected_t_ha", case.number_of("annual_loading_kg_ha")? / (case.number_of("sludge_mg_kg")? * 0.001));
    Ok(found)
}

fn blood(case: &Node<'_>, _: &Node<'_>) -> Computed {
    let micrograms = 10.0 * case.number_of("value")?;
    let mut found = Found::new();
    found.put("expected_ug_L", micrograms);
    if case.has("molar_mass") {
        found.put("expected_umol_L", micrograms / case.number_of("molar_mass")?);
    }
    Ok(found)
}

/// The exposures of an element: of the case's own file, else of the handbook.
fn exposures(case: &Node<'_>, root: &Node<'_>) -> Result<[f64; 3], Stop> {
    let element = case.need("element")?;
    let symbol = element.text()?;
    for pde in root.list_or_none("pde")? {
        if pde.text_or_none("element") == symbol {
            return Ok([pde.number_of("oral")?, pde.number_of("parenteral")?, pde.number_of("inhalation")?]);
        }
    }
    let known = on_record(symbol).ok_or_else(|| element.fault(format!("no daily exposure of {symbol} is on file")))?;
    Ok([known.oral, known.parenteral, known.inhalation])
}

fn on_record(symbol: &str) -> Option<&'static Exposure> {
    Handbook::shipped().exposures().iter().find(|exposure| exposure.element == symbol)
}

/// ICH Q3D(R2), option 1: PDE over dose.
fn option_1(case: &Node<'_>, root: &Node<'_>) -> Computed {
    let dose = case.number_or("daily_dose_g", 10.0)?;
    let [oral, parenteral, inhalation] = exposures(case, root)?;
    let mut found = Found::new();
    found.put("oral_ug_g", oral / dose);
    found.put("parenteral_ug_g", parenteral / dose);
    found.put("inhalation_ug_g", inhalation / dose);
    Ok(found)
}

/// ICH Q3D(R2), option 2b.
fn option_2b(case: &Node<'_>, _: &Node<'_>) -> Computed {
    let pde = case.number_of("pde_ug_day")?;
    let mut total = 0.0;
    for component in case.list_of("components")? {
        total += component.number_of("ug_g")? * component.number_of("g_day")?;
    }
    // Sums of decimals in binary: a part in 10¹² is no difference.
    let slack = 1.0 + 1e-12;
    let mut found = Found::new();
    found.put("total_ug_day", total);
    found.put("percent_of_pde", 100.0 * total / pde);
    found.put("within_pde", total <= pde * slack);
    found.put("below_control_threshold", total * slack < 0.3 * pde);
    Ok(found)
}

/// USP <233>: the concentration J after dilution (from memory).
fn concentration_after_dilution(case: &Node<'_>, _: &Node<'_>) -> Computed {
    let get = |key: &str| case.number_of(key);
    let target = get("pde_ug_day")? / get("daily_dose_g")?;
    let factor = get("final_volume_mL")? / get("sample_g")? * case.number_or("further_dilution", 1.0)?;
    let j = 1000.0 * target / factor;
    let mut found = Found::new();
    found.put("target_limit_ug_g", target);
    found.put("dilution_factor_mL_g", factor);
    found.put("J_ng_mL", j);
    found.put("standard_low_ng_mL", 0.5 * j);
    found.put("standard_high_ng_mL", 1.5 * j);
    Ok(found)
}

/// ICH Q3D(R2), Appendix 5.
fn skin_exposure(case: &Node<'_>, _: &Node<'_>) -> Computed {
    let daily = case.number_of("weekly_ug_cm2")? / 7.0;
    let rounded = Decimal::from_f64(daily)
        .map(|daily| daily.rounded_to_place(-2, Rounding::HalfUp).to_f64())
        .ok_or_else(|| no_value("the daily exposure"))?;
    let (area, mass) = (case.number_of("area_cm2")?, case.number_of("mass_g")?);
    let mut found = Found::new();
    found.put("daily_rounded_ug_cm2", rounded);
    found.put("expected_ug_g", rounded * area / mass);
    found.put("unrounded_ug_g", daily * area / mass);
    Ok(found)
}

/// A limit as the handbook of the program has it.
fn on_file(case: &Node<'_>, _: &Node<'_>) -> Computed {
    let id = case.text_of("id")?;
    let limit = Handbook::shipped().limits().iter().find(|limit| limit.id == id);
    let limit = limit.ok_or_else(|| refused(format!("the handbook has no limit {id}")))?;
    let mut found = Found::new();
    found.put("value", limit.value.as_str());
    found.put("unit", limit.unit.as_str());
    found.put_if("u_max_percent", limit.u_max_percent.map(u32::from));
    Ok(found)
}

/// Daily exposures as the handbook of the program has them; the cutaneous one is ten times the parenteral, but twice for
/// arsenic and once for thallium.
fn exposure(case: &Node<'_>, _: &Node<'_>) -> Computed {
    let symbol = case.text_of("element")?;
    let known = on_record(symbol).ok_or_else(|| refused(format!("no daily exposure of {symbol} is on file")))?;
    let factor = match symbol {
        "As" => 2.0,
        "Tl" => 1.0,
        _ => 10.0,
    };
    let mut found = Found::new();
    found.put("oral", known.oral);
    found.put("parenteral", known.parenteral);
    found.put("inhalation", known.inhalation);
    found.put("cutaneous", factor * known.parenteral);
    Ok(found)
}
