//! Why the computation of a case stops: the case is at fault, or the program refuses what it asks for.

use std::fmt::Display;

use crate::case_file::CaseFault;

/// Why a computation stops.
#[derive(Debug)]
pub(crate) enum Stop {
    /// The case cannot be read.
    Fault(Box<CaseFault>),
    /// The program gives a reason in place of figures.
    Refused(String),
    /// Nothing computes cases of this name.
    Unknown,
}

impl From<Box<CaseFault>> for Stop {
    fn from(fault: Box<CaseFault>) -> Self {
        Stop::Fault(fault)
    }
}

/// The reason a function of the program gives.
pub(crate) fn refused(reason: impl Display) -> Stop {
    Stop::Refused(reason.to_string())
}

/// A figure that a function of the program does not give.
pub(crate) fn no_value(what: &str) -> Stop {
    Stop::Refused(format!("{what} has no value for these figures"))
}
