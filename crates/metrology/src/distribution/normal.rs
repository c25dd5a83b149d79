//! The standard normal distribution: density, both tails, quantile, draws.
//!
//! [`cdf`] and [`upper_tail`] are accurate to the end of the `f64` range; [`quantile`] turns a
//! probability back into a deviate; [`draw`] turns 64 random bits into a deviate for Monte Carlo.
//!
//! Invariant: `upper_tail(x) = cdf(−x)`, `quantile(1 − p) = −quantile(p)` where `1 − p` is exact,
//! and `draw(!bits) = −draw(bits)`, bit for bit.

/// 1/√(2π).
const DENSITY_AT_ZERO: f64 = 0.398_942_280_401_432_7;

/// The density of the standard normal distribution, `exp(−x²/2)/√(2π)`.
///
/// # Arguments
/// * `x`: any number, infinities included; `None` for NaN.
///
/// # Source
/// Definition; ISO 3534-1:2006, 2.50.
#[must_use]
pub fn density(x: f64) -> Option<f64> {
    (!x.is_nan()).then(|| density_of(x))
}

/// The probability of a standard normal deviate of at most `x`.
///
/// # Arguments
/// * `x`: any number, infinities included; `None` for NaN.
///
/// # Source
/// Φ(x) = erfc(−x/√2)/2, M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions (1964), 26.2.29
/// (from memory). Checked by `tests/statistics/distribution.rs`.
///
/// # Example
/// ```
/// use darkline_metrology::distribution::normal;
/// assert_eq!(normal::cdf(0.0), Some(0.5));
/// assert_eq!(normal::cdf(f64::NAN), None);
/// ```
#[must_use]
pub fn cdf(x: f64) -> Option<f64> {
    (!x.is_nan()).then(|| lower_tail_of(x))
}

/// The probability of a standard normal deviate above `x`; keeps its digits down to 10⁻³⁰⁸.
///
/// # Arguments
/// * `x`: any number, infinities included; `None` for NaN.
///
/// # Source
/// As [`cdf`].
#[must_use]
pub fn upper_tail(x: f64) -> Option<f64> {
    (!x.is_nan()).then(|| lower_tail_of(-x))
}

/// The standard normal deviate that is not exceeded with probability `p`.
///
/// # Arguments
/// * `p`: a probability above 0 and below 1; `None` otherwise, the ends having no finite quantile.
///
/// # Source
/// M. J. Wichura, Algorithm AS 241: The percentage points of the normal distribution, Applied
/// Statistics 37 (1988) 477-484, routine PPND16. Checked by `tests/statistics/distribution.rs`.
///
/// # Example
/// ```
/// use darkline_metrology::distribution::normal;
/// let z = normal::quantile(0.975).expect("0.975 lies between 0 and 1");
/// assert_eq!(format!("{z:.4}"), "1.9600");
/// ```
#[inline]
#[must_use]
pub fn quantile(p: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0) {
        return None;
    }
    Some(if p <= 0.5 { lower_half(p) } else { -lower_half(1.0 - p) })
}

/// The standard normal deviate that is exceeded with probability `q`.
///
/// # Arguments
/// * `q`: a probability above 0 and below 1, however small; `None` otherwise.
///
/// # Source
/// As [`quantile`].
#[inline]
#[must_use]
pub fn upper_quantile(q: f64) -> Option<f64> {
    quantile(q).map(|z| -z)
}

/// A standard normal deviate from 64 random bits, rising with the bits read as an integer.
///
/// The bits choose the middle of one of 2⁵³ equally probable cells, so neither end is met and no
/// draw is ever turned back: one word, one deviate, which keeps counter-based draws in step.
///
/// # Arguments
/// * `bits`: any word; its lowest eleven bits are not used.
///
/// # Source
/// Inversion, JCGM 101:2008, C.2 (from memory); inverse as [`quantile`].
#[inline]
#[must_use]
pub fn draw(bits: u64) -> f64 {
    with_sign_of(bits, lower_half(lower_probability(bits)))
}

