//! Background taken off too strongly: a net absorbance below zero and the area it costs.
//!
//! Structured background reads higher in the background phase than it is at the line. The net value then goes
//! below zero while the background is high, most often before the analyte comes.

use crate::summit;

/// A stretch of net absorbance below zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lobe {
    /// Lowest net absorbance.
    pub lowest: f64,
    /// Its place, counted in samples.
    pub lowest_place: f64,
    /// Where the net absorbance next rises through zero, linear between samples; `None` where it does not.
    pub ends_at: Option<f64>,
}

/// The deepest lobe of a net pulse; `None` where no value is below zero.
///
/// # Arguments
/// * `values`: net absorbance, offset taken off, in the order of time; smoothed where noise matters.
///
/// # Source
/// Definition. Checked by `tests/published/main.rs`.
pub fn deepest_lobe(values: &[f64]) -> Option<Lobe> {
    let mut index = None;
    let mut lowest = 0.0;
    for (place, &value) in values.iter().enumerate() {
        if value < lowest {
            (index, lowest) = (Some(place), value);
        }
    }
    let index = index?;
    let bottom = summit::around(values, index);
    let behind = values[index..].iter().position(|&value| value >= 0.0);
    let ends_at = behind.map(|steps| {
        let place = index + steps;
        let (below, above) = (values[place - 1], values[place]);
        (place - 1) as f64 + below / (below - above)
    });
    Some(Lobe { lowest: bottom.height, lowest_place: bottom.position, ends_at })
}

/// Area error, in seconds, where the background phase reads a fraction too high: `-fraction` times the
/// background's area.
///
/// # Source
/// Net = total - (1 + fraction) background. Checked by `tests/published/main.rs`.
pub fn area_error(fraction_too_high: f64, background_area: f64) -> f64 {
    -fraction_too_high * background_area
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pulse_above_zero_has_no_lobe_and_one_cut_below_zero_no_end() {
        assert_eq!(deepest_lobe(&[0.0, 0.1, 0.0]), None);
        assert_eq!(deepest_lobe(&[]), None);
        let cut = deepest_lobe(&[0.1, -0.1, -0.2]).expect("below zero");
        assert_eq!(cut, Lobe { lowest: -0.2, lowest_place: 2.0, ends_at: None });
    }

    #[test]
    fn a_lobe_ends_where_the_values_rise_through_zero() {
        let lobe = deepest_lobe(&[0.0, -0.1, -0.3, -0.1, 0.1, 0.2]).expect("below zero");
        assert_eq!(lobe.ends_at, Some(3.5));
        assert_eq!(lobe.lowest_place, 2.0);
    }
}
