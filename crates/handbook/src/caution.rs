//! Usual cautions of the trade: reminders, never a safety assessment.

use serde::{Deserialize, Serialize};

use crate::provenance::Provenance;

/// What stands above all cautions.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct General {
    /// What they are and what prevails over them.
    pub statement: String,
    /// Where the statement is shown.
    pub display: String,
    /// The statement in one line.
    pub short_form: String,
    /// How sure that is.
    pub provenance: Provenance,
}

/// A caution.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    /// Its name in the handbook.
    pub id: String,
    /// How bad it can become.
    pub severity: Severity,
    /// When it is shown.
    pub applies: Applies,
    /// What it says.
    pub caution: String,
    /// Where it comes from.
    pub source: String,
    /// How sure that is, part by part where a caution has several sources.
    pub provenance: String,
}

/// How bad it can become.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Can kill or maim.
    Danger,
    /// Injury, fire, serious exposure.
    Warning,
    /// Minor injury, damage.
    Caution,
    /// Worth knowing.
    Notice,
}

impl Severity {
    /// The word on screens.
    pub fn word(self) -> &'static str {
        match self {
            Severity::Danger => "danger",
            Severity::Warning => "warning",
            Severity::Caution => "caution",
            Severity::Notice => "notice",
        }
    }
}

/// When a caution is shown: one entry of each list fits the planned work; an absent list does not limit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Applies {
    /// Techniques.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub technique: Vec<String>,
    /// Gases.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gas: Vec<String>,
    /// Reagents.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reagent: Vec<String>,
    /// Elements.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub element: Vec<String>,
}

impl Applies {
    /// Whether work of this kind is meant.
    ///
    /// # Arguments
    /// `work`: what the planned work uses, one list each; an empty list of the work fits only an absent one here.
    pub fn fits(&self, work: &Applies) -> bool {
        let meets = |mine: &[String], theirs: &[String]| mine.is_empty() || mine.iter().any(|one| theirs.contains(one));
        meets(&self.technique, &work.technique)
            && meets(&self.gas, &work.gas)
            && meets(&self.reagent, &work.reagent)
            && meets(&self.element, &work.element)
    }
}

/// All cautions with what stands above them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cautions {
    /// What they are, and what prevails.
    pub general: General,
    /// The cautions, as listed.
    pub cautions: Vec<Caution>,
}

impl Cautions {
    /// The cautions that fit planned work, the worst first.
    pub fn fitting(&self, work: &Applies) -> Vec<&Caution> {
        let mut fitting: Vec<&Caution> = self.cautions.iter().filter(|caution| caution.applies.fits(work)).collect();
        fitting.sort_by_key(|caution| caution.severity);
        fitting
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Handbook;

    #[test]
    fn cautions_of_an_acetylene_flame_are_not_shown_for_a_furnace() {
        let cautions = Handbook::shipped().cautions();
        let list = |one: &str| vec![one.to_owned()];
        let flame = Applies { technique: list("flame"), gas: list("acetylene"), ..Applies::default() };
        let furnace = Applies { technique: list("furnace"), gas: list("argon"), ..Applies::default() };
        let ids = |work: &Applies| cautions.fitting(work).iter().map(|one| one.id.clone()).collect::<Vec<_>>();
        assert!(ids(&flame).contains(&"acetylene-pressure".into()));
        assert!(!ids(&furnace).contains(&"acetylene-pressure".into()));
        let severities: Vec<Severity> = cautions.fitting(&flame).iter().map(|one| one.severity).collect();
        assert!(severities.is_sorted());
    }
}
