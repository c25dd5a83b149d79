//! `darkline decide`: a reading is rejected, a flag justified, a next step taken up, a calibration function chosen; always with a
//! reason.

use darkline_laboratory::deciding::{Wish, step_words};
use darkline_record::decision::{Decision, FlagId, NextStep};
use darkline_record::identity::RunId;
use darkline_record::method::CalibrationModel;
use serde::Serialize;

use super::{order, reading};
use crate::bench;
use crate::command_line::{Decide, Everywhere};
use crate::ending::{Ending, Failure};
use crate::talk;

#[derive(Serialize)]
struct DecisionLine<'a> {
    schema: &'static str,
    entry: u64,
    by: &'a str,
    #[serde(flatten)]
    decision: &'a Decision,
}

pub fn run(everywhere: &Everywhere, options: &Decide) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let by = bench::person(everywhere)?;
    let reason = match &options.remark {
        Some(remark) => super::reason(&format!("{}: {remark}", options.reason))?,
        None => super::reason(&options.reason)?,
    };
    let mut laboratory = bench::write(everywhere)?;
    let flag = |text: &String| text.parse::<FlagId>().map_err(Failure::told);
    let mut wishes = Vec::new();
    for text in &options.reject {
        wishes.push(Wish::Reject(reading(&laboratory, &order, text)?));
    }
    for text in &options.reinstate {
        wishes.push(Wish::Reinstate(reading(&laboratory, &order, text)?));
    }
    for text in &options.justify {
        wishes.push(Wish::Justify(flag(text)?));
    }
    for text in &options.take_up {
        let step = options.dilute_by.map(|factor| NextStep::Dilute { factor });
        if options.dilute_by.is_some_and(|factor| factor < 2) {
            return Err(Failure::with_hint("a dilution makes less of it", "write a factor of 2 or more"));
        }
        wishes.push(Wish::TakeUp(flag(text)?, step));
    }
    if let Some(words) = &options.model {
        let model = CalibrationModel::from_words(words).ok_or_else(|| {
            let known: Vec<&str> = CalibrationModel::ALL.iter().map(|model| model.words()).collect();
            Failure::with_hint(
                format!("\"{words}\" is no calibration function that is known"),
                format!("write one of: {}", known.join(", ")),
            )
        })?;
        let run: Option<RunId> = options.run.as_deref().map(|text| text.parse().map_err(Failure::told)).transpose()?;
        wishes.push(Wish::ChooseModel(laboratory.run_of(&order, run.as_ref())?, model));
    }
    if wishes.is_empty() {
        return Err(Failure::with_hint(
            "nothing is decided",
            "name a reading with --reject, a flag with --justify or --take-up, or a calibration function with --model",
        ));
    }
    let decided = laboratory.decide(&by, &order, &wishes, &reason)?;
    for (entry, decision) in &decided {
        if everywhere.json {
            talk::print_json(&DecisionLine {
                schema: "darkline/decision/1",
                entry: *entry,
                by: by.as_str(),
                decision,
            })?;
        }
        talk::tell(&format!("entry {entry}: {} by {by}.", words(decision)));
    }
    if decided.iter().any(|(_, decision)| matches!(decision, Decision::Reject { .. } | Decision::Reinstate { .. })) {
        let outcome = laboratory.evaluate(&order)?.outcome;
        let readings: Vec<_> = outcome.runs.iter().flat_map(|run| &run.readings).collect();
        let rejected = readings.iter().filter(|reading| reading.rejected).count();
        let are = if rejected == 1 { "is" } else { "are" };
        talk::tell(&format!("{rejected} of {} readings {are} now rejected.", readings.len()));
    }
    let waits = decided.iter().any(|(_, decision)| matches!(decision, Decision::TakeUp { .. }));
    talk::tell(&if waits {
        format!("Next: darkline plan {order} --extend --as {by}")
    } else {
        format!("Next: darkline evaluate {order}")
    });
    Ok(Ending::Done)
}

fn words(decision: &Decision) -> String {
    match decision {
        Decision::Reject { reading, .. } => format!("reading {reading} rejected"),
        Decision::Reinstate { reading, .. } => format!("reading {reading} counts again"),
        Decision::Justify { flag, .. } => format!("{flag} justified"),
        Decision::TakeUp { flag, step, .. } => format!("{flag}: {} taken up", step_words(step)),
        Decision::ChooseModel { run, model, .. } => format!("run {run} calibrated by {}", model.words()),
    }
}
