//! calibration-bends
//!
//! What it sees: standards whose response falls where the amount rises, by more than three standard deviations of the two
//! means; or a slope over the top fifth of the calibration below what the method asks of that over the bottom fifth.
//! Why it matters: where the curve is flat a small error of the response is a large one of the amount; where it falls, a
//! response has two amounts.
//! What to do: measure the highest standard again; if it stays, leave it out and dilute what lies above the rest.
//! Source: ISO methods for flame atomic absorption of steel, annex on instrument performance (from memory), for the ratio:
//! the method document, `least_slope_ratio`. A curve that falls needs no limit.

use darkline_metrology::kind::Kind;
use darkline_metrology::summary;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenCalibration};

/// The rule.
pub const RULE: Rule = Rule {
    name: "calibration-bends",
    source: "ISO methods for flame atomic absorption of steel, annex on instrument performance (from memory); the method \
             document, least_slope_ratio",
    see,
    say,
};

/// Standard deviations by which a response has to fall; one run in a thousand at most (our choice).
const CLEARLY: f64 = 3.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let SeenCalibration::Fitted { levels, .. } = view.calibration else { return Vec::new() };
    if view.standard_awaited().is_some() {
        return Vec::new();
    }
    let mut points: Vec<(f64, f64, usize, u32)> = levels
        .iter()
        .filter_map(|level| Some((level.amount, summary::mean(&level.responses)?, level.responses.len(), level.row)))
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.3.cmp(&b.3)));
    let unit = view.response_unit();
    let name = |row: u32| view.solution(row).map_or("", |solution| solution.name);
    let flag = |row: u32, evidence: Evidence| Flag {
        id: flag_id(RULE.name, Subject::Row(view.run.row_id(row))),
        severity: Severity::Stops,
        settled: Settled::Now,
        evidence: evidence.fact("cup", name(row)),
        holds: Holds::Run(view.run.id.clone()),
        next: vec![NextStep::MeasureAgain { replicates: view.method.replicates.n }, NextStep::Stop],
    };
    for pair in points.windows(2) {
        let ((low, below, n_below, row_below), (high, above, n_above, row)) = (pair[0], pair[1]);
        #[expect(clippy::cast_precision_loss, reason = "replicates are few")]
        let variance = |response: f64, n: usize| {
            let sd = view.repeatability(response);
            sd * sd / n as f64
        };
        let u = (variance(below, n_below) + variance(above, n_above)).sqrt();
        if high > low && below - above > CLEARLY * u {
            let evidence = Evidence::default()
                .figure("below", below, unit)
                .figure("above", above, unit)
                .fact("lower", name(row_below));
            return vec![flag(row, evidence)];
        }
    }
    let Some(least) = view.method.limits.least_slope_ratio.as_ref().map(|ratio| ratio.value().si()) else {
        return Vec::new();
    };
    let curve: Vec<(f64, f64)> = points.iter().map(|point| (point.0, point.1)).collect();
    let (Some(ratio), Some(top)) = (slope_ratio(&curve), points.last()) else { return Vec::new() };
    if ratio >= least {
        return Vec::new();
    }
    vec![flag(top.3, Evidence::default().figure("ratio", 100.0 * ratio, "%").figure("least", 100.0 * least, "%"))]
}

/// The change of response over the top fifth of the range, over that of the bottom fifth, straight between the levels;
/// `None` where the range is empty or the bottom does not rise.
///
/// # Source
/// ISO methods for flame atomic absorption of steel, annex on instrument performance (from memory); the pack's case
/// `flame-linearity-ratio`.
fn slope_ratio(curve: &[(f64, f64)]) -> Option<f64> {
    let (first, last) = (curve.first()?, curve.last()?);
    let fifth = (last.0 - first.0) / 5.0;
    let at = |amount: f64| {
        let pair = curve.windows(2).find(|pair| pair[1].0 > pair[0].0 && amount <= pair[1].0)?;
        Some(pair[0].1 + (pair[1].1 - pair[0].1) * (amount - pair[0].0) / (pair[1].0 - pair[0].0))
    };
    let bottom = at(first.0 + fifth)? - first.1;
    let top = last.1 - at(last.0 - fifth)?;
    (fifth > 0.0 && bottom > 0.0).then(|| top / bottom)
}

fn say(evidence: &Evidence) -> String {
    if evidence.words("lower").is_empty() {
        format!(
            "the calibration flattens: at the top its slope is {} of that at the bottom, the method asks for {}; the last \
             standard is {}",
            evidence.told("ratio"),
            evidence.told("least"),
            evidence.words("cup")
        )
    } else {
        format!(
            "the calibration falls: {} gives {}, {} above it only {}",
            evidence.words("lower"),
            evidence.told("below"),
            evidence.words("cup"),
            evidence.told("above")
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Case `flame-linearity-ratio` of the quality pack.
    #[test]
    fn a_straight_curve_has_a_ratio_of_one_and_a_flat_top_one_of_zero() {
        let straight: Vec<(f64, f64)> = (0..6).map(|i| (f64::from(i), 0.1 * f64::from(i))).collect();
        assert!((slope_ratio(&straight).unwrap() - 1.0).abs() < 1e-12);
        let flat = [(0.0, 0.0), (2.0, 0.2), (4.0, 0.3), (5.0, 0.3)];
        assert_eq!(slope_ratio(&flat), Some(0.0));
        assert_eq!(slope_ratio(&[(1.0, 0.1)]), None);
        assert_eq!(slope_ratio(&[]), None);
    }
}
