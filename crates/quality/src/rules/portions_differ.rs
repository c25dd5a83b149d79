//! portions-differ
//!
//! What it sees: portions of one sample, or those of one row that were weighed into the tube, that scatter beyond what their measurement explains by more than the method allows,
//! or whose masses are further apart than it allows.
//! Why it matters: the material is not homogeneous at this mass: the mean stands for it no better than the scatter says, and
//! portions of very unequal mass do not scatter alike.
//! What to do: prepare more or larger portions; the sampling constant tells how many.
//! Source: C. O. Ingamells, P. Switzer, Talanta 20 (1973) 547 (sampling constant); ISO 13528:2022, annex B (scatter between
//! portions beyond that within them); the method document, `highest_inhomogeneity` and `highest_mass_ratio`; where it is
//! silent, nothing is flagged.

use std::collections::BTreeMap;

use darkline_metrology::kind::Kind;
use darkline_metrology::summary;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::identity::{RowId, SampleId};
use darkline_record::preparation::PortionRole;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenSolution};

/// The rule.
pub const RULE: Rule = Rule {
    name: "portions-differ",
    source: "C. O. Ingamells, P. Switzer, Talanta 20 (1973) 547; ISO 13528:2022, annex B; the method document, \
             highest_inhomogeneity and highest_mass_ratio",
    see,
    say,
};

/// The portions of one sample.
#[derive(Default)]
struct Portions {
    rows: Vec<RowId>,
    values: Vec<f64>,
    masses: Vec<f64>,
    /// Relative variance of each mean from the method's repeatability.
    measured: Vec<f64>,
}

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let limits = &view.method.limits;
    let scatter_allowed = limits.highest_inhomogeneity.as_ref().map(|figure| figure.value().si());
    let ratio_allowed = limits.highest_mass_ratio.as_ref().map(|figure| figure.value().si());
    if scatter_allowed.is_none() && ratio_allowed.is_none() {
        return Vec::new();
    }
    let mut samples: BTreeMap<&SampleId, Portions> = BTreeMap::new();
    for result in view.results {
        let Some(portion) = view.package.portion(&result.batch, &result.portion) else { continue };
        let PortionRole::Sample { order, sample } = &portion.role else { continue };
        let (Some(value), Some(solution)) = (result.value, view.solution(result.row)) else { continue };
        let Some(response) = solution.mean_response.filter(|response| *response > 0.0) else { continue };
        if *order != view.package.order.id {
            continue;
        }
        let portions = samples.entry(sample).or_default();
        portions.rows.push(view.run.row_id(result.row));
        portions.values.push(value);
        portions.masses.extend(portion.mass.as_ref().map(|mass| mass.value.value().si()));
        let relative = view.repeatability(response) / response;
        #[expect(clippy::cast_precision_loss, reason = "replicates are few")]
        portions.measured.push(relative * relative / solution.counted.len().max(1) as f64);
    }
    let mut named: Vec<(String, Portions)> =
        samples.into_iter().map(|(sample, portions)| (sample.to_string(), portions)).collect();
    if view.method.solid.is_some() {
        named.extend(
            view.solutions.iter().filter(|solution| !solution.replaced).filter_map(|solution| weighed(view, solution)),
        );
    }
    let mut flags = Vec::new();
    for (sample, portions) in named.into_iter().filter(|(_, portions)| portions.values.len() >= 2) {
        let between = between(&portions);
        let ratio = mass_ratio(&portions.masses);
        let scatters = scatter_allowed.zip(between).is_some_and(|(allowed, between)| between > allowed);
        let is_uneven = ratio_allowed.zip(ratio).is_some_and(|(allowed, ratio)| ratio > allowed);
        if !scatters && !is_uneven {
            continue;
        }
        #[expect(clippy::cast_precision_loss, reason = "portions are few")]
        let mut evidence = Evidence::default().figure("count", portions.values.len() as f64, "1");
        if let (true, Some(between), Some(allowed)) = (scatters, between, scatter_allowed) {
            evidence = evidence.figure("between", 100.0 * between, "%").figure("allowed", 100.0 * allowed, "%");
        }
        if let (true, Some(ratio), Some(allowed)) = (is_uneven, ratio, ratio_allowed) {
            evidence = evidence.figure("ratio", ratio, "1").figure("highest ratio", allowed, "1");
        }
        if let (Some(between), Some(mean)) = (between, summary::mean(&portions.masses)) {
            // K = R²·w, the mass at which the portions of a sample would scatter by 1 %; R in per cent.
            evidence = evidence.figure("sampling constant", 1e6 * (100.0 * between) * (100.0 * between) * mean, "mg");
        }
        let first = portions.rows[0].clone();
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(first)),
            severity: if scatters { Severity::Stops } else { Severity::Tells },
            settled: Settled::Now,
            evidence: evidence.fact("sample", &sample),
            holds: if scatters { Holds::Rows(portions.rows) } else { Holds::Nothing },
            next: vec![NextStep::PrepareAgain, NextStep::SampleAgain],
        });
    }
    flags
}

