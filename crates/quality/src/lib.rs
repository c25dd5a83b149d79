//! Statistics of quality control, and the rules: each looks at a run and returns flags.
//!
//! Suggested reading order: [`view`], what a rule is shown; [`flag`], what it returns; [`cost`], what its steps take; [`rule`], its shape; [`rules`],
//! all of them, one a file. Then the statistics, plain figures in and out: [`outlier`], [`significance`], [`homogeneity`] and
//! [`solid`] for series of results; [`chart`] for controls over time; [`recovery`], [`sensitivity`] and [`check_sequence`] for
//! the checks of a run.
//!
//! Never knows files or people: what a person decided about a flag is settled one floor higher.

pub mod flag;
pub mod view;

pub mod cost;
pub mod solid_sampling;

pub mod rule;
pub mod rules;

pub mod chart;
pub mod check_sequence;
pub mod homogeneity;
pub mod outlier;
pub mod recovery;
pub mod sensitivity;
pub mod significance;
pub mod solid;

mod tail_point;
