//! A virtual spectrometer: takes a run order, gives readings with pulses whose truth is known.
