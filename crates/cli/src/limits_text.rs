//! Decision, detection and quantification limits as text, with every input.

use darkline_evaluation::outcome::{LimitsOutcome, ResultOutcome};
use darkline_record::identity::RunId;
use darkline_report::printed::significant;

use crate::paragraph::indented;
use crate::table::Table;

/// The limits of a run.
///
/// # Arguments
/// * `unit`: of its amounts.
pub fn limits_text(run: &RunId, unit: &str, limits: &LimitsOutcome) -> String {
    let mut text = format!("run {run}: limits by {}\n", limits.procedure);
    if let Some(why_not) = &limits.why_not {
        text.push_str(&indented(&format!("none: {why_not}"), 2));
    }
    let mut table = Table::new().words("").figures("value", "").words("unit");
    let found = [
        ("decision limit", limits.decision),
        ("detection limit", limits.detection),
        ("quantification limit", limits.quantification),
    ];
    for (name, limit) in found {
        if let Some(limit) = limit {
            table.row(vec![name.into(), significant(limit, 3), unit.to_owned()]);
        }
    }
    for input in &limits.inputs {
        let unit = if input.unit == "1" { String::new() } else { input.unit.clone() };
        table.row(vec![input.name.clone(), significant(input.value, 4), unit]);
    }
    text.push_str(&table.text());
    if let Some(words) = limits.existing_words() {
        text.push_str(&indented(words, 2));
    }
    text.push('\n');
    text
}

/// The limits in the unit of each result, and whether the quantification limit of the method keeps to them.
pub fn result_limits_text(results: &[ResultOutcome]) -> String {
    let with_limits: Vec<(&ResultOutcome, _)> =
        results.iter().filter_map(|result| Some((result, result.limits?))).collect();
    let Some((first, _)) = with_limits.first() else { return String::new() };
    let mut table = Table::new()
        .words("sample")
        .figures("decision limit", &first.unit)
        .figures("detection limit", &first.unit)
        .figures("quantification limit", &first.unit)
        .words("limit of the method");
    for (result, limits) in &with_limits {
        let figure = |limit: Option<f64>| limit.map_or_else(|| "–".into(), |limit| significant(limit, 3));
        table.row(vec![
            format!("{} in {}", result.element, result.sample),
            figure(limits.decision),
            figure(limits.detection),
            figure(limits.quantification),
            match limits.stated_is_kept {
                Some(true) => "not below the one worked out".into(),
                Some(false) => "below the one worked out: look at it".into(),
                None => "none stated".to_owned(),
            },
        ]);
    }
    format!("{}\n", table.text())
}

#[cfg(test)]
mod tests {
    use super::*;
    use darkline_evaluation::outcome::InputOutcome;

    fn text(limits: &LimitsOutcome) -> String {
        limits_text(&"R1".parse().unwrap(), "mg/L", limits)
    }

    #[test]
    fn limits_are_printed_with_their_inputs() {
        let input = |name: &str, value, unit: &str| InputOutcome { name: name.into(), value, unit: unit.into() };
        let limits = LimitsOutcome {
            procedure: "DIN 32645".into(),
            decision: Some(0.069_812),
            detection: Some(0.139_625),
            quantification: Some(0.211_95),
            inputs: vec![input("process standard deviation", 0.019_902, "mg/L"), input("alpha", 0.01, "1")],
            existing_stands: None,
            why_not: None,
        };
        let text = text(&limits);
        assert!(text.starts_with("run R1: limits by DIN 32645\n"), "{text}");
        for told in [
            "decision limit",
            "0.0698",
            "detection limit",
            "0.140",
            "quantification limit",
            "0.212",
            "mg/L",
            "0.01990",
            "alpha",
        ] {
            assert!(text.contains(told), "{told}:\n{text}");
        }
    }

    #[test]
    fn why_there_are_none_is_said() {
        let limits = LimitsOutcome {
            procedure: "DIN 32645".into(),
            decision: None,
            detection: None,
            quantification: None,
            inputs: Vec::new(),
            existing_stands: None,
            why_not: Some("there is no calibration".into()),
        };
        assert!(text(&limits).contains("none: there is no calibration"), "{}", text(&limits));
    }
}
