//! Misprints of the publications, with what the tables use instead.

use serde::{Deserialize, Serialize};

use crate::provenance::Provenance;

/// A misprint, or a figure that several publications print differently.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Erratum {
    /// The publication.
    pub source: String,
    /// The place in it.
    pub locator: String,
    /// What it prints.
    pub printed: String,
    /// What the tables use.
    pub used: String,
    /// Why.
    pub reason: String,
    /// How sure that is.
    pub provenance: Provenance,
}

impl Erratum {
    /// Whether it is about an element: its symbol stands in the text as a word.
    pub fn concerns(&self, symbol: &str) -> bool {
        let words = |text: &str| text.split(|c: char| !c.is_ascii_alphabetic()).any(|word| word == symbol);
        words(&self.printed) || words(&self.reason)
    }
}
