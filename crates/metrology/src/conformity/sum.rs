//! A sum of several results held against one limit, where some of them lie below their quantification limits.
//!
//! [`sum_bounds`] gives two sums, since what lies below a quantification limit has no value to add: the lower bound counts
//! it as nothing, the upper bound as that limit. Both are terms of the model, so that what the summands share counts with
//! its sign in the uncertainty of each.

use crate::kind::Kind;
use crate::model::{Model, Term};

/// One result of a sum.
#[derive(Clone, Copy, Debug)]
pub enum Summand<'m, K> {
    /// A result with a value.
    Quantified(Term<'m, K>),
    /// A result below its quantification limit.
    BelowLoq {
        /// What was found, for its uncertainty.
        found: Term<'m, K>,
        /// The quantification limit.
        limit: K,
    },
}

/// The two sums.
#[derive(Clone, Copy, Debug)]
pub struct SumBounds<'m, K> {
    /// What lies below its quantification limit counts as nothing.
    pub lower: Term<'m, K>,
    /// What lies below its quantification limit counts as that limit.
    pub upper: Term<'m, K>,
}

/// The lower and the upper bound of a sum.
///
/// A summand below its limit brings no uncertainty to the lower bound. To the upper bound it brings that of the value found,
/// so that neither the bound nor its uncertainty jumps where the value found passes the limit.
///
/// # Arguments
/// * `summands`: in the order in which they are added; of none both bounds are an exact zero.
///
/// # Source
/// The bounds: Commission Regulation (EU) 2017/644, annex I, definitions of "upperbound" and "lowerbound", there for dioxins;
/// for sums of metals common practice, no source. The uncertainty of a summand that the limit stands for: ours, no source.
///
/// # Example
/// ```
/// use darkline_metrology::conformity::{Summand, sum_bounds};
/// use darkline_metrology::kind::MassFraction;
/// use darkline_metrology::model::Model;
/// use darkline_metrology::source::{Source, SourceId};
///
/// let mg_per_kg = |value: f64| MassFraction::unit("mg/kg").expect("a unit of the kind").of(value);
/// # use darkline_metrology::kind::Kind;
/// let model = Model::new();
/// let lead = model.input(mg_per_kg(62.0), &[Source::normal(SourceId::new("lead"), 1.5e-6)]);
/// let cadmium = model.input(mg_per_kg(0.3), &[Source::normal(SourceId::new("cadmium"), 0.2e-6)]);
/// let bounds = sum_bounds(&model, &[
///     Summand::Quantified(lead),
///     Summand::BelowLoq { found: cadmium, limit: mg_per_kg(1.0) },
/// ]);
/// let (lower, upper) = (model.first_order(bounds.lower), model.first_order(bounds.upper));
/// assert!((lower.value.si() - 62.0e-6).abs() < 1e-18 && (upper.value.si() - 63.0e-6).abs() < 1e-18);
/// assert!((lower.u() - 1.5e-6).abs() < 1e-18);
/// assert!((upper.u() - (1.5e-6_f64 * 1.5e-6 + 0.2e-6 * 0.2e-6).sqrt()).abs() < 1e-18);
/// ```
pub fn sum_bounds<'m, K: Kind>(model: &'m Model, summands: &[Summand<'m, K>]) -> SumBounds<'m, K> {
    let (mut lower, mut upper) = (Vec::new(), Vec::new());
    for summand in summands {
        match *summand {
            Summand::Quantified(term) => {
                lower.push(term);
                upper.push(term);
            }
            // A shift by an exact figure leaves the sensitivities as they are.
            Summand::BelowLoq { found, limit } => {
                upper.push(found + model.exact(K::from_si(limit.si() - found.value().si())));
            }
        }
    }
    SumBounds { lower: model.sum(&lower), upper: model.sum(&upper) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::MassFraction;
    use crate::source::{Source, SourceId};

    fn input<'m>(model: &'m Model, value: f64, sources: &[(&str, f64)]) -> Term<'m, MassFraction> {
        let sources: Vec<Source> = sources.iter().map(|(name, u)| Source::normal(SourceId::new(*name), *u)).collect();
        model.input(MassFraction::from_si(value), &sources)
    }

    #[test]
    fn of_nothing_below_its_limit_both_bounds_are_the_sum() {
        let model = Model::new();
        let (one, other) = (input(&model, 2.0, &[("a", 0.3)]), input(&model, 5.0, &[("b", 0.4)]));
        let bounds = sum_bounds(&model, &[Summand::Quantified(one), Summand::Quantified(other)]);
        let (lower, upper) = (model.first_order(bounds.lower), model.first_order(bounds.upper));
        assert_eq!((lower.value.si(), lower.u()), (7.0, 0.5));
        assert_eq!(lower, upper);
    }

    #[test]
    fn what_the_summands_share_counts_with_its_sign() {
        for (sign, expected) in [(1.0, 0.7), (-1.0, 0.1)] {
            let model = Model::new();
            let one = input(&model, 2.0, &[("stock", 0.3)]);
            let other = input(&model, 5.0, &[("stock", sign * 0.4)]);
            let bounds = sum_bounds(&model, &[Summand::Quantified(one), Summand::Quantified(other)]);
            assert!((model.first_order(bounds.lower).u() - expected).abs() < 1e-15);
        }
    }

    #[test]
    fn all_below_their_limits_lie_between_nothing_and_the_limits() {
        let model = Model::new();
        let summand = |value, name| Summand::BelowLoq {
            found: input(&model, value, &[(name, 0.1)]),
            limit: MassFraction::from_si(1.0),
        };
        let bounds = sum_bounds(&model, &[summand(0.5, "a"), summand(-0.1, "b")]);
        let (lower, upper) = (model.first_order(bounds.lower), model.first_order(bounds.upper));
        assert_eq!((lower.value.si(), lower.u()), (0.0, 0.0));
        assert!((upper.value.si() - 2.0).abs() < 1e-15);
        assert!((upper.u() - 0.02_f64.sqrt()).abs() < 1e-15);
    }

    #[test]
    fn the_upper_bound_does_not_jump_where_the_value_passes_its_limit() {
        let model = Model::new();
        let limit = MassFraction::from_si(1.0);
        let (below, at) = (input(&model, 1.0 - 1e-12, &[("a", 0.1)]), input(&model, 1.0, &[("a", 0.1)]));
        let under = sum_bounds(&model, &[Summand::BelowLoq { found: below, limit }]).upper;
        let over = sum_bounds(&model, &[Summand::Quantified(at)]).upper;
        let (under, over) = (model.first_order(under), model.first_order(over));
        assert!((under.value.si() - over.value.si()).abs() < 1e-15 && under.u() == over.u());
    }
}
