//! Decision, detection and quantitation limits, each with its definition and the inputs it was computed from.
//!
//! * [`din_32645`]: all three from the residual scatter of a calibration line.
//! * [`hubaux_vos`]: the detection limit where the prediction band of the line meets the decision limit (ISO 11843-2).
//! * [`blank_method`]: the decision limit from repeated blanks.
//! * [`currie`]: from a standard deviation at zero, known or estimated (noncentral t).
//! * [`method_detection_limit`]: the United States procedure from spiked samples and method blanks.
//! * [`multiple_of_sd`]: 3·s/b and its like.
//!
//! The decision limit guards against an error of the first kind alone, the detection limit against both, the quantitation
//! limit bounds the relative uncertainty. A limit printed without its definition says nothing.

pub mod din_32645;
pub mod hubaux_vos;

pub mod blank_method;
pub mod currie;
pub mod method_detection_limit;
pub mod multiple_of_sd;

mod asked;

pub use asked::{Asked, NoLimit};