/// The portions of one row that were weighed into the tube, each with its response over its mass.
fn weighed(view: &RunView<'_>, solution: &SeenSolution<'_>) -> Option<(String, Portions)> {
    view.portion(solution)?;
    let mut portions = Portions { rows: vec![view.run.row_id(solution.row)], ..Portions::default() };
    for reading in view.counted(solution) {
        let recorded = view.run.readings.iter().find(|recorded| recorded.number == reading.number)?;
        let mass = recorded.mass.as_ref()?.value().si();
        let response = reading.response.filter(|response| *response > 0.0 && mass > 0.0)?;
        let relative = view.repeatability(response) / response;
        portions.values.push(response / mass);
        portions.masses.push(mass);
        portions.measured.push(relative * relative);
    }
    Some((solution.name.to_owned(), portions))
}

/// Relative standard deviation between portions beyond their measurement.
fn between(portions: &Portions) -> Option<f64> {
    let rsd = summary::rsd(&portions.values)?.abs();
    let measured = summary::mean(&portions.measured)?;
    Some((rsd * rsd - measured).max(0.0).sqrt()).filter(|between| between.is_finite())
}

fn mass_ratio(masses: &[f64]) -> Option<f64> {
    let highest = masses.iter().copied().reduce(f64::max)?;
    let lowest = masses.iter().copied().reduce(f64::min)?;
    (masses.len() >= 2 && lowest > 0.0).then(|| highest / lowest)
}

fn say(evidence: &Evidence) -> String {
    let mut parts = Vec::new();
    if evidence.has("between") {
        parts.push(format!(
            "scatter by {} beyond their measurement ({} allowed)",
            evidence.told("between"),
            evidence.told("allowed")
        ));
    }
    if evidence.has("ratio") {
        parts.push(format!(
            "differ {} times in mass ({} allowed)",
            evidence.told("ratio"),
            evidence.told("highest ratio")
        ));
    }
    let constant = if evidence.has("sampling constant") && evidence.value("sampling constant") > 0.0 {
        format!("; sampling constant {}", evidence.told("sampling constant"))
    } else {
        String::new()
    };
    format!("{}: its {} portions {}{constant}", evidence.words("sample"), evidence.value("count"), parts.join(" and "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scatter_that_measurement_explains_is_none_between_portions() {
        let portions =
            |values: &[f64]| Portions { values: values.into(), measured: vec![4e-4; 3], ..Portions::default() };
        assert_eq!(between(&portions(&[1.0, 1.01, 0.99])), Some(0.0));
        let found = between(&portions(&[1.0, 1.2, 0.8])).unwrap();
        assert!((found - (0.04_f64 - 4e-4).sqrt()).abs() < 1e-12, "{found}");
        assert_eq!(between(&portions(&[])), None);
        assert_eq!(mass_ratio(&[2e-6]), None);
        assert_eq!(mass_ratio(&[2e-6, 1e-6]), Some(2.0));
    }
}
