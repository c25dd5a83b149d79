//! The run order and its legs: which rows to measure, and which to measure again because of a flag.
//!
//! * [`leg`]: taken-up steps become a new leg of the run order.

pub mod leg;
