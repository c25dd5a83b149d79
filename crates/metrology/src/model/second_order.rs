//! Propagation with the terms of next-higher order: what first order leaves out where an equation bends.
//!
//! [`Model::second_order`] says by its distance from first order whether a budget can be trusted; where the two differ,
//! Monte Carlo decides.
//!
//! Derivatives are exact: the tape is replayed with short power series in two sources at a time.

use super::tape::{Model, Node, Tape};
use super::term::Term;
use crate::kind::Kind;

impl Model {
    /// The combined standard uncertainty with the terms of next-higher order,
    /// u² = Σ gᵢ² + ΣΣ (½ gᵢⱼ² + gᵢ gᵢⱼⱼ), the derivatives g being taken with respect to sources of one unit of u.
    ///
    /// The work grows with the square of the number of sources.
    ///
    /// `None` where the equation contains a fit, whose higher derivatives are not known, where a derivative is not
    /// finite, and where the sum falls below zero because still higher terms count.
    ///
    /// # Source
    /// JCGM 100:2008 (GUM), 5.1.2, note; it holds for sources with symmetric distributions, exactly for normal ones up to
    /// this order. Checked by `tests/published/jcgm_101.rs` against JCGM 101:2008, 9.3.
    ///
    /// # Example
    /// ```
    /// use darkline_metrology::kind::{Factor, Kind};
    /// use darkline_metrology::model::Model;
    /// use darkline_metrology::source::{Source, SourceId};
    /// let model = Model::new();
    /// let x = model.input(Factor::from_si(0.0), &[Source::normal(SourceId::new("x"), 1.0)]);
    /// assert_eq!(model.first_order(x * x).u(), 0.0);
    /// // The square of a standard normal deviate has variance 2.
    /// assert_eq!(model.second_order(x * x), Some(Factor::from_si(2.0_f64.sqrt())));
    /// ```
    pub fn second_order<K: Kind>(&self, y: Term<'_, K>) -> Option<K> {
        let tape = self.tape.borrow();
        let needed = tape.needed(&[y.node]);
        let steps: Vec<usize> = (0..needed.len()).filter(|&place| needed[place]).collect();
        if steps.iter().any(|&place| matches!(tape.nodes[place], Node::Solve { .. })) {
            return None;
        }
        let mut met = vec![false; tape.sources.len()];
        for &place in &steps {
            if let Node::Input { first, end } = tape.nodes[place] {
                tape.loadings[first as usize..end as usize]
                    .iter()
                    .for_each(|loading| met[loading.source as usize] = true);
            }
        }
        // In the order of their names, so that the order of the inputs moves no digit of the sum.
        let sources: Vec<u32> = tape.sources_in_order.iter().copied().filter(|&place| met[place as usize]).collect();
        let mut series = vec![Series::default(); needed.len()];
        let mut variance = 0.0;
        for &i in &sources {
            for &j in &sources {
                replay(&tape, &steps, &mut series, j, i);
                let Series([_, _, _, g_i, g_ij, half_g_ijj]) = series[y.node as usize];
                if i == j {
                    variance += g_i * g_i;
                }
                variance += 0.5 * g_ij * g_ij + g_i * (2.0 * half_g_ijj);
            }
        }
        (variance.is_finite() && variance >= 0.0).then(|| K::from_si(variance.sqrt()))
    }
}

/// Works every term out as a series in the source `a`, to the second power, and the source `b`, to the first.
fn replay(tape: &Tape, steps: &[usize], series: &mut [Series], a: u32, b: u32) {
    for &place in steps {
        let of = |node: u32| series[node as usize];
        series[place] = match tape.nodes[place] {
            Node::Exact | Node::Solve { .. } => Series::constant(tape.values[place]),
            Node::Input { first, end } => {
                let mut input = Series::constant(tape.values[place]);
                for loading in &tape.loadings[first as usize..end as usize] {
                    if loading.source == a {
                        input.0[A] += loading.u;
                    }
                    if loading.source == b {
                        input.0[B] += loading.u;
                    }
                }
                input
            }
            Node::Add(x, y) => of(x).plus(of(y)),
            Node::Sub(x, y) => of(x).plus(of(y).times_number(-1.0)),
            Node::Mul(x, y) => of(x).times(of(y)),
            Node::Div(x, y) => {
                let r = 1.0 / of(y).0[0];
                of(x).times(of(y).through([r, -r * r, r * r * r, -r * r * r * r]))
            }
            Node::Sum { first, end } => {
                let terms = &tape.terms_of_sums[first as usize..end as usize];
                terms.iter().fold(Series::default(), |sum, &term| sum.plus(of(term)))
            }
            Node::Sqrt(x) => {
                let value = of(x).0[0];
                let root = value.sqrt();
                let slope = 0.5 / root;
                of(x).through([root, slope, -0.25 * slope / value, 0.125 * slope / (value * value)])
            }
            Node::Ln(x) => {
                let value = of(x).0[0];
                let r = 1.0 / value;
                of(x).through([libm::log(value), r, -0.5 * r * r, r * r * r / 3.0])
            }
            Node::Exp(x) => {
                let e = libm::exp(of(x).0[0]);
                of(x).through([e, e, e / 2.0, e / 6.0])
            }
            Node::Sin(x) => {
                let (sin, cos) = libm::sincos(of(x).0[0]);
                of(x).through([sin, cos, -sin / 2.0, -cos / 6.0])
            }
            Node::Cos(x) => {
                let (sin, cos) = libm::sincos(of(x).0[0]);
                of(x).through([cos, -sin, -cos / 2.0, sin / 6.0])
            }
            Node::Atan2(y, x) => angle(of(y), of(x)),
        };
    }
}

