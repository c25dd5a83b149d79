//! Laws that hold for every model, checked on tapes drawn at random.
//!
//! Source: none needed, laws of sums and squares; the formulas stand in the files they check.

use proptest::prelude::*;

use super::{Model, Term};
use crate::estimate::Estimate;
use crate::kind::{Factor, Kind};
use crate::source::{PoolId, Shape, Source, SourceId};

const SHAPES: [Shape; 4] = [Shape::Normal, Shape::Rectangular, Shape::Triangular, Shape::Arcsine];

/// An input: value, and sources by number with their u.
type Input = (f64, Vec<(u8, f64)>);

/// An operation: which, and the places of its operands counted back from the end.
type Operation = (u8, usize, usize);

/// Any `f64` at all, ordinary ones more often.
fn anything() -> impl Strategy<Value = f64> + Clone {
    prop_oneof![
        2 => any::<f64>(),
        4 => -10.0_f64..10.0,
        1 => prop::sample::select(vec![0.0, -0.0, 1.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, 5.0e-324]),
    ]
}

/// Figures as they are met in a laboratory.
fn ordinary() -> impl Strategy<Value = f64> + Clone {
    prop_oneof![0.5_f64..2.0, -2.0_f64..-0.5]
}

fn inputs(value: impl Strategy<Value = f64> + Clone) -> impl Strategy<Value = Vec<Input>> {
    prop::collection::vec((value.clone(), prop::collection::vec((0_u8..6, value), 0..4)), 1..5)
}

fn operations(kinds: u8) -> impl Strategy<Value = Vec<Operation>> {
    prop::collection::vec((0..kinds, 0_usize..8, 0_usize..8), 1..10)
}

fn source(number: u8, u: f64, dof: f64) -> Source {
    let pool = number.is_multiple_of(3).then(|| PoolId::new("pool"));
    Source { id: SourceId::new(number.to_string()), u, dof, pool, shape: SHAPES[usize::from(number) % 4] }
}

fn written<'m>(model: &'m Model, inputs: &[Input], operations: &[Operation], dof: f64) -> Vec<Term<'m, Factor>> {
    let mut terms: Vec<Term<'m, Factor>> = inputs
        .iter()
        .map(|(value, sources)| {
            let sources: Vec<Source> = sources.iter().map(|&(number, u)| source(number, u, dof)).collect();
            model.input(Factor::from_si(*value), &sources)
        })
        .collect();
    for &(which, a, b) in operations {
        let operand = |back: usize| terms[terms.len() - 1 - back % terms.len()];
        let (a, b) = (operand(a), operand(b));
        terms.push(match which {
            0 => a + b,
            1 => a - b,
            2 => model.sum(&[a, b, a]),
            3 => model.mean(&[a, b]),
            4 => a * b,
            5 => a / b,
            6 => a.sin(),
            7 => a.cos(),
            8 => a.atan2(b),
            9 => a.exp(),
            10 => a.ln(),
            _ => a.sqrt(),
        });
    }
    terms
}

/// How many of the operations only add, subtract and average.
const LINEAR: u8 = 4;
/// How many of them keep ordinary figures ordinary and have a slope everywhere.
const SMOOTH: u8 = 9;
const ALL: u8 = 12;

fn relative(a: f64, b: f64) -> f64 {
    if a == b { 0.0 } else { (a - b).abs() / a.abs().max(b.abs()) }
}

