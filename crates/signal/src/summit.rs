//! The summit of sampled values: the parabola through the highest value and its two neighbours.
//!
//! Source: none needed, three points have one parabola.

/// A place between samples and the height there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Summit {
    /// Place, counted in samples.
    pub(crate) position: f64,
    /// Value of the parabola there.
    pub(crate) height: f64,
}

/// Top (or bottom) of the parabola through the values at `index - 1`, `index`, `index + 1`.
///
/// Where the index has no two neighbours, or the three lie on a line, the sample itself.
pub(crate) fn around(values: &[f64], index: usize) -> Summit {
    let plain = Summit { position: index as f64, height: values.get(index).copied().unwrap_or(0.0) };
    if index == 0 || index + 1 >= values.len() {
        return plain;
    }
    let (a, b, c) = (values[index - 1], values[index], values[index + 1]);
    let curvature = (a - b) + (c - b);
    let slope = 0.5 * (c - a);
    let shift = -slope / curvature;
    if shift.is_nan() || shift.abs() > 1.0 {
        return plain;
    }
    Summit { position: index as f64 + shift, height: b + 0.5 * slope * shift }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parabola_between_samples_is_found() {
        let values: Vec<f64> = (0..9).map(|i| 2.0 - (f64::from(i) - 4.3) * (f64::from(i) - 4.3)).collect();
        let found = around(&values, 4);
        assert!((found.position - 4.3).abs() < 1e-12 && (found.height - 2.0).abs() < 1e-12);
    }

    #[test]
    fn ends_and_level_values_give_the_sample() {
        assert_eq!(around(&[1.0, 2.0], 1), Summit { position: 1.0, height: 2.0 });
        assert_eq!(around(&[1.0, 1.0, 1.0], 1), Summit { position: 1.0, height: 1.0 });
        assert_eq!(around(&[], 0), Summit { position: 0.0, height: 0.0 });
    }
}
