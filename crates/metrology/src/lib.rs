//! Quantities that know what they are and how sure they are; nothing here knows atomic absorption.
//!
//! Suggested reading order:
//! 1. [`kind`]: kinds of quantity, their units, figures with a kind.
//! 2. [`source`]: where uncertainty comes from.
//! 3. [`model`]: the measurement model, a tape of terms; its budget, its Monte Carlo replay, its derivation.
//! 4. [`estimate`]: a value with its contributions by source.
//! 5. [`distribution`], [`summary`], [`robust`], [`anova`]: probability and statistics.
//! 6. [`type_b`], [`bias`], [`horwitz`], [`method_criteria`], [`proficiency`]: single rules about uncertainty.
//! 7. [`rounding`], [`conformity`]: what is printed, and what is stated about a limit.

pub mod kind;
pub mod source;

pub mod model;

pub mod estimate;

pub mod distribution;

pub mod anova;
pub mod robust;
pub mod summary;

pub mod bias;
pub mod horwitz;
pub mod method_criteria;
pub mod proficiency;
pub mod type_b;

pub mod conformity;
pub mod rounding;

#[cfg(all(target_arch = "x86", not(target_feature = "sse2")))]
compile_error!("32-bit x86 without SSE2 rounds otherwise; Darkline promises the same bits everywhere");
