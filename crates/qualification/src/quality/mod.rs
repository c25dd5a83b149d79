//! The quality pack: what each kind of case asks of the library, and how its outputs are held.

mod chart;
mod drift;
mod outlier;
mod recovery;
mod robust;
mod solid;
mod test;

use crate::answer::{Answer, Found};
use crate::case_file::{Node, Read};
use crate::comparison::{Comparing, FULL_PRECISION, Tolerance};
use crate::pack;
use crate::qualification::Ran;
use crate::stop::Stop;

/// The outputs of a case, or why there are none. The inputs are the keys of `[data]`, the names those that are expected.
type Computed = Result<Found, Stop>;

/// Series longer than this are not run.
const MOST_VALUES: usize = 100_000;

/// The inputs of a case and the outputs it asks for.
struct Asked<'a> {
    data: Node<'a>,
    names: Vec<&'a str>,
}

impl<'a> Asked<'a> {
    fn number(&self, key: &str) -> Read<f64> {
        self.data.number_of(key)
    }

    fn numbers(&self, key: &str) -> Read<Vec<f64>> {
        let node = self.data.need(key)?;
        let numbers = node.numbers()?;
        if numbers.len() > MOST_VALUES {
            return Err(node.fault(format!("{key} has more than the {MOST_VALUES} values that are run")));
        }
        Ok(numbers)
    }

    fn groups(&self, key: &str) -> Read<Vec<Vec<f64>>> {
        self.data.groups_of(key)
    }

    /// Two numbers.
    fn two(&self, key: &str) -> Read<(f64, f64)> {
        let node = self.data.need(key)?;
        match node.numbers()?[..] {
            [one, other] => Ok((one, other)),
            _ => Err(node.fault(format!("{key} is two figures"))),
        }
    }

    /// Pairs of numbers.
    fn pairs(&self, key: &str) -> Read<Vec<[f64; 2]>> {
        let pair = |node: Node<'_>| match node.numbers()?[..] {
            [one, other] => Ok([one, other]),
            _ => Err(node.fault("a pair is two figures")),
        };
        self.data.list_of(key)?.into_iter().map(pair).collect()
    }

    /// The significances that the outputs name after a word: `critical_one_sided_2_5_percent` names 0.025.
    fn significances(&self, before: &str) -> Vec<(&'a str, f64)> {
        let named = |name: &&'a str| {
            let (_, after) = name.split_once(before)?;
            let written = after.strip_suffix("_percent")?;
            let percent: f64 = written.replace('_', ".").parse().ok()?;
            Some((written, 0.01 * percent))
        };
        let mut found: Vec<(&str, f64)> = self.names.iter().filter_map(named).collect();
        found.sort_by(|a, b| a.0.cmp(b.0));
        found.dedup_by(|a, b| a.0 == b.0);
        found
    }
}

fn computation(kind: &str) -> Option<fn(&Asked<'_>) -> Computed> {
    Some(match kind {
        "grubbs_single" => outlier::grubbs,
        "grubbs_double" => outlier::double_grubbs,
        "grubbs_range" => outlier::range,
        "tietjen_moore" => outlier::tietjen_moore,
        "gesd" => outlier::rosner,
        "dixon" => outlier::dixon,
        "cochran_groups" | "cochran_duplicates" => outlier::cochran,
        "alg_a" => robust::algorithm_a,
        "robust_summary" => robust::summary_of,
        "huber_passes" => robust::huber_passes,
        "alg_s" | "alg_s_sd" => robust::algorithm_s,
        "t_one" => test::one_mean,
        "t_two" => test::two_means,
        "t_two_summary" => test::two_summaries,
        "t_paired" => test::paired,
        "f_test" => test::variance_ratio,
        "anova_oneway" | "anova_random" => test::anova,
        "homogeneity_pairs" => solid::pairs,
        "guide35" => solid::between_units,
        "individuals" => chart::individuals,
        "xbar_r" => chart::mean_and_range,
        "xbar_s" => chart::mean_and_sd,
        "ewma" => chart::ewma,
        "cusum_tabular" => chart::cusum,
        "cusum_plain" => chart::plain_sum,
        "lfb_limits" => chart::recovery_limits,
        "run_rules" => chart::run_rules,
        "multi_rule" => chart::multi_rule,
        "multi_rule_two" => chart::multi_rule_two,
        "tr569" => chart::long_term,
        "recovery" => recovery::of_addition,
        "recovery_volume" => recovery::by_volume,
        "lfb" => recovery::fortified_blank,
        "blank_rule" => recovery::blank_rule,
        "rpd" => recovery::relative_difference,
        "duplicate_rule" => recovery::duplicates,
        "serial_dilution" => recovery::dilution,
        "msa_validity" => recovery::additions,
        "carryover" => drift::carry_over,
        "memory_blank" => drift::memory,
        "characteristic_mass" => drift::characteristic_mass,
        "characteristic_concentration" => drift::characteristic_concentration,
        "drift_bracket" => drift::bracket,
        "reslope" => drift::reslope,
        "drift_usp" => drift::before_and_after,
        "linear_range" => drift::linear_range,
        "flame_linearity" => drift::flame_linearity,
        "flame_precision" => drift::flame_precision,
        "bracket" => recovery::sequence,
        "furnace_scheme" => recovery::furnace_scheme,
        "homogeneity_factor" => solid::homogeneity_factor,
        "sampling_constant" => solid::sampling_constant,
        "minimum_mass" => solid::minimum_mass,
        "replicates" => solid::replicates,
        "nugget" => solid::nugget,
        "visman" => solid::visman,
        "mass_weighted" => solid::mass_weighted,
        "lognormal" => solid::log_normal,
        _ => return None,
    })
}

/// Whether a kind belongs to this pack.
pub(crate) fn knows(kind: &str) -> bool {
    computation(kind).is_some()
}

/// Runs a case: every output within its `abs_tol`, whole numbers, yes and no and texts exactly.
pub(crate) fn run(name: &str, kind: &str, node: Node<'_>) -> Ran {
    let Some(compute) = computation(kind) else { return Ok(None) };
    let expectations = node.list_of("expect")?;
    let names = expectations.iter().map(|expect| expect.text_of("name")).collect::<Read<Vec<&str>>>()?;
    let asked = Asked { data: node.need("data")?, names };
    let found = pack::settled(compute(&asked))?;
    let found = |key: &str| found(key);
    let mut comparing = Comparing::new(name, &found);
    for expect in &expectations {
        let value = expect.need("value")?;
        let tolerance = match (expect.number_if("abs_tol")?, holds_fractions(&Answer::written(&value)?)) {
            (Some(tolerance), _) => Tolerance::Absolute(tolerance),
            (None, true) => Tolerance::Relative(FULL_PRECISION),
            (None, false) => Tolerance::Exact,
        };
        comparing.named(expect.text_of("name")?, &value, tolerance)?;
    }
    Ok(Some(comparing.comparisons))
}

fn holds_fractions(answer: &Answer) -> bool {
    match answer {
        Answer::Number(_) => true,
        Answer::List(list) => list.iter().any(holds_fractions),
        _ => false,
    }
}

/// Places as the pack counts them, from 1.
fn from_one(places: &[usize]) -> Vec<usize> {
    places.iter().map(|place| place + 1).collect()
}