/// The probability below a draw, or above it where the draw lies above the middle: never more than ½.
#[inline]
fn lower_probability(bits: u64) -> f64 {
    // All bits of a word above the middle are turned.
    let half = bits ^ ((bits as i64 >> 63) as u64);
    // The 52 bits are the digits of a number between 2⁵² and 2⁵³.
    let cell = f64::from_bits(0x4330_0000_0000_0000 | (half >> 11)) - 4_503_599_627_370_496.0;
    // 52 bits and the middle of the cell are 53 digits: exact.
    (cell + 0.5) * (1.0 / 9_007_199_254_740_992.0)
}

/// A deviate of the lower half, turned over where the word lies above the middle.
#[inline]
fn with_sign_of(bits: u64, deviate: f64) -> f64 {
    f64::from_bits(deviate.to_bits() ^ (bits & (1 << 63)))
}

/// The density without a look at NaN.
pub(crate) fn density_of(x: f64) -> f64 {
    DENSITY_AT_ZERO * exp_of_minus_half_square(x)
}

/// Φ without a look at NaN.
pub(crate) fn lower_tail_of(x: f64) -> f64 {
    use std::f64::consts::FRAC_1_SQRT_2;
    // x/√2 is rounded, and far out the complement magnifies that by 2z²: 10⁻¹³ at 10⁻³⁰⁰. The first
    // order in what the rounding left out takes it back: erfc′ = −erfc·(2z + …) out there.
    const SQRT_HALF_REST: f64 = -4.833_646_656_726_457e-17;
    let z = -x * FRAC_1_SQRT_2;
    let tail = 0.5 * libm::erfc(z);
    if !(1.0..=28.0).contains(&z) {
        return tail;
    }
    let (high, low) = exact_product(-x, FRAC_1_SQRT_2);
    debug_assert!(high == z);
    let left_out = low - x * SQRT_HALF_REST;
    // The hazard of erfc at z is 2z + 1/z − … ; two terms serve for a correction of 10⁻¹⁴.
    tail * (1.0 - left_out * (2.0 * z + 1.0 / z))
}

/// ln Φ, also where Φ leaves the range of `f64`.
pub(crate) fn log_lower_tail_of(x: f64) -> f64 {
    if x > -30.0 {
        return libm::log(lower_tail_of(x));
    }
    // Five terms of the asymptotic series, M. Abramowitz, I. A. Stegun (1964), 26.2.12: below 10⁻¹⁴ from 30 on.
    let w = 1.0 / (x * x);
    let rest = -w * (1.0 - w * (3.0 - w * (15.0 - w * (105.0 - w * 945.0))));
    -0.5 * x * x + libm::log(DENSITY_AT_ZERO / -x) + libm::log1p(rest)
}

/// φ/Φ, the derivative of ln Φ.
pub(crate) fn inverse_mills(x: f64) -> f64 {
    if x > -30.0 { density_of(x) / lower_tail_of(x) } else { -x - 1.0 / x }
}

/// exp(−x²/2) with the square taken exactly, so that the tail keeps its digits.
fn exp_of_minus_half_square(x: f64) -> f64 {
    if x.abs() > 39.0 {
        return 0.0;
    }
    let (high, low) = exact_product(x, x);
    libm::exp(-0.5 * high) * (1.0 - 0.5 * low)
}

/// The product of two numbers as its rounded value and the exact rest (Veltkamp and Dekker).
pub(crate) fn exact_product(a: f64, b: f64) -> (f64, f64) {
    const SPLITTER: f64 = 134_217_729.0; // 2²⁷ + 1
    let product = a * b;
    let halves = |x: f64| {
        let c = SPLITTER * x;
        let high = c - (c - x);
        (high, x - high)
    };
    let (a_high, a_low) = halves(a);
    let (b_high, b_low) = halves(b);
    let rest = ((a_high * b_high - product) + a_high * b_low + a_low * b_high) + a_low * b_low;
    (product, rest)
}

/// The quantile for 0 < p ≤ ½ by the rational approximations of AS 241, PPND16.
#[inline]
fn lower_half(p: f64) -> f64 {
    let q = p - 0.5;
    if q >= END_OF_MIDDLE {
        let r = 0.180_625 - q * q;
        return q * polynomial(&CENTRE_OVER, r) / polynomial(&CENTRE_UNDER, r);
    }
    let r = distance_in_tail(libm::log(p));
    if r <= END_OF_NEAR_TAIL {
        let s = r - 1.6;
        -(polynomial(&TAIL_OVER, s) / polynomial(&TAIL_UNDER, s))
    } else {
        far_tail(r)
    }
}

