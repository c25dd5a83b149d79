//! Planned faults beside the flags: which were found, and by which rule.
//!
//! [`judge_faults`] counts a fault as found where a flag is about a row that the fault reaches, about the batch of such a
//! row, or about the whole run; a standard reaches every row that is read back from it.
//!
//! A flag about such a row may have another cause; whoever counts has to count flags without faults beside it.

use std::collections::BTreeSet;
use std::fmt;

use darkline_record::decision::{FlagId, Subject};
use darkline_record::identity::RunId;
use darkline_record::package::DataPackage;
use darkline_record::run::RowHolds;

use crate::disturbance::Plan;
use crate::fault::PlannedFault;
use crate::simulator_fault::SimulatorFault;
use crate::truth::Truth;

/// A planned fault and the flags that are about it.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedFault {
    /// The fault.
    pub fault: PlannedFault,
    /// The flags, in the order given.
    pub found_by: Vec<FlagId>,
}

impl JudgedFault {
    /// Whether any flag is about it.
    pub fn is_found(&self) -> bool {
        !self.found_by.is_empty()
    }
}

/// Holds the planned faults of a truth against flags.
///
/// # Arguments
/// * `flags`: what the rules saw, settled or not.
///
/// # Errors
/// [`SimulatorFault`] where the run is not there or a fault cannot happen in it.
pub fn judge_faults(
    truth: &Truth,
    package: &DataPackage,
    run: &RunId,
    flags: &[FlagId],
) -> Result<Vec<JudgedFault>, SimulatorFault> {
    let found = package.runs.iter().find(|candidate| candidate.id == *run);
    let run = found.ok_or_else(|| SimulatorFault::NoRun { run: run.clone() })?;
    let method = package.method(&run.method);
    let method = method.ok_or_else(|| SimulatorFault::NoMethod { run: run.id.clone(), method: run.method.clone() })?;
    let plan = Plan::of(truth, package, run, method)?;
    Ok(truth
        .faults
        .iter()
        .zip(plan.reached())
        .map(|(fault, rows)| JudgedFault {
            fault: fault.clone(),
            found_by: flags.iter().filter(|flag| is_about(flag, run, &rows)).cloned().collect(),
        })
        .collect())
}

fn is_about(flag: &FlagId, run: &darkline_record::run::Run, rows: &BTreeSet<u32>) -> bool {
    match &flag.subject {
        Subject::Run(of) => *of == run.id,
        Subject::Row(row) => row.run == run.id && rows.contains(&row.number),
        Subject::Reading(reading) => {
            let of = run.readings.iter().find(|candidate| candidate.number == reading.number);
            reading.run == run.id && of.is_some_and(|of| rows.contains(&of.row) || rows.contains(&run.home(of.row)))
        }
        Subject::Batch(batch) => run.rows().any(|row| {
            rows.contains(&row.number) && matches!(&row.holds, RowHolds::Portion { batch: of, .. } if of == batch)
        }),
    }
}

impl fmt::Display for JudgedFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: ", self.fault)?;
        match self.found_by.as_slice() {
            [] if self.fault.has_to_be_found() => f.write_str("missed"),
            [] => f.write_str("not found; it is below the size from which it has to be"),
            flags => {
                f.write_str("found by ")?;
                for (place, flag) in flags.iter().enumerate() {
                    write!(f, "{}{flag}", if place == 0 { "" } else { ", " })?;
                }
                Ok(())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::small_run;

    #[test]
    fn a_fault_is_found_where_a_flag_is_about_a_row_it_reaches() {
        let package = small_run::package();
        let mut truth = small_run::truth();
        for argument in ["worn-tube@6", "matrix-suppression@8", "wrong-dilution@2", "carry-over@2"] {
            truth.faults.push(PlannedFault::from_argument(argument).unwrap());
        }
        let run = package.runs[0].id.clone();
        let found = |flag: &str| -> Vec<bool> {
            let judged = judge_faults(&truth, &package, &run, &[flag.parse().unwrap()]).unwrap();
            judged.iter().map(JudgedFault::is_found).collect()
        };
        assert_eq!(found("x:row:R1/5"), [true, false, false, true, false]);
        assert_eq!(found("x:row:R1/7"), [false, true, false, true, false]);
        assert_eq!(found("x:row:R1/8"), [false, true, true, true, false]);
        assert_eq!(found("x:row:R1/3"), [false, false, false, true, true]);
        // Row 9 joins row 5, in another leg.
        assert_eq!(found("x:row:R1/9"), [true, false, false, true, false]);
        assert_eq!(found("x:batch:P1"), [true, true, true, true, true]);
        assert_eq!(found("x:run:R1"), [true; 5]);
        assert_eq!(found("x:run:R2"), [false; 5]);
        let judged = judge_faults(&truth, &package, &run, &["x:row:R1/5".parse().unwrap()]).unwrap();
        assert_eq!(judged[0].to_string(), "bad-injection@5.2: found by x:row:R1/5");
        assert_eq!(judged[1].to_string(), "worn-tube@6: missed");
    }
}
