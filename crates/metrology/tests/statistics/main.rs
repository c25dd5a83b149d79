//! Statistics, rounding and conformity against published examples and multiple-precision tables.

#[path = "../published/held.rs"]
#[allow(dead_code, reason = "the other folder of tests uses the rest")]
mod held;

mod any_argument;
mod published;

mod distribution;
mod quantile_tables;

mod gum;
mod nist_strd;

mod amc;
mod iso_5725_5;

mod conformity;

mod food_control;
mod horwitz;
mod iso_13528;
mod precision_and_bias;
