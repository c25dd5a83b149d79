//! Regulation (EC) No 333/2007 and its amendment (EU) 2022/2418: what a method must reach.

use crate::held::hold;

/// Regulation (EC) No 333/2007, annex, C.3.3.2: largest standard uncertainty (table of α from memory).
#[test]
fn eu_333_2007_fitness_for_purpose() {
    hold("uncertainty/eu-333-uncertainty-function.toml");
}

/// Implementing Regulation (EU) 2022/2418, annex: detection capability for lead and cadmium.
#[test]
fn eu_2022_2418_detection_capability() {
    hold("uncertainty/eu-2022-2418-lod-loq.toml");
}
