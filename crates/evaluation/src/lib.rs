//! What follows from a data package and its decisions: responses, calibration, results, flags, conformity; pure.
