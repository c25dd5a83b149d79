//! Sums in eight lanes, so that any processor, with vector registers or without, adds in one order.
//!
//! Value `i` goes to lane `i mod 8`; the lanes are added pairwise at the end. The order is part of
//! the result: it is the same for one value at a time and for eight at once.

/// Number of lanes every sum over samples runs in.
pub(crate) const LANES: usize = 8;

/// Adds the eight lanes.
// A call of its own: seen together with the loop, the last additions would decide in which pairs the
// compiler keeps the lanes, and it would gather them one by one.
#[inline(never)]
pub(crate) fn fold(lanes: &[f64; LANES]) -> f64 {
    let [a, b, c, d, e, f, g, h] = lanes;
    ((a + e) + (c + g)) + ((b + f) + (d + h))
}

/// Sum of `term(i)` for `i` below `n`, in eight lanes.
pub(crate) fn sum_of(n: usize, term: impl Fn(usize) -> f64) -> f64 {
    let mut lanes = [0.0; LANES];
    let whole = n - n % LANES;
    for start in (0..whole).step_by(LANES) {
        for (lane, sum) in lanes.iter_mut().enumerate() {
            *sum += term(start + lane);
        }
    }
    for (lane, index) in (whole..n).enumerate() {
        lanes[lane] += term(index);
    }
    fold(&lanes)
}

/// Sum of the values, in eight lanes.
pub(crate) fn sum(values: &[f64]) -> f64 {
    let mut lanes = [0.0; LANES];
    let (blocks, rest) = values.as_chunks::<LANES>();
    for block in blocks {
        for (lane, value) in lanes.iter_mut().zip(block) {
            *lane += value;
        }
    }
    for (lane, value) in lanes.iter_mut().zip(rest) {
        *lane += value;
    }
    fold(&lanes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn value_i_goes_to_lane_i_modulo_eight() {
        // 2^53 swallows a 1 added to it, so the order shows in the result.
        let mut values = vec![1.0; 19];
        values[0] = 9_007_199_254_740_992.0;
        // Lane 0 holds 2^53 + 1 + 1 with both ones lost; the other sixteen ones survive.
        assert_eq!(sum(&values), 9_007_199_254_740_992.0 + 16.0);
        assert_eq!(sum(&[]), 0.0);
    }
}
