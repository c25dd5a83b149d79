//! A flag: what a rule saw, the evidence, how serious it is, what it holds back and what may be done next.

use darkline_record::canonical::Digest;
use darkline_record::decision::{FlagId, NextStep};
use darkline_record::identity::{BatchId, RowId, RunId};
use serde::{Deserialize, Serialize};

/// What a rule saw.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Flag {
    /// The rule and what it is about.
    pub id: FlagId,
    /// How serious it is.
    pub severity: Severity,
    /// Whether a later row may still overturn it.
    pub settled: Settled,
    /// What it rests on.
    pub evidence: Evidence,
    /// The results it holds back while it is open.
    pub holds: Holds,
    /// What may be done next, the first being what the rule would do.
    pub next: Vec<NextStep>,
}

/// How serious a flag is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Stops the report until it is settled.
    Stops,
    /// Is told, and stops nothing.
    Tells,
}

/// Whether a flag can still change.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Settled {
    /// Nothing later in the run changes it.
    Now,
    /// The readings of this row may overturn it.
    Until(RowId),
}

/// Which results a flag holds back.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Holds {
    /// None.
    Nothing,
    /// Those measured at these rows.
    Rows(Vec<RowId>),
    /// Those of a preparation batch, in every run.
    Batch(BatchId),
    /// Those of a run.
    Run(RunId),
}

/// What a flag rests on: figures by name, and words where a fact is none.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// Figures in the order they are told.
    pub figures: Vec<EvidenceFigure>,
    /// Facts that are no figures: the name on the cup, why a fit failed.
    pub facts: Vec<(String, String)>,
}

/// A figure of the evidence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct EvidenceFigure {
    /// What it is.
    pub name: String,
    /// Its value in the unit.
    pub value: f64,
    /// The unit; "1" for a pure number.
    pub unit: String,
}

impl Evidence {
    /// Adds a figure.
    #[must_use]
    pub fn figure(mut self, name: &str, value: f64, unit: &str) -> Self {
        self.figures.push(EvidenceFigure { name: name.into(), value, unit: unit.into() });
        self
    }
    /// Adds a fact.
    #[must_use]
    pub fn fact(mut self, name: &str, words: &str) -> Self {
        self.facts.push((name.into(), words.into()));
        self
    }
    /// A figure as it is told: three significant digits with its unit; a dash where there is none of this name.
    pub fn told(&self, name: &str) -> String {
        self.figures.iter().find(|figure| figure.name == name).map_or_else(|| "–".into(), EvidenceFigure::told)
    }
    /// The value of a figure; zero where there is none of this name.
    pub fn value(&self, name: &str) -> f64 {
        self.figures.iter().find(|figure| figure.name == name).map_or(0.0, |figure| figure.value)
    }
    /// Whether there is a figure of this name.
    pub fn has(&self, name: &str) -> bool {
        self.figures.iter().any(|figure| figure.name == name)
    }
    /// A fact; empty where there is none of this name.
    pub fn words(&self, name: &str) -> &str {
        self.facts.iter().find(|(fact, _)| fact == name).map_or("", |(_, words)| words)
    }
    /// The name on the cup, with what it is where the name does not say so: "B3 (method blank)", "method blank P1".
    pub fn cup(&self, fact: &str) -> String {
        let (cup, kind) = (self.words("cup"), self.words(fact));
        if cup.contains(kind) { cup.to_owned() } else { format!("{cup} ({kind})") }
    }
    /// The digest that a person's justification names: figures and names, not sentences.
    pub fn digest(&self) -> Digest {
        Digest::of_document(&self.without_sentences())
    }
    /// The same without the fact "why", whose wording may get better without anything else being seen.
    #[must_use]
    pub fn without_sentences(&self) -> Self {
        let facts = self.facts.iter().filter(|(name, _)| name != "why").cloned().collect();
        Self { figures: self.figures.clone(), facts }
    }
}

impl EvidenceFigure {
    /// Three significant digits with the unit.
    pub fn told(&self) -> String {
        let digits = three_digits(self.value);
        if self.unit == "1" { digits } else { format!("{digits} {}", self.unit) }
    }
}

/// A value to three significant digits, without an exponent between 0.0001 and 100 000.
pub fn three_digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let scientific = format!("{value:.2e}");
    let exponent: i32 = scientific.split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0);
    if (-4..6).contains(&exponent) {
        let decimals = usize::try_from(2 - exponent).unwrap_or(0);
        format!("{value:.decimals$}")
    } else {
        scientific
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_told_to_three_digits() {
        for (value, told) in
            [(0.0, "0"), (0.21, "0.210"), (1234.5, "1234"), (-0.05, "-0.0500"), (1e-7, "1.00e-7"), (9.999, "10.0")]
        {
            assert_eq!(three_digits(value), told);
        }
    }

    #[test]
    fn a_cup_says_what_it_is_once() {
        let evidence = |cup: &str| Evidence::default().fact("blank", "method blank").fact("cup", cup);
        assert_eq!(evidence("B3").cup("blank"), "B3 (method blank)");
        assert_eq!(evidence("method blank P1").cup("blank"), "method blank P1");
    }

    #[test]
    fn other_evidence_has_another_digest() {
        let evidence = Evidence::default().figure("found", 0.21, "µg/L");
        assert_ne!(evidence.digest(), Evidence::default().figure("found", 0.22, "µg/L").digest());
    }
}
