//! Limits that results are held against, and when they are in force.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::provenance::Provenance;

/// A limit of a regulation, guideline or standard.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// Its name in the handbook.
    pub id: String,
    /// The element.
    pub element: String,
    /// In what.
    pub matrix: String,
    /// Its value with the digits it is printed with; they count when a result is held against it.
    pub value: String,
    /// Its unit.
    pub unit: String,
    /// What it is in its text: maximum level, parametric value, action level.
    pub kind: String,
    /// The regulation.
    pub source: String,
    /// The place in it.
    pub clause: String,
    /// What else is to be known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// What the regulation says about how firm it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub designation: Option<String>,
    /// Which species it holds for, where not the total.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub species: Option<String>,
    /// The highest uncertainty (k = 2) the regulation allows at the limit, in per cent of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_max_percent: Option<u8>,
    /// The first day it is in force; always so far where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid_from: Option<Date>,
    /// The last day; no end where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid_until: Option<Date>,
    /// How sure the figure is.
    pub provenance: Provenance,
    /// Which copy was seen: the official text, a transcription, or none.
    pub seen: String,
}

/// Whether a limit is in force on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InForce {
    /// It is.
    Yes,
    /// Not before this day.
    From(Date),
    /// Not after this day.
    Until(Date),
}

impl Limit {
    /// Whether it is in force on a day.
    pub fn in_force(&self, on: Date) -> InForce {
        match (self.valid_from, self.valid_until) {
            (Some(from), _) if on < from => InForce::From(from),
            (_, Some(until)) if on > until => InForce::Until(until),
            _ => InForce::Yes,
        }
    }
}

/// A permitted daily exposure to an elemental impurity of drug products.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Exposure {
    /// The element.
    pub element: String,
    /// Its class.
    pub class: String,
    /// By mouth.
    pub oral: f64,
    /// By injection.
    pub parenteral: f64,
    /// By breathing.
    pub inhalation: f64,
    /// Through the skin.
    pub cutaneous: f64,
    /// The unit of all four.
    pub unit: String,
    /// How sure the figures are.
    pub provenance: Provenance,
    /// Which copy was seen.
    pub seen: String,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Handbook;

    #[test]
    fn a_limit_is_in_force_from_its_first_day_to_its_last() {
        let limit = |id: &str| Handbook::shipped().limits().iter().find(|limit| limit.id == id).unwrap();
        let day = |text: &str| text.parse::<Date>().unwrap();
        // Directive (EU) 2020/2184, Annex I part B, lead: 5 µg/L from 12 January 2036, 10 µg/L until then.
        let (new, old) = (limit("eudwd-pb"), limit("eudwd-pb-interim"));
        assert_eq!(new.in_force(day("2036-01-11")), InForce::From(day("2036-01-12")));
        assert_eq!(new.in_force(day("2036-01-12")), InForce::Yes);
        assert_eq!(old.in_force(day("2036-01-11")), InForce::Yes);
        assert_eq!(old.in_force(day("2036-01-12")), InForce::Until(day("2036-01-11")));
    }
}
