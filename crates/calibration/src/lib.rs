//! Response and amount: the calibration function, its fit as a node of the measurement model, reading an amount back.
