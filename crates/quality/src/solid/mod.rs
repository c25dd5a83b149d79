//! Solid portions: how much they differ, how many and how large they must be.

pub mod heterogeneity;
pub mod minimum_mass;
pub mod nugget;
pub mod skewed;
