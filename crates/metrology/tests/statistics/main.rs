//! Statistics, rounding and conformity against published examples and multiple-precision tables.

mod any_argument;
mod published;
mod quality_case;

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
