//! The qualification protocol: which worked examples were run, on what, what came of them, and places to sign.
//!
//! Everything arrives as text: figures are rounded where they are found, the date comes from whoever asks.

use serde::Serialize;

/// A protocol to be signed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct QualificationProtocol {
    /// The laboratory; may be empty.
    pub laboratory: String,
    /// Program and version.
    pub program: String,
    /// The machine it ran on.
    pub machine: String,
    /// The day, such as `2026-11-25`, or a time with its offset.
    pub date: String,
    /// Which cases were run.
    pub scope: String,
    /// What came of it, in a sentence.
    pub conclusion: String,
    /// Whether everything agrees, or differs for a named reason.
    pub agrees: bool,
    /// How much was run: what is counted, and the count.
    pub counts: Vec<(String, String)>,
    /// Figures that differ or disagree, each with its reason.
    pub apart: Vec<FigureApart>,
    /// The cases, by pack.
    pub packs: Vec<PackOfCases>,
    /// Who signs: what each signature means.
    pub signatures: Vec<String>,
}

/// Cases that belong together.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct PackOfCases {
    /// Their name.
    pub name: String,
    /// The cases.
    pub cases: Vec<CaseLine>,
}

/// A case and what came of it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct CaseLine {
    /// Its name.
    pub case: String,
    /// What is computed.
    pub kind: String,
    /// The publication.
    pub source: String,
    /// How many figures were compared.
    pub figures: String,
    /// In how many digits the least of them agrees.
    pub digits: String,
    /// What follows.
    pub verdict: String,
}

/// A figure that is not the one expected.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct FigureApart {
    /// The case.
    pub case: String,
    /// The quantity.
    pub quantity: String,
    /// What the source prints.
    pub printed: String,
    /// What the program finds.
    pub found: String,
    /// How far it may be off.
    pub tolerance: String,
    /// What follows, with the reason.
    pub verdict: String,
}
