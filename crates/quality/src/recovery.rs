//! Recoveries, blanks, duplicates and dilutions: the checks beside the samples, as figures.

/// The recovery of what was added to a sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Recovery {
    /// In per cent.
    pub percent: f64,
    /// Whether enough was added for it to say something: a quarter of what was there.
    pub counts: bool,
}

/// The recovery of an addition; what was there counts with its sign.
///
/// # Source
/// EPA Method 200.9, rev. 2.2, 9.4.3 (from memory).
pub fn of_addition(unspiked: f64, spiked: f64, added: f64) -> Option<Recovery> {
    let percent = 100.0 * (spiked - unspiked) / added;
    percent.is_finite().then_some(Recovery { percent, counts: added >= 0.25 * unspiked })
}

/// The concentration expected and the recovery of an addition whose volume counts.
///
/// # Arguments
/// * `sample`, `spike`: concentration and volume of each.
/// * `found`: concentration found in both together.
///
/// # Source
/// Mass balance: common practice, no source.
pub fn of_addition_by_volume(sample: (f64, f64), spike: (f64, f64), found: f64) -> Option<(f64, f64)> {
    let volume = sample.1 + spike.1;
    let expected = (sample.0 * sample.1 + spike.0 * spike.1) / volume;
    let percent = 100.0 * (found * volume - sample.0 * sample.1) / (spike.0 * spike.1);
    (expected.is_finite() && percent.is_finite()).then_some((expected, percent))
}

/// The recovery of a fortified blank in per cent, less the reagent blank.
///
/// # Source
/// EPA Method 200.9, rev. 2.2, 9.3.2 (from memory); it passes from 85 to 115 %.
pub fn of_fortified_blank(fortified: f64, reagent: f64, added: f64) -> Option<f64> {
    let percent = 100.0 * (fortified - reagent) / added;
    percent.is_finite().then_some(percent)
}

/// What a reagent blank may be beside a sample: a tenth of it, or 2.2 detection limits.
///
/// # Source
/// EPA Method 200.9, rev. 2.2, 9.3.1 (from memory).
pub fn blank_limit(sample: f64, detection_limit: f64) -> f64 {
    (0.1 * sample).max(2.2 * detection_limit)
}

/// The relative difference of duplicates in per cent of their mean.
///
/// # Source
/// SW-846 Methods 7000B and 7010, 9.7 (from memory).
pub fn relative_difference(one: f64, other: f64) -> Option<f64> {
    let percent = 100.0 * (one - other).abs() / (0.5 * (one + other));
    percent.is_finite().then_some(percent)
}

/// A criterion for duplicates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DuplicateCriterion {
    /// By the difference itself, or by the relative one in per cent.
    pub is_absolute: bool,
    /// What is compared.
    pub statistic: f64,
    /// What it may be.
    pub limit: f64,
}

/// How duplicates near the required detection limit are judged.
///
/// # Source
/// CLP inorganic statements of work (from memory).
pub fn duplicates(one: f64, other: f64, required_limit: f64) -> Option<DuplicateCriterion> {
    if one < 5.0 * required_limit || other < 5.0 * required_limit {
        let statistic = (one - other).abs();
        return statistic.is_finite().then_some(DuplicateCriterion {
            is_absolute: true,
            statistic,
            limit: required_limit,
        });
    }
    Some(DuplicateCriterion { is_absolute: false, statistic: relative_difference(one, other)?, limit: 20.0 })
}

/// The difference between a sample and its dilution, in per cent of the sample.
///
/// # Source
/// SW-846 Methods 7000B and 7010, dilution test (from memory); up to 10 % passes.
pub fn dilution_difference(undiluted: f64, diluted: f64, factor: f64) -> Option<f64> {
    let percent = 100.0 * (undiluted - diluted * factor).abs() / undiluted;
    percent.is_finite().then_some(percent)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_added_has_no_recovery() {
        assert_eq!(of_addition(1.0, 2.0, 0.0), None);
        assert_eq!(of_fortified_blank(1.0, 0.0, 0.0), None);
        assert_eq!(of_addition_by_volume((1.0, 0.0), (0.0, 0.0), 1.0), None);
        assert_eq!(relative_difference(0.0, 0.0), None);
        assert_eq!(dilution_difference(0.0, 1.0, 5.0), None);
    }
}
