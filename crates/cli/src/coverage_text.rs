//! How sure results are, as text: first order against Monte Carlo, control data beside the budget, what results share.

use darkline_evaluation::Validated;
use darkline_evaluation::measured_twice::MeasuredTwice;
use darkline_evaluation::outcome::{CorrelationOutcome, MonteCarloOutcome, ResultOutcome, TopDownOutcome};
use darkline_record::method::CoverageInterval;
use darkline_report::printed::significant;

use crate::paragraph::indented;
use crate::table::Table;

/// Results held against Monte Carlo on demand.
pub fn validated_text(validated: &[Validated]) -> String {
    let mut text = String::new();
    for one in validated {
        let head = format!("{} in {}", one.element, one.sample);
        match &one.found {
            Some(found) => text.push_str(&monte_carlo_text(&head, found, &one.unit, false)),
            None => text.push_str(&format!("{head}: the trials give no coverage interval\n")),
        }
    }
    text
}

/// One result held against Monte Carlo.
///
/// # Arguments
/// * `decides`: whether the comparison decides what is reported.
pub fn monte_carlo_text(head: &str, found: &MonteCarloOutcome, unit: &str, decides: bool) -> String {
    let mut table = Table::new()
        .words(head)
        .figures("value", unit)
        .figures("u", unit)
        .figures(&format!("from, {:.2} %", 100.0 * found.probability), unit)
        .figures("to", unit);
    let (value, u, half) = found.first_order;
    // Both ways round to the same place, so that a difference is seen.
    let digits = 5;
    let row = |name: &str, value: f64, u: f64, (low, high): (f64, f64)| {
        vec![
            name.into(),
            significant(value, digits),
            significant(u, 3),
            significant(low, digits),
            significant(high, digits),
        ]
    };
    table.row(row("first order", value, u, (value - half, value + half)));
    table.row(row("Monte Carlo, symmetric", found.mean, found.u, found.symmetric));
    table.row(row("Monte Carlo, shortest", found.mean, found.u, found.shortest));
    let mut text = format!("{}\n", table.text());
    let compared = match found.compared {
        CoverageInterval::Symmetric => "symmetric",
        CoverageInterval::Shortest => "shortest",
    };
    let ends = format!(
        "{} trials{}; the ends of the {compared} interval lie {} and {} {unit} from those of first order, {} are allowed",
        found.trials,
        match found.without_solution {
            0 => String::new(),
            n => format!(", {n} of them without a calibration"),
        },
        significant(found.d_low, 2),
        significant(found.d_high, 2),
        significant(found.tolerance, 2)
    );
    text.push_str(&indented(&ends, 2));
    if let Some(denominator) = found.denominator {
        text.push_str(&indented(
            &format!("asked for by a denominator known to {} %", significant(100.0 * denominator, 2)),
            2,
        ));
    }
    let verdict = match (found.holds, decides) {
        (true, true) => "first order holds and is reported",
        (true, false) => "first order holds",
        (false, true) => "first order does not hold: the interval by Monte Carlo is reported",
        (false, false) => "first order does not hold",
    };
    text.push_str(&indented(verdict, 2));
    text.push('\n');
    text
}

/// What the details say of every result: validation that the method asked for, and control data.
pub fn coverage_text(results: &[ResultOutcome]) -> String {
    let mut text = String::new();
    for result in results {
        let Some(found) = result.reported.found() else { continue };
        let head = format!("{} in {}", result.element, result.sample);
        if let Some(validated) = &found.monte_carlo {
            text.push_str(&monte_carlo_text(&head, validated, &result.unit, true));
        }
        if let Some(beside) = &found.top_down {
            text.push_str(&top_down_text(&head, found.u, beside, &result.unit));
        }
    }
    text
}

fn top_down_text(head: &str, u: f64, beside: &TopDownOutcome, unit: &str) -> String {
    let words = format!(
        "{head}: u = {} {unit} by the budget, {} {unit} by control data ({} %: bias {} %); budget over control data {}",
        significant(u, 2),
        significant(beside.u, 2),
        significant(100.0 * beside.relative_u, 2),
        significant(100.0 * beside.u_bias, 2),
        significant(beside.budget_over_top_down, 2)
    );
    indented(&words, 0)
}

/// Which results share causes, and how far.
pub fn correlations_text(correlations: &[CorrelationOutcome]) -> String {
    if correlations.is_empty() {
        return String::new();
    }
    let mut table = Table::new().words("results that share causes").words("").figures("correlation", "");
    for pair in correlations {
        table.row(vec![
            format!("{} in {}", pair.element, pair.sample),
            format!("and in {}", pair.other),
            format!("{:.3}", pair.correlation),
        ]);
    }
    format!("{}\n", table.text())
}

/// What two methods say of one sample, and what they say together.
pub fn measured_twice_text(twice: &[MeasuredTwice]) -> String {
    let Some(first) = twice.first() else { return String::new() };
    let mut table = Table::new().words("measured twice").words("by").figures("value", &first.unit);
    table = table.figures("u", &first.unit).figures("zeta", "").words("");
    for both in twice {
        let row = |name: String, by: String, (value, u): (f64, f64), zeta: String, words: &str| {
            vec![name, by, significant(value, 4), significant(u, 2), zeta, words.to_owned()]
        };
        let name = format!("{} in {}", both.element, both.sample);
        table.row(row(name, both.methods.0.to_string(), both.one, String::new(), ""));
        let verdict = if both.together.is_some() { "agree" } else { "do not agree: one of the two is wrong" };
        table.row(row(String::new(), both.methods.1.to_string(), both.other, format!("{:.2}", both.zeta), verdict));
        if let Some(together) = both.together {
            table.row(row(String::new(), "together".into(), together, String::new(), ""));
        }
    }
    format!("{}\n", table.text())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ways_stand_side_by_side() {
        let found = MonteCarloOutcome {
            trials: 200_000,
            without_solution: 3,
            mean: 4.112,
            u: 0.81,
            probability: 0.954_5,
            symmetric: (2.61, 6.02),
            shortest: (2.44, 5.71),
            compared: CoverageInterval::Symmetric,
            d_low: 0.12,
            d_high: 0.55,
            tolerance: 0.05,
            holds: false,
            first_order: (4.05, 0.71, 1.42),
            denominator: Some(0.153),
        };
        let text = monte_carlo_text("Cd in S1", &found, "mg/L", true);
        for told in [
            "Cd in S1",
            "first order",
            "2.6300",
            "5.4700",
            "Monte Carlo, symmetric",
            "6.0200",
            "Monte Carlo, shortest",
            "95.45 %",
            "200000 trials",
            "by Monte Carlo is reported",
        ] {
            assert!(text.contains(told), "{told}:\n{text}");
        }
    }

    #[test]
    fn control_data_stand_beside_the_budget() {
        let beside =
            TopDownOutcome { rms_bias: 0.02, u_bias: 0.025, relative_u: 0.039, u: 0.117, budget_over_top_down: 0.34 };
        let text = top_down_text("Cd in S1", 0.04, &beside, "mg/L");
        for told in ["0.040 mg/L", "0.12 mg/L", "3.9 %", "2.5 %", "0.34"] {
            assert!(text.contains(told), "{told}:\n{text}");
        }
    }
}
