//! `[detection_limits]` of a method: the procedure and what it is asked.

use darkline_metrology::kind::{Factor, Kind, MassConcentration};
use darkline_record::figure::Written;
use darkline_record::method::{BlankResult, CalibrationModel, CalibrationPlan, DetectionLimits, LimitProcedure};

use crate::document::figure::Wanted;
use crate::document::gathering::{all, transposed};
use crate::document::section::{Entry, Section};
use crate::fault::quoted;

/// Least number of spiked samples, and of method blanks.
///
/// # Source
/// 40 CFR Part 136, Appendix B, Revision 2, step (2).
const LEAST: usize = 7;

/// Reads the part of a method.
///
/// # Arguments
/// * `calibration`: of the same method, for procedures that need a straight line; `None` where that could not be read.
pub(crate) fn read(section: &Section<'_>, calibration: Option<&CalibrationPlan>) -> Option<DetectionLimits> {
    let entry = section.required("procedure", "\"DIN 32645\"");
    let procedure = entry
        .as_ref()
        .and_then(|entry| entry.one_of("procedure for limits", &LimitProcedure::ALL, LimitProcedure::words));
    let part = |name: &'static str, silent: &str| -> Option<Written<Factor>> {
        let Some(entry) = section.optional(name) else { return silent.parse().ok() };
        let part: Written<Factor> = entry.figure(Wanted::Positive)?;
        if part.value().si() >= 0.5 {
            entry.fault(format!("{part} is not below 50 %"), format!("write {name} = \"1 %\" or \"5 %\""));
            return None;
        }
        Some(part)
    };
    // What DIN 32645:2008 takes; Currie and the multiples take 5 % and 10 standard deviations.
    let (risk, k) = match procedure {
        Some(LimitProcedure::Currie) => ("5 %", "10"),
        Some(LimitProcedure::MultipleOfSd) => ("1 %", "10"),
        _ => ("1 %", "3"),
    };
    let (alpha, beta) = (part("alpha", risk), part("beta", risk));
    let k = match section.optional("k") {
        Some(entry) => entry.figure(Wanted::Positive),
        None => k.parse().ok(),
    };
    let n_readings = match section.optional("readings") {
        Some(entry) => entry.whole(1..=100),
        None => Some(1),
    };
    let (spiked, blanks) = if procedure == Some(LimitProcedure::MethodDetectionLimit) {
        (spiked(section), blanks(section))
    } else {
        for name in ["spiked", "blanks", "existing"] {
            section.without(name, "beside a procedure that does not take it");
        }
        (Some(Vec::new()), Some(Vec::new()))
    };
    let existing = match procedure {
        Some(LimitProcedure::MethodDetectionLimit) => {
            section.optional("existing").map(|entry| entry.figure(Wanted::Positive))
        }
        _ => None,
    };
    section.close();
    if let (Some(procedure @ (LimitProcedure::Din32645 | LimitProcedure::Iso11843)), Some(plan), Some(entry)) =
        (procedure, calibration, &entry)
        && !plan.model.allowed().contains(&CalibrationModel::StraightLine)
    {
        entry.fault(
            format!("{} is worked out from a straight line, and the calibration has none", procedure.words()),
            "write procedure = \"Currie\", \"blanks\", \"method detection limit\" or \"multiple of sd\"",
        );
        return None;
    }
    Some(DetectionLimits {
        procedure: procedure?,
        alpha: alpha?,
        beta: beta?,
        k: k?,
        n_readings: u8::try_from(n_readings?).ok()?,
        spiked: spiked?,
        blanks: blanks?,
        existing: transposed(existing)?,
    })
}

fn enough(entry: &Entry<'_>, found: usize, what: &str) -> bool {
    if found < LEAST {
        entry.fault(format!("{found} of the {LEAST} {what} that are needed stand here"), "write all of them");
    }
    found >= LEAST
}

fn spiked(section: &Section<'_>) -> Option<Vec<Written<MassConcentration>>> {
    let entry = section.required("spiked", "[\"2.1 µg/L\", …]")?;
    let items = entry.list("[\"2.1 µg/L\", …]")?;
    let results = all(items.iter().map(|item| item.figure(Wanted::Any)).collect())?;
    enough(&entry, results.len(), "results of spiked samples").then_some(results)
}

fn blanks(section: &Section<'_>) -> Option<Vec<BlankResult>> {
    const NONE: &str = "not detected";
    let entry = section.required("blanks", "[\"0.1 µg/L\", \"not detected\", …]")?;
    let items = entry.list("[\"0.1 µg/L\", \"not detected\", …]")?;
    let one = |item: &Entry<'_>| {
        let text = item.text()?;
        if text == NONE {
            return Some(BlankResult::NotDetected);
        }
        if !text.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '−' | '+' | '.')) {
            item.fault(format!("{} is no result of a blank", quoted(&text)), format!("write a figure, or \"{NONE}\""));
            return None;
        }
        item.figure(Wanted::Any).map(BlankResult::Numerical)
    };
    let results = all(items.iter().map(one).collect())?;
    enough(&entry, results.len(), "results of method blanks").then_some(results)
}
