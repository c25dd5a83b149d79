//! The measurement model against published examples: budgets, correlations, coverage, Monte Carlo.
//!
//! Every case of `reference/uncertainty` that is about the model is read and held here, each publication in a file of
//! its own; `claims` makes sure that no case is left over.

#[path = "../statistics/published.rs"]
mod published;

mod budget;
mod expression;

mod gum;
mod jcgm_101;
mod jcgm_102;
mod quam;

mod dilution;
mod result;
mod stock;
mod volume;
mod weighing;

mod claims;
