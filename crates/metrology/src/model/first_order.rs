//! The law of propagation of uncertainty: one sweep backwards over the tape is the whole budget.

use super::tape::{Model, Node};
use super::term::Term;
use crate::estimate::{Contribution, Estimate};
use crate::kind::Kind;

impl Model {
    /// The estimate of a quantity with the contribution of each source, by first-order propagation.
    ///
    /// The sensitivity coefficients are the partial derivatives of the equation at its value, found in one reverse
    /// sweep; a source that enters several inputs enters with the sum of its effects, signs and all, which is how
    /// correlation through shared causes comes about. Where the equation has no slope (a root at zero, a division by
    /// zero), the contribution is infinite.
    ///
    /// # Source
    /// JCGM 100:2008 (GUM), 5.1.2 equation (10) and 5.2; F.1.2.3 on correlation through common sources.
    pub fn first_order<K: Kind>(&self, y: Term<'_, K>) -> Estimate<K> {
        let tape = self.tape.borrow();
        let place = y.node as usize;
        let mut both = vec![0.0; place + 1 + tape.sources.len()];
        let (adjoints, effects) = both.split_at_mut(place + 1);
        adjoints[place] = 1.0;
        for node in (0..=place).rev() {
            let adjoint = adjoints[node];
            if adjoint == 0.0 {
                continue;
            }
            let value = |of: u32| tape.values[of as usize];
            match tape.nodes[node] {
                Node::Exact => {}
                Node::Input { first, end } => {
                    for loading in &tape.loadings[first as usize..end as usize] {
                        effects[loading.source as usize] += adjoint * loading.u;
                    }
                }
                Node::Add(a, b) => {
                    adjoints[a as usize] += adjoint;
                    adjoints[b as usize] += adjoint;
                }
                Node::Sub(a, b) => {
                    adjoints[a as usize] += adjoint;
                    adjoints[b as usize] -= adjoint;
                }
                Node::Mul(a, b) => {
                    adjoints[a as usize] += adjoint * value(b);
                    adjoints[b as usize] += adjoint * value(a);
                }
                Node::Div(a, b) => {
                    adjoints[a as usize] += adjoint / value(b);
                    adjoints[b as usize] -= adjoint * tape.values[node] / value(b);
                }
                Node::Sum { first, end } => {
                    for &term in &tape.terms_of_sums[first as usize..end as usize] {
                        adjoints[term as usize] += adjoint;
                    }
                }
                Node::Sqrt(a) => adjoints[a as usize] += adjoint * 0.5 / tape.values[node],
                Node::Ln(a) => adjoints[a as usize] += adjoint / value(a),
                Node::Exp(a) => adjoints[a as usize] += adjoint * tape.values[node],
                Node::Sin(a) => adjoints[a as usize] += adjoint * libm::cos(value(a)),
                Node::Cos(a) => adjoints[a as usize] -= adjoint * libm::sin(value(a)),
                Node::Atan2(a, b) => {
                    let (y, x) = (value(a), value(b));
                    let square = x * x + y * y;
                    adjoints[a as usize] += adjoint * x / square;
                    adjoints[b as usize] -= adjoint * y / square;
                }
                Node::Solve { fit, parameter } => {
                    let fit = &tape.fits[fit as usize];
                    let row = parameter as usize * fit.from.len();
                    for (&from, partial) in fit.from.iter().zip(&fit.partials[row..]) {
                        adjoints[from as usize] += adjoint * partial;
                    }
                }
            }
        }
        let mut contributions = Vec::with_capacity(effects.iter().filter(|&&effect| effect != 0.0).count());
        for &place in &tape.sources_in_order {
            let effect = effects[place as usize];
            if effect == 0.0 {
                continue;
            }
            let source = &tape.sources[place as usize];
            // Infinity times zero says as little as infinity, and is no number to hand on.
            let u = if effect.is_nan() { f64::INFINITY } else { effect };
            contributions.push(Contribution {
                source: source.id.clone(),
                u,
                dof: source.dof,
                pool: source.pool.clone(),
            });
        }
        Estimate { value: K::from_si(tape.values[place]), contributions }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::Factor;
    use crate::source::{Source, SourceId};

    fn input<'m>(model: &'m Model, name: &str, value: f64, u: f64) -> Term<'m, Factor> {
        model.input(Factor::from_si(value), &[Source::normal(SourceId::new(name), u)])
    }

    #[test]
    fn an_angle_turns_with_both_coordinates() {
        let model = Model::new();
        let (x, y) = (input(&model, "x", -3.0, 0.1), input(&model, "y", 4.0, 0.2));
        let angle = model.first_order(y.atan2(x));
        assert!((angle.value.si() - libm::atan2(4.0, -3.0)).abs() < 1e-15);
        let found: Vec<f64> = angle.contributions.iter().map(|contribution| contribution.u).collect();
        assert!(
            (found[0] - -4.0 / 25.0 * 0.1).abs() < 1e-15 && (found[1] - -3.0 / 25.0 * 0.2).abs() < 1e-15,
            "{found:?}"
        );
    }

    #[test]
    fn an_equation_without_a_slope_has_an_infinite_uncertainty() {
        let model = Model::new();
        let zero = input(&model, "zero", 0.0, 0.1);
        assert_eq!(model.first_order(zero.sqrt()).u(), f64::INFINITY);
        assert_eq!(model.first_order(zero / zero).u(), f64::INFINITY);
        assert_eq!(model.first_order(zero.ln()).u(), f64::INFINITY);
    }
}
