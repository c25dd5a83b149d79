//! The point at which a tail that falls with its argument has a given probability.

/// Steps of the search.
const STEPS: u32 = 80;

/// Where `tail` meets `probability` between two bounds; the nearer bound where it does not.
///
/// # Source
/// False position with the retained side halved, M. Dowell, P. Jarratt, BIT 11 (1971) 168 (from memory).
pub(crate) fn tail_point(tail: impl Fn(f64) -> f64, probability: f64, low: f64, high: f64) -> f64 {
    let (mut a, mut b) = (low, high);
    let (mut at_a, mut at_b) = (tail(a) - probability, tail(b) - probability);
    if at_a <= 0.0 {
        return a;
    }
    if at_b >= 0.0 {
        return b;
    }
    let mut kept = 0_i8;
    for _ in 0..STEPS {
        let middle = (a * at_b - b * at_a) / (at_b - at_a);
        let c = if middle > a && middle < b { middle } else { 0.5 * (a + b) };
        let at_c = tail(c) - probability;
        if at_c.abs() < 1e-14 || (b - a) <= 1e-13 * b.abs() {
            return c;
        }
        if at_c > 0.0 {
            (a, at_a) = (c, at_c);
            if kept == 1 {
                at_b *= 0.5;
            }
            kept = 1;
        } else {
            (b, at_b) = (c, at_c);
            if kept == -1 {
                at_a *= 0.5;
            }
            kept = -1;
        }
    }
    0.5 * (a + b)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_point_of_a_falling_line_is_found() {
        assert!((tail_point(|x| 1.0 - x, 0.05, 0.0, 1.0) - 0.95).abs() < 1e-12);
        assert!((tail_point(|x| libm::exp(-x), 0.01, 0.0, 50.0) - libm::log(100.0)).abs() < 1e-10);
        assert_eq!(tail_point(|_| 0.0, 0.05, 1.0, 2.0), 1.0);
        assert_eq!(tail_point(|_| 1.0, 0.05, 1.0, 2.0), 2.0);
    }
}
