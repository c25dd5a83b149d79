//! Statistics of quality control, and the rules: each looks at a run and returns flags.
//!
//! Suggested reading order: [`view`], what a rule is shown; [`flag`], what it returns; [`cost`], what its steps take; [`rule`], its shape; [`rules`],
//! all of them, one a file.
//!
//! Never knows files or people: what a person decided about a flag is settled one floor higher.

pub mod flag;
pub mod view;

pub mod cost;

pub mod rule;
pub mod rules;
