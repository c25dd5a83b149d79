//! The humps of a pulse: one, or two where analyte is released at two moments or a pulse dips.
//!
//! [`humps`] finds every local maximum that stands out far enough from its surroundings; [`valley`] the lowest
//! place between two.

use crate::summit;

/// A local maximum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hump {
    /// Place of the summit, counted in samples.
    pub place: f64,
    /// Height of the summit.
    pub height: f64,
    /// How far it stands above the higher of the two valleys that part it from higher ground (or, without
    /// higher ground, above the lowest value on that side).
    pub prominence: f64,
}

/// A lowest place between two humps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Valley {
    /// Place, counted in samples.
    pub place: f64,
    /// Value there.
    pub height: f64,
}

/// Local maxima that stand out by at least a prominence, in the order of time.
///
/// Summits lie on the parabola through the highest value and its neighbours. Of equal neighbours the middle
/// one counts.
///
/// # Arguments
/// * `values`: smoothed net absorbance; noise makes humps.
/// * `least_prominence`: five standard deviations of a smoothed value leave hardly one of noise.
///
/// # Source
/// Prominence as in the description of terrain; definition. Checked by `tests/published/main.rs`.
///
/// # Example
/// ```
/// let values = [0.0, 0.3, 0.1, 0.2, 0.0];
/// assert_eq!(darkline_signal::humps::humps(&values, 0.05).len(), 2);
/// assert_eq!(darkline_signal::humps::humps(&values, 0.15).len(), 1);
/// ```
pub fn humps(values: &[f64], least_prominence: f64) -> Vec<Hump> {
    let mut found = Vec::new();
    let mut rose_at = None;
    for index in 1..values.len() {
        let (before, value) = (values[index - 1], values[index]);
        if value > before {
            rose_at = Some(index);
        } else if value < before {
            // The top runs from where the values last rose to here.
            if let Some(from) = rose_at.take() {
                let top = from + (index - 1 - from) / 2;
                let summit = summit::around(values, top);
                let prominence = summit.height - surroundings(values, top);
                if prominence >= least_prominence {
                    found.push(Hump { place: summit.position, height: summit.height, prominence });
                }
            }
        }
    }
    found
}

/// The higher of the lowest values on either side, up to higher ground.
fn surroundings(values: &[f64], top: usize) -> f64 {
    let height = values[top];
    let lowest = |side: &mut dyn Iterator<Item = &f64>| {
        side.take_while(|&&value| value <= height).fold(height, |low, &value| low.min(value))
    };
    let left = lowest(&mut values[..top].iter().rev());
    let right = lowest(&mut values[top + 1..].iter());
    left.max(right)
}

/// The lowest place between two humps, on the parabola through the lowest value and its neighbours.
///
/// # Arguments
/// * `values`: those the humps were found in.
/// * `one`, `other`: in the order of time.
pub fn valley(values: &[f64], one: Hump, other: Hump) -> Option<Valley> {
    let (from, to) = (one.place.max(0.0) as usize, other.place.max(0.0) as usize);
    let between = values.get(from..=to)?;
    let mut lowest = 0;
    for (index, &value) in between.iter().enumerate() {
        if value < between[lowest] {
            lowest = index;
        }
    }
    let summit = summit::around(values, from + lowest);
    Some(Valley { place: summit.position, height: summit.height })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_level_top_counts_once_and_in_its_middle() {
        let found = humps(&[0.0, 1.0, 1.0, 1.0, 0.0], 0.5);
        assert_eq!(found, [Hump { place: 2.0, height: 1.0, prominence: 1.0 }]);
    }

    #[test]
    fn rising_falling_short_and_level_values_have_no_hump() {
        for values in [&[][..], &[1.0], &[1.0, 2.0, 3.0], &[3.0, 2.0], &[1.0; 5]] {
            assert_eq!(humps(values, 0.0), [], "{values:?}");
        }
    }

    #[test]
    fn the_shoulder_before_a_higher_hump_has_the_prominence_of_its_valley() {
        let found = humps(&[0.0, 0.5, 0.4, 1.0, 0.2], 0.0);
        let prominences: Vec<f64> = found.iter().map(|hump| hump.prominence).collect();
        assert_eq!(found.len(), 2);
        assert!((prominences[0] - (found[0].height - 0.4)).abs() < 1e-12);
        assert!((prominences[1] - (found[1].height - 0.2)).abs() < 1e-12);
        let valley = valley(&[0.0, 0.5, 0.4, 1.0, 0.2], found[0], found[1]).expect("between the two");
        assert!(valley.place > 1.0 && valley.place < 3.0 && valley.height <= 0.4);
    }

    proptest! {
        #[test]
        fn a_higher_threshold_leaves_a_part_of_the_humps(values in prop::collection::vec(-1.0_f64..1.0, 0..60)) {
            let all = humps(&values, 0.0);
            let some = humps(&values, 0.5);
            prop_assert!(some.iter().all(|hump| all.contains(hump) && hump.prominence >= 0.5));
            prop_assert!(all.windows(2).all(|pair| pair[0].place < pair[1].place));
        }
    }
}
