//! The shape of a rule: a name that reads as what was seen, its source, how it looks, and what it says.

use darkline_record::decision::{FlagId, Subject};
use darkline_record::identity::RuleName;

use crate::flag::{Evidence, Flag};
use crate::view::RunView;

/// A rule of quality control.
#[derive(Clone, Copy, Debug)]
pub struct Rule {
    /// Its name: what was seen.
    pub name: &'static str,
    /// Where the criterion comes from.
    pub source: &'static str,
    /// Looks at a run and returns what it saw.
    pub see: fn(&RunView<'_>) -> Vec<Flag>,
    /// Says a flag's evidence in one sentence, without a full stop.
    pub say: fn(&Evidence) -> String,
}

impl Rule {
    /// The identity of a flag of this rule.
    pub fn flag(&self, subject: Subject) -> FlagId {
        flag_id(self.name, subject)
    }
}

/// The identity of a flag of the rule with this name.
pub fn flag_id(name: &'static str, subject: Subject) -> FlagId {
    let rule: RuleName = name.parse().expect("names of rules are lower-case words joined by hyphens");
    FlagId { rule, subject }
}
