//! The uncertainty pack: what each kind of case asks of the library, and how its figures are held.

mod bias;
mod chemistry;
mod conformity;
mod evaluation;
mod first_order;
mod inputs;
mod line;
mod monte_carlo;
mod result;
mod volume;

use crate::answer::{Answer, Found, Reason};
use crate::case_file::{Node, Read};
use crate::comparison::{self, Comparing, Comparison, FULL_PRECISION, Tolerance};
use crate::pack;
use crate::qualification::Ran;
use crate::stop::Stop;

/// The figures of a case, or why there are none.
type Computed = Result<Found, Stop>;

/// The figure of a key; `None` where the key names nothing of the case.
type ByKey = Box<dyn Fn(&str) -> Option<Answer>>;

/// How a kind is run.
enum Runner {
    /// All keys of `[expected]`.
    Whole(fn(Node<'_>) -> Computed),
    /// The same, with keys that name inputs: asked one by one.
    Asked(fn(Node<'_>) -> Result<ByKey, Stop>),
    /// Each `[[item]]` by itself: case, item, and the keys of an item that are expected.
    Items(fn(Node<'_>, Node<'_>) -> Computed, &'static [&'static str]),
}

fn runner(kind: &str) -> Option<Runner> {
    use Runner::{Asked, Items, Whole};
    Some(match kind {
        "type_a" => Whole(evaluation::type_a),
        "type_b" => Items(evaluation::type_b, &["u"]),
        "rounding" => Items(evaluation::rounding, &["uc_reported", "y_reported"]),
        "coverage_ws" => Whole(evaluation::welch_satterthwaite),
        "anova_nested" => Whole(evaluation::nested),
        "lpu" => Asked(first_order::budget),
        "lpu_multi_raw" => Asked(first_order::simultaneous_readings),
        "correlated_sum" => Items(first_order::correlated_sum, &["u"]),
        "relative_combination" => Whole(first_order::relative_combination),
        "kragten" => Whole(first_order::by_differences),
        "least_squares_line" => Whole(line::least_squares_line),
        "calibration_interpolation" => Whole(line::calibration_interpolation),
        "mcm" => Whole(monte_carlo::one_output),
        "mcm_bivariate" => Whole(monte_carlo::two_outputs),
        "numerical_tolerance" => Items(monte_carlo::validation, &["delta", "d_low", "d_high", "validated"]),
        "volume_temperature" => Items(volume::expansion, &["half_width", "u"]),
        "piston_pipette" => Items(volume::piston_pipette, &["u_uL"]),
        "tolerance_table" => Items(volume::tolerances, &["u_rectangular_mL", "u_triangular_mL"]),
        "water_density" => Items(volume::water_density, &["rho"]),
        "z_factor" => Items(volume::z_factor, &["Z"]),
        "buoyancy_correction" => Items(volume::buoyancy, &["m"]),
        "atomic_weights" => Items(chemistry::atomic_weight, &["value"]),
        "stock_solution" => Items(chemistry::stock, &["nominal_mg_L"]),
        "gravimetric_factor" => Items(chemistry::gravimetric, &["M", "factor", "mass_g"]),
        "lead_interval" => Whole(chemistry::interval),
        "dilution" => Items(volume::dilution, &["expected"]),
        "conformance_probability" => Items(conformity::probability, &["p_c"]),
        "guard_band_table" => Items(conformity::guard_band, &["risk", "risk_kind", "stated_limit"]),
        "acceptance_limit" => Items(conformity::acceptance, &["z", "A"]),
        "decision" => Items(conformity::decision, &["simple", "guarded", "non_binary"]),
        "lot_decision" => Items(conformity::lot, &["x", "lower", "compliant"]),
        "global_risk" => Whole(conformity::global),
        "uncertainty_function" => Items(bias::fitness, &["alpha", "Uf_ug_kg"]),
        "performance_criteria" => Items(bias::detection_criteria, &["max_LOQ_mg_kg", "max_LOD_mg_kg"]),
        "horwitz" => Items(bias::horwitz, &["PRSD_percent", "horrat"]),
        "horwitz_thompson" => Items(bias::thompson, &["rsd_percent", "horrat"]),
        "nordtest_pt" => Whole(bias::study),
        "recovery_test" => Items(bias::recovery, &["u_recovery", "t", "t_crit", "significant"]),
        "crm_comparison" => Items(bias::reference_material, &["delta", "U_delta", "different"]),
        "score" => Items(bias::score, &["score", "verdict"]),
        "mass_fraction" => Items(result::mass_fraction, &["w_mg_kg"]),
        "dry_mass" => Items(result::dry_mass, &["w_dry"]),
        "dry_mass_worksheet" => Whole(result::moisture),
        _ => return None,
    })
}

/// Whether a kind belongs to this pack.
pub(crate) fn knows(kind: &str) -> bool {
    runner(kind).is_some()
}

/// Runs a case.
pub(crate) fn run(name: &str, kind: &str, node: Node<'_>) -> Ran {
    let Some(runner) = runner(kind) else { return Ok(None) };
    match runner {
        Runner::Whole(compute) => {
            let found = pack::settled(compute(node))?;
            of_expected(name, node, &|key| found(key)).map(Some)
        }
        Runner::Asked(compute) => match compute(node) {
            Ok(found) => of_expected(name, node, &|key| found(key).map(Ok)).map(Some),
            Err(Stop::Refused(why)) => of_expected(name, node, &|_| Some(Err(why.clone()))).map(Some),
            Err(Stop::Fault(fault)) => Err(fault),
            Err(Stop::Unknown) => Ok(None),
        },
        Runner::Items(compute, keys) => of_items(name, kind, node, compute, keys).map(Some),
    }
}

/// Compares every key of `[expected]` within its `[tolerance]`, which is absolute.
fn of_expected(
    name: &str,
    node: Node<'_>,
    found: &dyn Fn(&str) -> Option<Result<Answer, Reason>>,
) -> Read<Vec<Comparison>> {
    let mut comparing = Comparing::new(name, found);
    let expected = node.need("expected")?.entries()?;
    let tolerances = node.get("tolerance");
    for key in &expected {
        let stated = tolerances.and_then(|tolerances| tolerances.get(key.name()));
        let tolerance = match stated {
            Some(stated) => Tolerance::Absolute(stated.number()?),
            None => Tolerance::Relative(FULL_PRECISION),
        };
        if Answer::written(key)?.number().is_some() {
            comparing.figure(key, tolerance)?;
        } else {
            comparing.key(key, tolerance)?;
        }
    }
    if let Some(tolerances) = tolerances {
        for stated in tolerances.entries()? {
            if !expected.iter().any(|key| key.name() == stated.name()) {
                return Err(stated.fault(format!("a tolerance without its figure, {}", stated.name())));
            }
        }
    }
    Ok(comparing.comparisons)
}

/// Compares the expected keys of each item, within its `tol` or half a unit of the last digit given.
fn of_items(
    name: &str,
    kind: &str,
    node: Node<'_>,
    compute: fn(Node<'_>, Node<'_>) -> Computed,
    keys: &[&str],
) -> Read<Vec<Comparison>> {
    let mut comparisons = Vec::new();
    for (place, item) in node.list_of("item")?.into_iter().enumerate() {
        let expected: Vec<Node<'_>> = keys.iter().filter_map(|key| item.get(key)).collect();
        if expected.is_empty() {
            return Err(item.fault(format!("an item of {kind} expects one of {}", keys.join(", "))));
        }
        let found = pack::settled(compute(node, item))?;
        let found = |key: &str| found(key);
        let mut comparing = Comparing::item(name, place + 1, &found);
        for key in expected {
            let Some(number) = Answer::written(&key)?.number() else {
                comparing.key(&key, Tolerance::Exact)?;
                continue;
            };
            let tolerance = match (item.number_if("tol")?, kind) {
                (Some(tolerance), _) => Tolerance::Absolute(tolerance),
                // The pack allows two units of the last digit of what it recomputed from the atomic weights.
                (None, "gravimetric_factor") => match comparison::half_of_last_digit(key.written()) {
                    Some(half) => Tolerance::Absolute(4.0 * half),
                    None => Tolerance::Relative(FULL_PRECISION),
                },
                (None, "stock_solution") => Tolerance::Relative(item.number_of("max_relative_deviation")?),
                (None, _) => comparison::of_printed(key.written()),
            };
            comparing.answer(key.name(), Answer::Number(number), key.written(), tolerance);
        }
        comparisons.extend(comparing.comparisons);
    }
    Ok(comparisons)
}
