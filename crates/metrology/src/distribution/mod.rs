//! Probability distributions: what a probability, a quantile or a tail of each law is.
//!
//! Suggested reading order:
//! 1. [`normal`]: density, both tails, quantile; [`draw`]: what Monte Carlo draws by it.
//! 2. [`gamma`], [`beta`]: the incomplete gamma and beta functions under the other laws.
//! 3. [`student_t`], [`chi_squared`], [`fisher_f`]: the laws of means, variances and their ratios.
//! 4. [`noncentral_t`], [`studentised_range`]: tolerance factors and the comparison of many means.
//!
//! Every door takes plain `f64` and gives `Option<f64>`. `None` says exactly this: an argument is
//! not a number or lies outside the domain that the door names, or the answer is infinite (the
//! normal quantile of 0). So no NaN comes in and none goes out.
//!
//! Both tails are worked out for themselves: where a probability is close to 1, ask for the other
//! tail instead of subtracting, and 10⁻³⁰⁰ has as many correct digits as 0.5. Where both are
//! known, `upper_quantile(q)` is likewise the better question than `quantile(1 − q)`.
//!
//! Invariant: only `libm` and the basic operations, in a stated order, so equal arguments give equal
//! bits on every machine. Relative error below 10⁻¹² against the multiple-precision tables of
//! `reference/distribution`, wherever `f64` can hold the answer as a normal number.

pub mod draw;
pub mod normal;

pub mod beta;
pub mod gamma;

pub mod chi_squared;
pub mod fisher_f;
pub mod student_t;

pub mod noncentral_t;
pub mod studentised_range;

mod quadrature;
mod saddle;
mod tails;

pub(crate) use quadrature::gauss_legendre;
