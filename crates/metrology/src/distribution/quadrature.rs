//! Quadrature of smooth tails and smooth peaks.
//!
//! [`decaying`] integrates exp(−g) from 0 upwards for a convex `g` that starts at 0; [`peaked`] integrates
//! exp(h) over the whole line for an `h` with one peak.

/// Nodes and weights of the 28-point rule on (−1, 1), the positive half.
///
/// # Source
/// Zeros of the Legendre polynomial P₂₈, recomputed to 40 digits by `reference/distribution/make.py`.
#[allow(clippy::excessive_precision)]
const RULE: [(f64, f64); 14] = [
    (0.0550792898840342704, 0.110047013016475196),
    (0.164569282133380771, 0.108711192258294135),
    (0.272061627635178078, 0.106055765922846418),
    (0.37625151608907871, 0.10211296757806077),
    (0.475874224955118261, 0.0969306579979299159),
    (0.569720471811401719, 0.0905717443930328409),
    (0.656651094038864961, 0.0831134172289012184),
    (0.735610878013631772, 0.074646214234568779),
    (0.805641370917179171, 0.0652729239669995958),
    (0.865892522574395049, 0.0551073456757167454),
    (0.915633026392132074, 0.0442729347590042278),
    (0.954259280628938197, 0.03290142778230438),
    (0.981303165370872754, 0.0211321125927712598),
    (0.99644249757395445, 0.00912428259309451774),
];

/// ∫ f over (from, to) by the 28-point Gauss-Legendre rule, terms added from the ends inwards.
pub(crate) fn gauss_legendre(from: f64, to: f64, f: impl Fn(f64) -> f64) -> f64 {
    let half = 0.5 * (to - from);
    let middle = from + half;
    let mut sum = 0.0;
    for (node, weight) in RULE.iter().rev() {
        let away = half * node;
        sum += weight * (f(middle - away) + f(middle + away));
    }
    half * sum
}

/// ∫₀^∞ exp(−g(s)) ds for convex g with g(0) = 0, g′(0) = `rise` ≥ 0 and g″(0) = `bow` > 0.
///
/// The range ends where the parabola of g reaches 48; the rule is then exact to 10⁻¹⁶ between a purely
/// exponential and a purely Gaussian decay.
pub(crate) fn decaying(rise: f64, bow: f64, g: impl Fn(f64) -> f64) -> f64 {
    let reach = 96.0 / (rise + (rise * rise + 96.0 * bow).sqrt());
    gauss_legendre(0.0, reach, |s| libm::exp(-g(s)))
}

/// Where a function of one peak lives and how fine its features can be.
pub(crate) struct Peaked {
    /// The width of the finest feature that the curvature at the peak may not show.
    pub finest: f64,
    /// The function still rises here.
    pub from: f64,
    /// The function already falls here.
    pub to: f64,
}

/// ∫ exp(h) over the line for a smooth h with one peak, falling on both sides at least linearly.
///
/// The trapezoidal rule, whose error falls exponentially with the fineness for such functions; from the
/// peak outwards, on both sides until the terms vanish beside the sum.
///
/// # Arguments
/// * `shape`: where the peak is looked for, and the finest feature.
/// * `h`: the logarithm of the integrand.
/// * `rise`: the derivative of h; its sign alone is used, and its change at the peak.
///
/// # Source
/// L. N. Trefethen, J. A. C. Weideman, SIAM Review 56 (2014) 385-458, section 5 (from memory).
pub(crate) fn peaked(shape: &Peaked, h: impl Fn(f64) -> f64, rise: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (shape.from, shape.to);
    // A thousandth of the finest feature is near enough: the peak only anchors the sum.
    while high - low > 1.0e-3 * shape.finest {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if rise(middle) > 0.0 { low = middle } else { high = middle }
    }
    let peak = 0.5 * (low + high);
    let away = 0.1 * shape.finest;
    let curvature = (rise(peak - away) - rise(peak + away)) / (2.0 * away);
    let width = if curvature > 0.0 { shape.finest.min(1.0 / curvature.sqrt()) } else { shape.finest };
    let step = 0.35 * width;
    let top = h(peak);
    if top < -800.0 {
        // Below the smallest f64, whatever the width.
        return 0.0;
    }
    let mut sum = 1.0;
    for direction in [-1.0, 1.0] {
        let mut n = 1.0;
        loop {
            let term = libm::exp(h(peak + direction * n * step) - top);
            sum += term;
            let counts = term > sum * 1.0e-18;
            if !counts || n > 1.0e6 {
                break;
            }
            n += 1.0;
        }
    }
    step * sum * libm::exp(top)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The rule as printed here is the one that `make.py` wrote, digit for digit.
    #[test]
    fn the_rule_is_the_one_of_the_table() {
        let place = concat!(env!("CARGO_MANIFEST_DIR"), "/../../reference/distribution/gauss_legendre.toml");
        let table: toml::Table = std::fs::read_to_string(place).unwrap().parse().unwrap();
        let rows = table["table"][0]["rows"].as_array().unwrap();
        let rows: Vec<(f64, f64)> =
            rows.iter().map(|row| (row[0].as_float().unwrap(), row[1].as_float().unwrap())).collect();
        assert_eq!(rows, RULE);
    }

    #[test]
    fn the_rule_is_exact_for_polynomials() {
        let found = gauss_legendre(-1.0, 2.0, |x| x * x * x * x - x);
        assert!((found / 5.1 - 1.0).abs() < 1.0e-15);
        let weights: f64 = RULE.iter().map(|(_, weight)| 2.0 * weight).sum();
        assert!((weights - 2.0).abs() < 1.0e-15);
    }

    #[test]
    fn decays_between_exponential_and_gaussian_are_exact() {
        let half = decaying(0.0, 1.0, |s| 0.5 * s * s);
        assert!((half / (std::f64::consts::PI / 2.0).sqrt() - 1.0).abs() < 1.0e-15);
        let steep = decaying(1.0e6, 1.0, |s| 1.0e6 * s + 0.5 * s * s);
        assert!((steep / 1.0e-6 - 1.0).abs() < 2.0e-12);
    }

    #[test]
    fn a_peak_is_found_and_summed() {
        let shape = Peaked { finest: 0.5, from: -100.0, to: 100.0 };
        let found = peaked(&shape, |x| -0.5 * (x - 17.3) * (x - 17.3), |x| 17.3 - x);
        assert!((found / (2.0 * std::f64::consts::PI).sqrt() - 1.0).abs() < 1.0e-14);
        assert_eq!(peaked(&shape, |x| -1.0e4 - x * x, |x| -2.0 * x), 0.0);
    }
}
