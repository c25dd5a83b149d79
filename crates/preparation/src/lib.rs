//! Solutions and lots, dilution trees, calibration levels, volumetric ware and balances with what they can do.
//!
//! Suggested reading order:
//! 1. [`weighing`]: the density of water, buoyancy, the smallest weight a balance can do.
//! 2. [`ware`]: pipettes and flasks, their deviations, their calibration and its due date.
//! 3. [`lot`]: stocks, acids and modifiers; a child expires with its first parent.
//! 4. [`dilution`]: one step and its uncertainty.
//! 5. [`tree`]: the dilutions that lead from a stock to the levels with the least uncertainty.
//! 6. [`levels`]: how many calibration levels, and where.
//! 7. [`batch`]: portions prepared together, with their controls.
//! 8. [`bench`]: all that stands on a bench, as its document says.
//!
//! Nothing here knows a run or an instrument. Figures are in SI unless an argument says otherwise; there is no clock, days are
//! handed in.

pub mod weighing;

pub mod ware;

pub mod lot;

pub mod dilution;

pub mod tree;

pub mod levels;

pub mod batch;

pub mod bench;
