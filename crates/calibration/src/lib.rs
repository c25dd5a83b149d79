//! Response and amount: the calibration function, its fit as a node of the measurement model, reading an amount back.
//!
//! * [`line`]: the straight line, fitted with weights; its figures of merit and the node that puts it on the tape.
//!
//! Never knows pulses or files. Amounts are mass concentrations of the measured solution.

pub mod line;
