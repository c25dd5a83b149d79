//! The physics pack: one module for each file of cases, each with one door, `compute`.
//!
//! A case is known by its name, or the part of it before the first parameter.

mod alignment;
mod case;
mod diagnostics;
mod dip;
mod flame;
mod noise;
mod pulses;
mod ranges;
mod stray_light;
mod temperature;

use self::case::{Case, Computed};
use crate::answer::Answer;
use crate::case_file::{Node, Read};
use crate::comparison::{Comparing, Tolerance};
use crate::qualification::Ran;
use crate::stop::Stop;

/// Met where a case names no tolerance, relative: the pack's own rule.
const DEFAULT_RELATIVE: f64 = 2e-9;

const MODULES: &[fn(&Case<'_>) -> Computed] = &[
    alignment::compute,
    diagnostics::compute,
    dip::compute,
    flame::compute,
    noise::compute,
    pulses::compute,
    ranges::compute,
    stray_light::compute,
    temperature::compute,
];

/// Runs a case: figures within its tolerance, whole numbers, yes and no and texts exactly.
pub(crate) fn run(name: &str, node: Node<'_>) -> Ran {
    let case = Case::of(node)?;
    let mut computed = Err(Stop::Unknown);
    for compute in MODULES {
        computed = compute(&case);
        if !matches!(computed, Err(Stop::Unknown)) {
            break;
        }
    }
    let computed = match case.wrong() {
        Some(wrong) => Err(wrong),
        None => computed,
    };
    let figures = match computed {
        Ok(figures) => figures,
        Err(Stop::Unknown) => return Ok(None),
        Err(Stop::Fault(fault)) => return Err(fault),
        Err(Stop::Refused(why)) => {
            let found = |_: &str| Some(Err(why.clone()));
            return compare(name, &node, &found).map(Some);
        }
    };
    let found = |key: &str| figures.iter().find(|(known, _)| *known == key).map(|(_, answer)| Ok(answer.clone()));
    compare(name, &node, &found).map(Some)
}

fn compare(
    name: &str,
    node: &Node<'_>,
    found: &dyn Fn(&str) -> Option<Result<Answer, String>>,
) -> Read<Vec<crate::comparison::Comparison>> {
    let mut comparing = Comparing::new(name, found);
    let stated = node.get("tolerance");
    for key in node.need("expected")?.entries()? {
        let of = |name: &str| stated.map_or(Ok(None), |stated| stated.number_if(name));
        let tolerance = match (of(key.name())?, of(&format!("{}_rel", key.name()))?) {
            (Some(absolute), _) => Tolerance::Absolute(absolute),
            (None, Some(relative)) => Tolerance::Relative(relative),
            (None, None) => Tolerance::Relative(DEFAULT_RELATIVE),
        };
        comparing.key(&key, tolerance)?;
    }
    Ok(comparing.comparisons)
}