fn u_of(found: &[Estimate<Factor>]) -> Vec<f64> {
    found.iter().map(Estimate::u).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    #[test]
    fn no_figure_ends_the_program(inputs in inputs(anything()), operations in operations(ALL), dof in anything()) {
        let model = Model::new();
        let terms = written(&model, &inputs, &operations, dof);
        let found: Vec<_> = terms.iter().map(|&term| model.first_order(term)).collect();
        for estimate in &found {
            prop_assert!(estimate.u() >= 0.0 && estimate.effective_dof() >= 0.0);
            prop_assert!(estimate.contributions.iter().all(|x| estimate.u() >= x.u.abs() && x.u != 0.0));
            prop_assert!(found.iter().all(|other| !estimate.covariance(other).is_nan()));
            prop_assert!(estimate.coverage_factor(0.95).is_some_and(|k| k > 0.0 && k.is_finite()));
        }
        let last = terms[terms.len() - 1];
        prop_assert!(model.second_order(last).is_none_or(|u| u.si() >= 0.0 && u.si().is_finite()));
        prop_assert!(!model.explain(last).steps.is_empty());
        for sample in model.monte_carlo(&terms, 20) {
            prop_assert!(sample.values().iter().all(|value| value.is_finite()));
            prop_assert_eq!(sample.values().len() + sample.n_without_solution as usize, 20);
            if let Some(interval) = sample.shortest_interval(0.9) {
                prop_assert!(interval.low <= interval.high);
            }
        }
    }

    #[test]
    fn the_covariances_of_several_estimates_are_a_covariance_matrix(
        inputs in inputs(ordinary()), operations in operations(SMOOTH),
    ) {
        let model = Model::new();
        let terms = written(&model, &inputs, &operations, f64::INFINITY);
        let found: Vec<_> = terms.iter().map(|&term| model.first_order(term)).collect();
        let matrix: Vec<f64> = found.iter().flat_map(|a| found.iter().map(|b| a.covariance(b))).collect();
        prop_assume!(matrix.iter().all(|value| value.is_finite()));
        for (i, a) in found.iter().enumerate() {
            prop_assert!(relative(matrix[i * found.len() + i].sqrt(), a.u()) < 1e-14);
            for b in &found {
                prop_assert!(a.covariance(b).abs() <= a.u() * b.u() * (1.0 + 1e-14));
                prop_assert_eq!(a.covariance(b).to_bits(), b.covariance(a).to_bits());
            }
        }
        // The factorisation turns back whatever is not positive semidefinite. Estimates may depend on each other, and a pivot that
        // is hardly above rounding divides the rounding of others; a thousand-millionth of each variance keeps pivots above that.
        let n = found.len();
        let shifted: Vec<f64> = matrix
            .iter()
            .enumerate()
            .map(|(place, value)| if place % (n + 1) == 0 { value * (1.0 + 1e-9) } else { *value })
            .collect();
        let values: Vec<Factor> = found.iter().map(|estimate| estimate.value).collect();
        let again = Model::new();
        let correlated = again.correlated(&values, &shifted, "again", f64::INFINITY);
        prop_assert!(correlated.is_ok(), "{:?}", correlated.err());
    }

    #[test]
    fn uncertainty_scales_with_its_sources_and_with_the_quantity(
        inputs in inputs(ordinary()), operations in operations(SMOOTH),
        factor in prop::sample::select(vec![0.25, -2.0, 1024.0]),
    ) {
        let model = Model::new();
        let terms = written(&model, &inputs, &operations, 5.0);
        let found: Vec<_> = terms.iter().map(|&term| model.first_order(term)).collect();
        prop_assume!(u_of(&found).iter().all(|u| u.is_finite()));
        // All sources four times as large: the same budget, four times, to the last bit.
        let larger: Vec<Input> = inputs
            .iter()
            .map(|(value, sources)| (*value, sources.iter().map(|&(number, u)| (number, 4.0 * u)).collect()))
            .collect();
        let with_larger = Model::new();
        for (term, estimate) in written(&with_larger, &larger, &operations, 5.0).into_iter().zip(&found) {
            let four_times = with_larger.first_order(term);
            prop_assert_eq!(four_times.u().to_bits(), (4.0 * estimate.u()).to_bits());
            prop_assert_eq!(four_times.effective_dof().to_bits(), estimate.effective_dof().to_bits());
        }
        // The quantity in another unit; by a power of two, so that cancelled contributions stay comparable.
        for (&term, estimate) in terms.iter().zip(&found) {
            let scaled = model.first_order(term * model.exact(Factor::from_si(factor)));
            prop_assert_eq!(scaled.u().to_bits(), (factor.abs() * estimate.u()).to_bits());
        }
    }

    #[test]
    fn the_order_of_the_inputs_does_not_matter(
        inputs in inputs(ordinary()), weights in prop::collection::vec(ordinary(), 5), turn in 0_usize..5,
    ) {
        let of = |order: &[usize]| {
            let model = Model::new();
            let terms: Vec<Term<'_, Factor>> = order
                .iter()
                .map(|&place| {
                    let term = written(&model, &inputs[place..=place], &[], 5.0)[0];
                    term * model.exact(Factor::from_si(weights[place]))
                })
                .collect();
            let sum = model.sum(&terms);
            let product = terms.iter().copied().reduce(|a, b| a * b).unwrap();
            [model.first_order(sum).u(), model.first_order(product).u()]
        };
        let order: Vec<usize> = (0..inputs.len()).collect();
        let mut turned = order.clone();
        turned.rotate_left(turn % inputs.len());
        // Contributions cancel in a sum; what is left is known to the digits of the parts.
        let parts: f64 = inputs.iter().flat_map(|(_, sources)| sources).map(|(_, u)| 2.0 * u.abs()).sum();
        for (a, b) in of(&order).into_iter().zip(of(&turned)) {
            prop_assert!((a - b).abs() <= 1e-14 * parts * 16.0, "{} {}", a, b);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(20))]

    /// Six standard errors: once in ten million runs by chance.
    #[test]
    fn monte_carlo_agrees_with_first_order_where_the_equation_is_linear(
        inputs in inputs(ordinary()), operations in operations(LINEAR), salt in any::<u32>(),
    ) {
        const TRIALS: u32 = 20_000;
        let model = Model::new();
        let terms: Vec<Term<'_, Factor>> = written(&model, &inputs, &operations, f64::INFINITY);
        // New names for the sources of this case, and with them new draws.
        let own = Source::normal(SourceId::new(format!("own {salt}")), 0.5);
        let y = terms[terms.len() - 1] + model.input(Factor::from_si(0.0), &[own]);
        let estimate = model.first_order(y);
        let sample = &model.monte_carlo(&[y], TRIALS)[0];
        let (mean, u) = (sample.mean().unwrap().si(), sample.u().unwrap().si());
        let root = f64::from(TRIALS).sqrt();
        prop_assert!((mean - estimate.value.si()).abs() < 6.0 * estimate.u() / root, "{mean} {estimate:?}");
        // No shape here has heavier tails than the normal one, whose s scatters by u/√(2M).
        prop_assert!((u / estimate.u() - 1.0).abs() < 6.0 / (2.0_f64.sqrt() * root), "{u} {estimate:?}");
    }
}