/// Where the middle begins: the probability less ½.
const END_OF_MIDDLE: f64 = -0.425;
/// How far the near tail reaches: a probability of 1.4·10⁻¹¹.
const END_OF_NEAR_TAIL: f64 = 5.0;

/// What the approximations of the tails are written in.
#[inline]
fn distance_in_tail(log_p: f64) -> f64 {
    (-log_p).sqrt()
}

/// The quantile in the far tail, which one draw in thirty thousand million meets.
#[cold]
fn far_tail(r: f64) -> f64 {
    let s = r - 5.0;
    -(polynomial(&FAR_TAIL_OVER, s) / polynomial(&FAR_TAIL_UNDER, s))
}

/// A polynomial of degree seven, coefficients from the constant upwards.
#[inline]
fn polynomial(c: &[f64; 8], x: f64) -> f64 {
    ((((((c[7] * x + c[6]) * x + c[5]) * x + c[4]) * x + c[3]) * x + c[2]) * x + c[1]) * x + c[0]
}

// Coefficients as printed in AS 241, PPND16; the digits beyond f64 are the printed ones.
#[allow(clippy::excessive_precision)]
const CENTRE_OVER: [f64; 8] = [
    3.387_132_872_796_366_608_0,
    1.331_416_678_917_843_774_5e2,
    1.971_590_950_306_551_442_7e3,
    1.373_169_376_550_946_112_5e4,
    4.592_195_393_154_987_145_7e4,
    6.726_577_092_700_870_085_3e4,
    3.343_057_558_358_812_810_5e4,
    2.509_080_928_730_122_672_7e3,
];
#[allow(clippy::excessive_precision)]
const CENTRE_UNDER: [f64; 8] = [
    1.0,
    4.231_333_070_160_091_125_2e1,
    6.871_870_074_920_579_083_0e2,
    5.394_196_021_424_751_107_7e3,
    2.121_379_430_158_659_586_7e4,
    3.930_789_580_009_271_061_0e4,
    2.872_908_573_572_194_267_4e4,
    5.226_495_278_852_854_561_0e3,
];
#[allow(clippy::excessive_precision)]
const TAIL_OVER: [f64; 8] = [
    1.423_437_110_749_683_577_34,
    4.630_337_846_156_545_295_90,
    5.769_497_221_460_691_405_50,
    3.647_848_324_763_204_605_04,
    1.270_458_252_452_368_382_58,
    2.417_807_251_774_506_117_70e-1,
    2.272_384_498_926_918_458_33e-2,
    7.745_450_142_783_414_076_40e-4,
];
#[allow(clippy::excessive_precision)]
const TAIL_UNDER: [f64; 8] = [
    1.0,
    2.053_191_626_637_758_821_87,
    1.676_384_830_183_803_849_40,
    6.897_673_349_851_000_045_50e-1,
    1.481_039_764_274_800_745_90e-1,
    1.519_866_656_361_645_719_66e-2,
    5.475_938_084_995_344_946_00e-4,
    1.050_750_071_644_416_843_24e-9,
];
#[allow(clippy::excessive_precision)]
const FAR_TAIL_OVER: [f64; 8] = [
    6.657_904_643_501_103_777_20,
    5.463_784_911_164_114_369_90,
    1.784_826_539_917_291_335_80,
    2.965_605_718_285_048_912_30e-1,
    2.653_218_952_657_612_309_30e-2,
    1.242_660_947_388_078_438_60e-3,
    2.711_555_568_743_487_578_15e-5,
    2.010_334_399_292_288_132_65e-7,
];
#[allow(clippy::excessive_precision)]
const FAR_TAIL_UNDER: [f64; 8] = [
    1.0,
    5.998_322_065_558_879_376_90e-1,
    1.369_298_809_227_358_053_10e-1,
    1.487_536_129_085_061_485_25e-2,
    7.868_691_311_456_132_591_00e-4,
    1.846_318_317_510_054_681_80e-5,
    1.421_511_758_316_445_888_70e-7,
    2.044_263_103_389_939_785_64e-15,
];

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_no_number_or_no_probability_has_no_answer() {
        assert_eq!((density(f64::NAN), cdf(f64::NAN), upper_tail(f64::NAN)), (None, None, None));
        for p in [0.0, 1.0, -0.1, 1.1, f64::NAN] {
            assert_eq!((quantile(p), upper_quantile(p)), (None, None));
        }
    }

    #[test]
    fn the_ends_are_exact() {
        assert_eq!(cdf(f64::NEG_INFINITY), Some(0.0));
        assert_eq!(cdf(f64::INFINITY), Some(1.0));
        assert_eq!(density(f64::INFINITY), Some(0.0));
        assert_eq!(quantile(0.5), Some(0.0));
        assert!(quantile(5.0e-324).is_some_and(|z| z < -38.0));
    }

    #[test]
    fn draws_reach_neither_end_and_meet_in_the_middle() {
        assert!((draw(0) + 8.2).abs() < 0.1);
        assert_eq!(draw(0), -draw(u64::MAX));
        let (below, above) = (draw((1 << 63) - 1), draw(1 << 63));
        assert!(below < 0.0 && above == -below && above < 2.0e-16);
    }

    /// Bits that must not change: a changed bit here changes issued results.
    #[test]
    fn some_values_have_these_bits_for_ever() {
        let pinned = [
            (cdf(-1.96), PINNED[0]),
            (cdf(-30.5), PINNED[1]),
            (quantile(0.975), PINNED[2]),
            (quantile(1.0e-100), PINNED[3]),
            (Some(draw(0x0123_4567_89ab_cdef)), PINNED[4]),
        ];
        for (found, bits) in pinned {
            assert_eq!(found.unwrap().to_bits(), bits, "{found:?} {:#x}", found.unwrap().to_bits());
        }
    }

    const PINNED: [u64; 5] = [
        0x3f99_990c_5885_9312,
        0x159a_24ff_9fa7_7828,
        0x3fff_5c03_31ee_ff82,
        0xc035_4601_0d75_521f,
        0xc004_ee2d_c0a9_dffd,
    ];

    #[test]
    fn the_logarithm_goes_on_where_the_tail_has_left_the_range() {
        for x in [-29.9, -30.1, -5.0, 0.0, 3.0] {
            assert!((log_lower_tail_of(x) - libm::log(lower_tail_of(x))).abs() < 1.0e-12 * (1.0 + x * x));
            assert!((inverse_mills(x) - density_of(x) / lower_tail_of(x)).abs() < 1.0e-4);
        }
        assert!((log_lower_tail_of(-100.0) + 5_005.524_208_694_205).abs() < 1.0e-9);
    }

    proptest! {
        #[test]
        fn a_draw_is_the_quantile_of_its_cell(word in any::<u64>()) {
            let p = ((word.min(!word) >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0;
            let expected = if word >> 63 == 0 { quantile(p) } else { upper_quantile(p) };
            prop_assert_eq!(Some(draw(word)), expected);
        }

        #[test]
        fn the_quantile_gives_the_tail_back(log_p in -300.0_f64..-0.302) {
            let p = libm::pow(10.0, log_p);
            let z = quantile(p).unwrap();
            // An error of one unit in z is worth z²·ε in the tail.
            prop_assert!((cdf(z).unwrap() / p - 1.0).abs() < 1.0e-15 * (4.0 + 2.0 * z * z));
        }

        #[test]
        fn tails_and_quantiles_rise(x in -38.0_f64..9.0, more in 0.0_f64..3.0, p in 0.0_f64..1.0, q in 0.0_f64..1.0) {
            prop_assert!(cdf(x).unwrap() <= cdf(x + more).unwrap() * (1.0 + 1.0e-15));
            if let (Some(one), Some(other)) = (quantile(p.min(q)), quantile(p.max(q))) {
                prop_assert!(one <= other + 1.0e-15 * one.abs());
            }
        }

        #[test]
        fn draws_rise_with_their_bits_and_mirror(a in any::<u64>(), b in any::<u64>()) {
            prop_assert!(draw(a.min(b)) <= draw(a.max(b)));
            prop_assert_eq!(draw(a), -draw(!a));
        }
    }
}
