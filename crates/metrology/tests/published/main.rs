//! The measurement model against published examples: budgets, correlations, coverage, Monte Carlo.
//!
//! Every case of `reference/uncertainty` that is about the model is held here, each publication in a file of its own;
//! `claims` makes sure that no case is left over.

mod held;

mod gum;
mod jcgm_101;
mod jcgm_102;
mod preparation;
mod quam;

mod claims;
