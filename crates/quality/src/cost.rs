//! What a next step costs: rows to measure, firings, minutes, and whether the cups hold enough for it.
//!
//! [`rows_of`] says which rows a step measures; planning makes a leg of the same rows, so that nobody is told one thing
//! and given another. [`cost`] counts them.
//!
//! Source: none needed, it counts rows, times and volumes.

use darkline_metrology::kind::Kind;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::identity::RowId;
use darkline_record::method::{ResolvedMethod, Technique};
use darkline_record::run::{Row, RowHolds, Run};
use serde::{Deserialize, Serialize};

/// What a step costs.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Cost {
    /// Readings that have to be taken.
    pub readings: u32,
    /// How long they take, in s; absent where neither the readings so far nor the method tell.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seconds: Option<f64>,
    /// What would be left in the cup afterwards, the least of all cups, in µL; absent where the method states no volumes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left: Option<f64>,
    /// Rows whose cup holds too little for it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub short: Vec<RowId>,
}

impl Cost {
    /// In words: "34 readings, 47 min; too little is left of row 19".
    ///
    /// # Example
    /// ```
    /// use darkline_quality::cost::Cost;
    /// let cost = Cost { readings: 34, seconds: Some(2820.0), left: None, short: vec!["R1/19".parse().unwrap()] };
    /// assert_eq!(cost.words(), "34 readings, 47 min; too little is left of R1/19");
    /// ```
    pub fn words(&self) -> String {
        let mut words = match self.readings {
            1 => "1 reading".to_owned(),
            n => format!("{n} readings"),
        };
        if let Some(seconds) = self.seconds {
            words.push_str(&format!(", {:.0} min", (seconds / 60.0).ceil()));
        }
        if self.short.is_empty() {
            if let Some(left) = self.left {
                words.push_str(&format!(", {left:.0} µL left in the cup"));
            }
        } else {
            let rows: Vec<String> = self.short.iter().map(ToString::to_string).collect();
            words.push_str(&format!("; too little is left of {}", rows.join(", ")));
        }
        words
    }
}

/// The rows a step measures again, with the replicates of each; empty for what is not measured in the same run.
pub fn rows_of<'r>(run: &'r Run, subject: &Subject, step: &NextStep) -> Vec<(&'r Row, u8)> {
    let Some(row) = row_of(run, subject) else { return Vec::new() };
    match step {
        NextStep::Repeat { replicates } | NextStep::MeasureAgain { replicates } => vec![(row, *replicates)],
        NextStep::Dilute { .. } => vec![(row, row.replicates)],
        NextStep::RepeatSinceLastCheck => {
            since_last_check(run, row).into_iter().map(|row| (row, row.replicates)).collect()
        }
        NextStep::Check
        | NextStep::PrepareAgain
        | NextStep::SampleAgain
        | NextStep::StandardAdditions
        | NextStep::Stop => Vec::new(),
    }
}

/// The row a flag is about; `None` where it is about a batch, a whole run, or another run.
pub fn row_of<'r>(run: &'r Run, subject: &Subject) -> Option<&'r Row> {
    let number = match subject {
        Subject::Row(row) if row.run == run.id => row.number,
        Subject::Reading(reading) if reading.run == run.id => {
            run.readings.iter().find(|candidate| candidate.number == reading.number)?.row
        }
        _ => return None,
    };
    run.row(number)
}

/// The rows with portions between the check before a failing check and that check, the check itself included.
pub fn since_last_check<'r>(run: &'r Run, failing: &'r Row) -> Vec<&'r Row> {
    let rows: Vec<&Row> = run.rows().collect();
    let place = rows.iter().position(|row| row.number == failing.number).unwrap_or(0);
    let first =
        rows[..place].iter().rposition(|row| matches!(row.holds, RowHolds::Check { .. })).map_or(0, |check| check + 1);
    rows[first..=place]
        .iter()
        .filter(|row| matches!(row.holds, RowHolds::Portion { .. }) || row.number == failing.number)
        .filter(|row| !run.is_replaced(row.number))
        .copied()
        .collect()
}

