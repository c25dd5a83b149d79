//! Flags by name, and what a person decided about them, with the reason.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::calibration_plan::CalibrationModel;
use crate::canonical::Digest;
use crate::identity::{BatchId, IdentityFault, ReadingId, RowId, RuleName, RunId};

/// A reason: never empty, so that no act without one can be built.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Reason(String);

impl Reason {
    /// A reason; `None` where nothing, or more than 500 characters, was written.
    pub fn new(text: &str) -> Option<Self> {
        let text = text.trim();
        (!text.is_empty() && text.chars().count() <= 500).then(|| Self(text.into()))
    }
    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl TryFrom<String> for Reason {
    type Error = &'static str;
    fn try_from(text: String) -> Result<Self, Self::Error> {
        Reason::new(&text).ok_or("a reason has between 1 and 500 characters")
    }
}

impl From<Reason> for String {
    fn from(reason: Reason) -> String {
        reason.0
    }
}

/// What a flag is about.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Subject {
    /// One reading.
    Reading(ReadingId),
    /// One row.
    Row(RowId),
    /// A preparation batch.
    Batch(BatchId),
    /// A whole run.
    Run(RunId),
}

/// The identity of a flag: the rule and what it saw it in.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct FlagId {
    /// The rule.
    pub rule: RuleName,
    /// What it is about.
    pub subject: Subject,
}

impl fmt::Display for FlagId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.subject {
            Subject::Reading(reading) => write!(f, "{}:reading:{reading}", self.rule),
            Subject::Row(row) => write!(f, "{}:row:{row}", self.rule),
            Subject::Batch(batch) => write!(f, "{}:batch:{batch}", self.rule),
            Subject::Run(run) => write!(f, "{}:run:{run}", self.rule),
        }
    }
}

/// A text that names no flag.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FlagFault {
    /// Not in the form rule:kind:place.
    #[error("\"{found}\" names no flag; write it as the output shows it, for example over-range:row:R1/12")]
    Form {
        /// The text.
        found: String,
    },
    /// A part of it is no identity.
    #[error(transparent)]
    Identity(#[from] IdentityFault),
}

impl FromStr for FlagId {
    type Err = FlagFault;
    fn from_str(text: &str) -> Result<Self, FlagFault> {
        let form = || FlagFault::Form { found: text.chars().take(80).collect() };
        let mut parts = text.splitn(3, ':');
        let (rule, kind, place) = (parts.next(), parts.next(), parts.next());
        let (Some(rule), Some(kind), Some(place)) = (rule, kind, place) else { return Err(form()) };
        let subject = match kind {
            "reading" => Subject::Reading(place.parse()?),
            "row" => Subject::Row(place.parse()?),
            "batch" => Subject::Batch(place.parse()?),
            "run" => Subject::Run(place.parse()?),
            _ => return Err(form()),
        };
        Ok(Self { rule: rule.parse()?, subject })
    }
}

impl TryFrom<String> for FlagId {
    type Error = FlagFault;
    fn try_from(text: String) -> Result<Self, FlagFault> {
        text.parse()
    }
}

impl From<FlagId> for String {
    fn from(flag: FlagId) -> String {
        flag.to_string()
    }
}

/// What may be done next because of a flag.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NextStep {
    /// Measure the solution again, as many replicates as are missing; they join those of the row.
    Repeat {
        /// Replicates.
        replicates: u8,
    },
    /// Measure the row again as a whole; what it brings stands in place of what the row brought.
    MeasureAgain {
        /// Replicates.
        replicates: u8,
    },
    /// Dilute the solution and measure it in place of the row.
    Dilute {
        /// By this factor, a whole number.
        factor: u32,
    },
    /// Prepare the portion or the batch again.
    PrepareAgain,
    /// Take another sample.
    SampleAgain,
    /// Measure a check standard and a check blank, so that the rows before them stand between two checks.
    Check,
    /// Measure again all rows since the last check that passed.
    RepeatSinceLastCheck,
    /// Measure by standard additions.
    StandardAdditions,
    /// Stop the run.
    Stop,
}

/// What a person decided.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "decision", rename_all = "kebab-case")]
pub enum Decision {
    /// A reading does not count.
    Reject {
        /// The reading.
        reading: ReadingId,
        /// Why.
        reason: Reason,
    },
    /// A rejected reading counts again.
    Reinstate {
        /// The reading.
        reading: ReadingId,
        /// Why.
        reason: Reason,
    },
    /// A flag is accepted as explained; other evidence reopens it.
    Justify {
        /// The flag.
        flag: FlagId,
        /// Digest of the evidence that was seen.
        seen: Digest,
        /// Why.
        reason: Reason,
    },
    /// A next step is taken up.
    TakeUp {
        /// The flag that offers it.
        flag: FlagId,
        /// The step.
        step: NextStep,
        /// Why.
        reason: Reason,
    },
    /// A run is calibrated by this function, whatever the evidence of its standards chose.
    ChooseModel {
        /// The run.
        run: RunId,
        /// The function, one of those the method allows.
        model: CalibrationModel,
        /// Why.
        reason: Reason,
    },
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_act_without_a_reason_can_be_built() {
        assert_eq!(Reason::new("  "), None);
        assert_eq!(Reason::new(&"x".repeat(501)), None);
        assert!(serde_json::from_str::<Reason>("\"\"").is_err());
    }

    #[test]
    fn a_flag_is_read_as_it_is_shown() {
        for shown in
            ["over-range:row:R1/12", "replicate-outlier:reading:R1/17", "blank-above-limit:batch:P1", "x:run:R1"]
        {
            assert_eq!(shown.parse::<FlagId>().unwrap().to_string(), shown);
        }
        for other in ["over-range", "over-range:R1/12", "over-range:cup:3", "over-range:row:R1"] {
            assert!(other.parse::<FlagId>().is_err(), "{other}");
        }
    }
}
