//! Where a figure comes from, and how sure we are of that.

use serde::{Deserialize, Serialize};

/// How a figure came into the handbook.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Provenance {
    /// Seen in the publication.
    Verified,
    /// Worked out anew from published figures.
    Recomputed,
    /// Usage of the trade without one source.
    #[serde(alias = "common practice")]
    CommonPractice,
    /// Named from memory; the publication was not seen.
    Memory,
}

impl Provenance {
    /// The words on screens.
    pub fn words(self) -> &'static str {
        match self {
            Provenance::Verified => "seen in print",
            Provenance::Recomputed => "recomputed",
            Provenance::CommonPractice => "common practice, no source",
            Provenance::Memory => "from memory",
        }
    }
}

/// A publication.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// Its title.
    pub title: String,
    /// Who publishes it.
    pub publisher: String,
    /// Which edition.
    pub edition: String,
    /// Under which terms it is published.
    pub status: String,
    /// Whether a copy was seen; where not, its figures are from memory.
    pub seen: bool,
}

impl Source {
    /// The publication in one line: title, publisher, edition.
    pub fn words(&self) -> String {
        let parts = [&self.title, &self.publisher, &self.edition];
        let told: Vec<&str> = parts.into_iter().map(String::as_str).filter(|part| !part.is_empty()).collect();
        told.join("; ")
    }
}