/// The check standard and check blank that close a leg: the last of each in the run.
pub fn closing(run: &Run) -> impl Iterator<Item = &Row> {
    let check = run.rows().filter(|row| matches!(row.holds, RowHolds::Check { .. })).last();
    let blank = run.rows().filter(|row| matches!(row.holds, RowHolds::CheckBlank)).last();
    check.into_iter().chain(blank)
}

/// What a step costs; `None` for what is not measured in the same run.
///
/// The check and the check blank that close the leg are counted with it.
pub fn cost(run: &Run, method: &ResolvedMethod, subject: &Subject, step: &NextStep) -> Option<Cost> {
    let rows = rows_of(run, subject, step);
    if rows.is_empty() && *step != NextStep::Check {
        return None;
    }
    let of_rows: u32 = rows.iter().map(|(_, replicates)| u32::from(*replicates)).sum();
    let readings = of_rows + closing(run).map(|row| u32::from(row.replicates)).sum::<u32>();
    let seconds = seconds_per_reading(run, method).map(|each| each * f64::from(readings));
    let mut cost = Cost { readings, seconds, left: None, short: Vec::new() };
    // A dilution takes a part of the solution and is measured from a cup of its own; its volume is chosen with its factor.
    if matches!(step, NextStep::Dilute { .. }) {
        return Some(cost);
    }
    for (row, replicates) in &rows {
        let Some(left) = left_in_cup(run, method, row) else { continue };
        let after = left - f64::from(*replicates) * taken_by_reading(method).unwrap_or(0.0);
        // A thousandth of a microlitre is rounding, not solution.
        if after < -1e-12 {
            cost.short.push(run.row_id(row.number));
        }
        cost.left = Some(cost.left.map_or(after, |least: f64| least.min(after)));
    }
    cost.left = cost.left.map(|left| (left * 1e12).round() / 1e3 + 0.0);
    Some(cost)
}

/// What the sampler can still reach in the cup of a row, in m³; `None` where the method states no volumes.
///
/// A flame draws a stream whose volume no document states, so only the furnace is counted.
pub fn left_in_cup(run: &Run, method: &ResolvedMethod, row: &Row) -> Option<f64> {
    let volume = method.limits.cup_volume.as_ref()?.value().si();
    let rest = method.limits.cup_rest.as_ref().map_or(0.0, |rest| rest.value().si());
    let each = taken_by_reading(method)?;
    let shares_cup = |number: u32| {
        number == row.number || (row.cup.is_some() && run.row(number).and_then(|other| other.cup) == row.cup)
    };
    let taken =
        u32::try_from(run.readings.iter().filter(|reading| shares_cup(reading.row)).count()).unwrap_or(u32::MAX);
    Some(volume - rest - f64::from(taken) * each)
}

fn taken_by_reading(method: &ResolvedMethod) -> Option<f64> {
    if method.technique != Technique::Furnace {
        return None;
    }
    method.limits.injected_volume.as_ref().map(|volume| volume.value().si())
}

/// Time from one reading to the next: the median of the run so far, else what the method says.
pub fn seconds_per_reading(run: &Run, method: &ResolvedMethod) -> Option<f64> {
    let mut moments: Vec<i64> = run.readings.iter().map(|reading| reading.at.moment().as_millisecond()).collect();
    moments.sort_unstable();
    let mut steps: Vec<i64> = moments.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step > 0).collect();
    steps.sort_unstable();
    #[expect(clippy::cast_precision_loss, reason = "milliseconds between readings")]
    let median = steps.get(steps.len() / 2).map(|step| *step as f64 / 1e3);
    median.or_else(|| method.limits.time_per_reading.as_ref().map(|time| time.value().si()))
}
