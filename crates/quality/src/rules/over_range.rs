//! over-range
//!
//! What it sees: a portion's solution that holds more than the highest standard.
//! Why it matters: beyond the highest standard nobody has shown that the calibration function holds.
//! What to do: dilute so that it falls into the upper half of the range, and measure it in place of the row; before the next
//! cup clean out twice and measure a blank.
//! Source: ISO 8466-1:2021, 4 (the working range is the range of the standards; from memory); the factors offered are
//! common practice, no source.

use darkline_metrology::kind::{Kind, MassConcentration};
use darkline_record::decision::{NextStep, Subject};
use darkline_record::run::RowHolds;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity, three_digits};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenCalibration, SeenSolution};

/// The rule.
pub const RULE: Rule = Rule {
    name: "over-range",
    source: "ISO 8466-1:2021, 4 (from memory); factors: common practice, no source",
    see,
    say,
};

/// Where a diluted solution should fall, as a part of the highest standard.
const AIM: f64 = 0.7;

/// Factors that are easily made in a cup.
const FACTORS: [u32; 10] = [2, 3, 4, 5, 10, 20, 50, 100, 200, 500];

/// Volume of a cup as the message divides it, in µL.
const CUP: f64 = 500.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let SeenCalibration::Fitted { top_amount, .. } = *view.calibration else { return Vec::new() };
    let unit = MassConcentration::usual_unit();
    let mut flags = Vec::new();
    for solution in view.solutions {
        if solution.replaced || !matches!(solution.holds, RowHolds::Portion { .. }) {
            continue;
        }
        let Some(amount) = solution.amount.filter(|amount| *amount > top_amount) else { continue };
        let factor = dilution(amount / top_amount);
        let row = view.run.row_id(solution.row);
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(row.clone())),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", unit.read_si(amount), unit.symbol())
                .figure("top", unit.read_si(top_amount), unit.symbol())
                .figure("times", amount / top_amount, "1")
                .figure("portion", CUP / f64::from(factor), "µL")
                .figure("diluent", CUP - CUP / f64::from(factor), "µL")
                .fact("with", view.method.limits.diluent.as_deref().unwrap_or("the diluent"))
                .fact("why", &protection(view, solution))
                .fact("cup", solution.name),
            holds: Holds::Rows(vec![row]),
            next: vec![NextStep::Dilute { factor }],
        });
    }
    flags
}

/// How the next row is protected while it has not been read; empty once it has. Its sentence is no evidence: it goes when
/// the run goes on, and reopens nothing.
fn protection(view: &RunView<'_>, solution: &SeenSolution<'_>) -> String {
    let is_read = |row: u32| view.readings.iter().any(|reading| reading.row == row);
    let behind = view.run.rows().skip_while(|row| row.number != solution.row).skip(1);
    let Some(next) = behind.take(1).find(|row| !is_read(row.number)) else { return String::new() };
    let blank = three_digits(3.0 * view.method.replicates.sd_at_zero.value().si());
    let unit = view.response_unit();
    let unit = if unit == "1" { String::new() } else { format!(" {unit}") };
    format!("; two clean-outs, then a blank of at most {blank}{unit} before {}", next.name)
}

/// The factor offered for a solution so many times what it may be.
pub(crate) fn factor_for(times: f64) -> u32 {
    dilution(times)
}

/// The smallest factor on offer that brings a solution below [`AIM`] times the highest standard.
fn dilution(times: f64) -> u32 {
    FACTORS.into_iter().find(|factor| times / f64::from(*factor) <= AIM).unwrap_or(1000)
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{} is {} times the top standard ({} of {}): dilute {} + {} of {}{}",
        evidence.words("cup"),
        evidence.told("times"),
        evidence.told("found"),
        evidence.told("top"),
        evidence.told("portion"),
        evidence.told("diluent"),
        evidence.words("with"),
        evidence.words("why")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_factor_brings_the_solution_into_the_range() {
        for times in [1.0001, 1.4, 1.6, 2.2, 7.0, 30.0, 349.0] {
            let part = times / f64::from(dilution(times));
            assert!(part <= AIM && part > AIM / 5.0, "{times}");
        }
        assert_eq!(dilution(1.3), 2);
        assert_eq!(dilution(1e9), 1000);
    }
}
