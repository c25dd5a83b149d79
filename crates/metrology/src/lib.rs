//! Quantities and units, the measurement model, estimates with contributions, distributions, rounding, conformity with a limit.
