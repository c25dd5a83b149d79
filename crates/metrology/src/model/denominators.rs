//! What a quantity is divided by, and how sure that is: where first order may fail.

use super::tape::{Model, Node};
use super::term::Term;
use crate::kind::{Factor, Kind};

impl Model {
    /// The largest relative standard uncertainty among the denominators that a quantity rests on; `None` where it is divided by
    /// nothing, or by something whose relative uncertainty is no number.
    ///
    /// A quotient is far from linear where its denominator is not well known; first order then says too little.
    ///
    /// # Source
    /// GUM 5.1.2, note, and G.1.5; JCGM 101:2008, 5.7.2 (the conditions under which first order is good).
    pub fn least_certain_denominator<K: Kind>(&self, y: Term<'_, K>) -> Option<f64> {
        let denominators: Vec<u32> = {
            let tape = self.tape.borrow();
            let needed = tape.needed(&[y.node]);
            let divides = |(node, needed): (&Node, &bool)| match node {
                Node::Div(_, denominator) if *needed => Some(*denominator),
                _ => None,
            };
            tape.nodes.iter().zip(&needed).filter_map(divides).collect()
        };
        denominators
            .into_iter()
            .map(|node| {
                let term = Term::<Factor>::at(self, node);
                (self.first_order(term).u() / term.value().si()).abs()
            })
            .filter(|relative| relative.is_finite())
            .reduce(f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::{Source, SourceId};

    fn input<'m>(model: &'m Model, name: &str, value: f64, u: f64) -> Term<'m, Factor> {
        model.input(Factor::from_si(value), &[Source::normal(SourceId::new(name), u)])
    }

    #[test]
    fn the_least_certain_of_several_counts_and_others_do_not() {
        let model = Model::new();
        let (a, b, c) = (input(&model, "a", 1.0, 0.5), input(&model, "b", 2.0, 0.02), input(&model, "c", -4.0, 0.2));
        let other = a / input(&model, "d", 1.0, 0.9);
        let y = a / b / c;
        assert!((model.least_certain_denominator(y).unwrap() - 0.05).abs() < 1e-15);
        assert!((model.least_certain_denominator(other).unwrap() - 0.9).abs() < 1e-15);
        assert_eq!(model.least_certain_denominator(a * b), None);
    }
}
