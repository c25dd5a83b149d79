//! Control charts: limits from what was, and what lies outside them.

pub mod constants;
pub mod cusum;
pub mod ewma;
pub mod multi_rule;
pub mod run_rules;
pub mod shewhart;
