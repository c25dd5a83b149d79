//! A sequence of checks, blanks and samples: which samples stand, and where the run stops.

/// What stands at a position.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Position {
    /// A check with its recovery.
    Check(f64),
    /// A blank, which changes nothing here.
    Blank,
    /// A sample.
    Sample,
}

/// What comes of a sequence; positions count from zero.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sequence {
    /// Checks outside their limits.
    pub failed_checks: Vec<usize>,
    /// Where the run stops.
    pub stops_at: Option<usize>,
    /// Samples to be measured again.
    pub again: Vec<usize>,
    /// Samples that stand.
    pub accepted: Vec<usize>,
}

/// Goes through a sequence.
///
/// # Arguments
/// * `first`, `later`: limits of the first acceptable check and of those behind it, themselves allowed.
///
/// # Source
/// EPA Method 200.9, rev. 2.2, 9.3.4 (from memory).
pub fn sequence(positions: &[Position], first: (f64, f64), later: (f64, f64)) -> Sequence {
    let mut found = Sequence::default();
    let mut waiting = Vec::new();
    let (mut one_passed, mut failed_before) = (false, false);
    for (place, position) in positions.iter().enumerate() {
        match position {
            Position::Blank => {}
            Position::Sample => {
                waiting.push(place);
                failed_before = false;
            }
            Position::Check(recovery) => {
                let (low, high) = if one_passed { later } else { first };
                if (low..=high).contains(recovery) {
                    let to = if one_passed { &mut found.accepted } else { &mut found.again };
                    to.append(&mut waiting);
                    one_passed = true;
                    failed_before = false;
                } else {
                    found.failed_checks.push(place);
                    if failed_before {
                        found.stops_at = Some(place);
                        let behind = positions.iter().enumerate().skip(place + 1);
                        waiting.extend(behind.filter(|(_, at)| **at == Position::Sample).map(|(at, _)| at));
                        break;
                    }
                    failed_before = true;
                }
            }
        }
    }
    found.again.extend(waiting);
    found
}

/// What follows from a spike of a furnace determination.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FurnaceStep {
    /// Little comes back: dilute and measure again.
    Dilute,
    /// Little comes back from a dilution: flag E.
    FlagE,
    /// The curve is good.
    FromCurve,
    /// The sample is small beside the spike: flag W.
    FlagW,
    /// Standard additions.
    StandardAdditions,
}

impl FurnaceStep {
    /// In one word.
    pub fn word(self) -> &'static str {
        match self {
            FurnaceStep::Dilute => "dilute_and_rerun",
            FurnaceStep::FlagE => "flag_E",
            FurnaceStep::FromCurve => "quantify_from_curve",
            FurnaceStep::FlagW => "report_with_flag_W",
            FurnaceStep::StandardAdditions => "standard_additions",
        }
    }
}

/// The step of the scheme.
///
/// # Arguments
/// * `sample`, `spike`: absorbances of the sample, and of the spike alone.
/// * `expected`: absorbance the spike should have.
///
/// # Source
/// CLP inorganic statement of work (ILM03.0/ILM04.0), exhibit E (from memory).
pub fn furnace_step(sample: f64, spike: f64, expected: f64, diluted: bool) -> Option<(f64, FurnaceStep)> {
    let recovery = 100.0 * spike / expected;
    if !recovery.is_finite() || !sample.is_finite() {
        return None;
    }
    let step = if recovery < 40.0 {
        if diluted { FurnaceStep::FlagE } else { FurnaceStep::Dilute }
    } else if (85.0..=115.0).contains(&recovery) {
        FurnaceStep::FromCurve
    } else if sample < 0.5 * spike {
        FurnaceStep::FlagW
    } else {
        FurnaceStep::StandardAdditions
    };
    Some((recovery, step))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_before_any_good_check_are_measured_again() {
        let run =
            [Position::Sample, Position::Check(100.0), Position::Sample, Position::Check(100.0), Position::Sample];
        let found = sequence(&run, (95.0, 105.0), (90.0, 110.0));
        assert_eq!((found.again, found.accepted, found.stops_at), (vec![0, 4], vec![2], None));
    }

    #[test]
    fn a_second_bad_check_stops_the_run_unless_a_sample_lies_between() {
        let bad = Position::Check(50.0);
        let found = sequence(&[bad, bad, Position::Sample], (95.0, 105.0), (90.0, 110.0));
        assert_eq!((found.stops_at, found.again), (Some(1), vec![2]));
        let found = sequence(&[bad, Position::Sample, bad], (95.0, 105.0), (90.0, 110.0));
        assert_eq!(found.stops_at, None);
    }
}