/// The angle of a point: the angle at the value, and the arc tangent of the turn from there, which starts at zero.
fn angle(y: Series, x: Series) -> Series {
    let (y_0, x_0) = (y.0[0], x.0[0]);
    let across = y.times_number(x_0).plus(x.times_number(-y_0));
    let along = x.times_number(x_0).plus(y.times_number(y_0));
    let r = 1.0 / along.0[0];
    let mut turn = across.times(along.through([r, -r * r, r * r * r, -r * r * r * r]));
    turn.0[0] = 0.0;
    let mut angle = turn.through([0.0, 1.0, 0.0, -1.0 / 3.0]);
    angle.0[0] = libm::atan2(y_0, x_0);
    angle
}

/// Coefficients of 1, a, a², b, ab, a²b.
#[derive(Clone, Copy, Debug, Default)]
struct Series([f64; 6]);

const A: usize = 1;
const B: usize = 3;

impl Series {
    fn constant(value: f64) -> Self {
        Self([value, 0.0, 0.0, 0.0, 0.0, 0.0])
    }

    fn plus(self, other: Self) -> Self {
        let mut sum = self;
        for (sum, other) in sum.0.iter_mut().zip(other.0) {
            *sum += other;
        }
        sum
    }

    fn times_number(self, factor: f64) -> Self {
        Self(self.0.map(|coefficient| coefficient * factor))
    }

    fn times(self, other: Self) -> Self {
        let (x, y) = (self.0, other.0);
        let in_a =
            |x: &[f64], y: &[f64]| [x[0] * y[0], x[0] * y[1] + x[1] * y[0], x[0] * y[2] + x[1] * y[1] + x[2] * y[0]];
        let [c, c_a, c_aa] = in_a(&x[..B], &y[..B]);
        let (left, right) = (in_a(&x[..B], &y[B..]), in_a(&x[B..], &y[..B]));
        Self([c, c_a, c_aa, left[0] + right[0], left[1] + right[1], left[2] + right[2]])
    }

    /// A function of the series, given its Taylor coefficients at the constant: f, f′, f″/2, f‴/6.
    fn through(self, taylor: [f64; 4]) -> Self {
        let mut rise = self;
        rise.0[0] = 0.0;
        let square = rise.times(rise);
        let cube = square.times(rise);
        let mut value =
            rise.times_number(taylor[1]).plus(square.times_number(taylor[2])).plus(cube.times_number(taylor[3]));
        value.0[0] = taylor[0];
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::Factor;
    use crate::source::{Source, SourceId};
    use proptest::prelude::*;

    fn input<'m>(model: &'m Model, name: &str, value: f64, u: f64) -> Term<'m, Factor> {
        model.input(Factor::from_si(value), &[Source::normal(SourceId::new(name), u)])
    }

    fn close(found: Option<Factor>, expected: f64) {
        let found = found.unwrap().si();
        assert!((found - expected).abs() <= 1e-14 * expected.abs(), "{found} {expected}");
    }

    #[test]
    fn a_product_has_its_exact_variance() {
        let model = Model::new();
        let (x, y) = (input(&model, "x", 3.0, 0.2), input(&model, "y", 5.0, 0.4));
        let exact: f64 = 25.0 * 0.04 + 9.0 * 0.16 + 0.04 * 0.16;
        close(model.second_order(x * y), exact.sqrt());
    }

    #[test]
    fn a_square_of_a_normal_quantity_has_its_exact_variance() {
        let model = Model::new();
        let x = input(&model, "x", 3.0, 0.2);
        close(model.second_order(x * x), (4.0 * 9.0 * 0.04 + 2.0 * 0.04 * 0.04_f64).sqrt());
    }

    /// f = exp(2x): f′ = 2f, f″ = 4f, f‴ = 8f, hence u² = f²·(4u² + (8 + 16)u⁴).
    #[test]
    fn an_exponential_has_its_two_terms() {
        let model = Model::new();
        let x = input(&model, "x", 0.7, 0.1);
        let f = libm::exp(1.4);
        close(model.second_order((x + x).exp()), f * (0.04 + 24.0 * 1e-4_f64).sqrt());
    }

    #[test]
    fn every_operation_agrees_with_its_inverse() {
        let model = Model::new();
        let (x, y) = (input(&model, "x", 0.8, 0.1), input(&model, "y", 1.3, 0.2));
        let linear = (0.01_f64 + 0.04).sqrt();
        close(model.second_order((x + y).ln().exp()), linear);
        close(model.second_order((x + y).sqrt() * (x + y).sqrt()), linear);
        close(model.second_order(x * y / y + y), linear);
        let angle = (x.sin() * y).atan2(x.cos() * y);
        close(model.second_order(angle + y), linear);
    }

    #[test]
    fn where_first_order_has_no_slope_there_is_no_second_order() {
        let model = Model::new();
        let zero = input(&model, "zero", 0.0, 0.1);
        assert_eq!(model.second_order(zero.sqrt()), None);
        assert_eq!(model.second_order(zero / zero), None);
    }

    proptest! {
        #[test]
        fn a_linear_equation_gives_first_order(
            effects in prop::collection::vec((-5.0..5.0_f64, 0.0..1.0_f64), 1..6),
        ) {
            let model = Model::new();
            let terms: Vec<_> = effects
                .iter()
                .enumerate()
                .map(|(i, &(c, u))| input(&model, &i.to_string(), 1.0, u) * model.exact(Factor::from_si(c)))
                .collect();
            let y = model.sum(&terms);
            let first = model.first_order(y).u();
            prop_assert!((model.second_order(y).unwrap().si() - first).abs() <= 1e-14 * first);
        }
    }
}
