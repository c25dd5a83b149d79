//! Identities and the documents of the job, their canonical bytes and digests; no arithmetic, no files.
//!
//! Suggested reading order: [`identity`], [`figure`], then the documents in the order of the work: [`order`],
//! [`preparation`], [`method`] with its [`limits`], [`run`], [`pulse`], [`decision`]; at last [`package`], which holds them together, and
//! [`canonical`], which gives them bytes.

pub mod figure;
pub mod identity;
pub mod time;

pub mod order;
pub mod preparation;

pub mod background_correction;
pub mod calibration_plan;
pub mod detection_limits;
pub mod limits;
pub mod method;
pub mod solid;
pub mod uncertainty_plan;

pub mod pulse;
pub mod run;

pub mod decision;

pub mod package;

pub mod canonical;
