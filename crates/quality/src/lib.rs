//! Statistics of quality control, and the rules: each looks at a run and returns flags.
