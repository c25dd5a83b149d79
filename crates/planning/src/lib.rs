//! The run order and its legs: which rows to measure, and which to measure again because of a flag.
