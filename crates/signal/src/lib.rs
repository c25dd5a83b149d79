//! A pulse: channels, baseline, integration, net absorbance with its uncertainty, shape.
