//! Conformity with a limit: the decision rule, the statement, and the risks of being wrong.
//!
//! [`decide`] holds a measured value against a [`Limit`] by a [`DecisionRule`] and gives a [`Statement`];
//! [`probability_of_conformity`] and [`global_risk`] say how sure that is;
//! [`replicates_that_would_decide`] says whether measuring again would help. [`sum_bounds`] makes a sum of results ready for it,
//! some of which lie below their quantification limits.
//!
//! Comparisons are made in decimal figures, because 0.10 − 0.02 is 0.08 on paper and not in binary.
//! A value exactly on a limit counts on the favourable side of it.

mod decision;
mod limit;
mod risk;
mod sum;

pub use decision::{Assessment, DecisionRule, Guard, MeasuredValue, Statement, decide};
pub use limit::{Limit, LimitError};
pub use risk::{
    AcceptanceSide, Bound, GlobalRisk, Prior, acceptance_limit, global_risk, probability_of_conformity,
    replicates_that_would_decide, risk_at_acceptance_limit,
};
pub use sum::{SumBounds, Summand, sum_bounds};
