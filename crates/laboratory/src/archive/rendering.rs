//! The archive for people: results, signatures, returns, reports and entries as plain text, with the digits of the outcome.
//!
//! It says what the record said just before the order was archived; the entry that says so holds its digest.

use std::fmt::Write;

use darkline_evaluation::outcome::{BoundOutcome, Reported, ResultOutcome, SumOutcome};
use darkline_record::identity::OrderId;

use crate::laboratory::{Laboratory, LaboratoryError};
use crate::searching::Search;

impl Laboratory {
    /// What the record says of an order, for people.
    ///
    /// # Errors
    /// As [`Laboratory::evaluate`] and [`Laboratory::search`].
    pub fn rendering(&self, order: &OrderId) -> Result<String, LaboratoryError> {
        let evaluated = self.evaluate(order)?;
        let (known, outcome) = (self.order(order)?, &evaluated.outcome);
        let mut text = String::new();
        let mut say = |line: String| {
            let _ = writeln!(text, "{line}");
        };
        say(format!("Order {order}, as the record said when it was archived"));
        say(String::new());
        say(format!("Received {}. Edition {}. Outcome {}.", known.order.received, outcome.edition, outcome.digest()));
        say(String::new());
        say("Results (all digits of outcome.json; the report rounds them)".into());
        for result in &outcome.results {
            say(format!("  {}", result_words(result)));
        }
        for line in outcome.sums.iter().flat_map(sum_words) {
            say(format!("  {line}"));
        }
        say(String::new());
        say("Readings".into());
        for run in &outcome.runs {
            let rejected = run.readings.iter().filter(|reading| reading.rejected).count();
            say(format!("  run {}: {} readings, {rejected} rejected", run.run, run.readings.len()));
            for reading in &run.readings {
                let response = reading.response.map_or_else(|| "no response".into(), |response| response.to_string());
                let counts = match (reading.rejected, reading.counts) {
                    (true, _) => ", rejected",
                    (false, false) => ", does not count",
                    (false, true) => "",
                };
                let (row, replicate, attempt) = (reading.row, reading.replicate, reading.attempt);
                say(format!(
                    "    {}: row {row}, replicate {replicate}, attempt {attempt}: {response} {}{counts}",
                    reading.reading, run.response_unit
                ));
            }
        }
        say(String::new());
        say("Signatures".into());
        for signature in &known.signatures {
            let name = signature.person.as_ref().map_or_else(String::new, |person| person.full_name.clone());
            let stands = known.standing(signature, &outcome.digest());
            say(format!(
                "  {}: {name} ({}), {}, entry {}: {stands}",
                signature.meaning.words(),
                signature.by,
                signature.at,
                signature.entry
            ));
        }
        say(String::new());
        say("Reports".into());
        for issue in &known.issues {
            let instead =
                issue.supersedes.as_ref().map_or_else(String::new, |earlier| format!(", supersedes {earlier}"));
            let because = issue.because.as_ref().map_or_else(String::new, |because| format!(": {because}"));
            say(format!("  {} by {}, {}, entry {}{instead}{because}", issue.report, issue.by, issue.at, issue.entry));
        }
        say(String::new());
        say("Entries".into());
        for found in self.search(&Search { order: Some(order.clone()), ..Search::default() })? {
            let (entry, told) = (found.entry, found.told);
            say(format!("  {}  {}  {}  {}", entry.number, entry.at, entry.by, told.words));
            for (name, words) in [("before", told.old), ("now", told.new), ("why", told.why)] {
                if let Some(words) = words {
                    say(format!("      {name}: {words}"));
                }
            }
        }
        Ok(text)
    }
}

fn result_words(result: &ResultOutcome) -> String {
    let what = format!("{} {} ({})", result.sample, result.element, result.kind);
    let found = match &result.reported {
        Reported::Value { result: value } => format!(
            "{} {unit}, U = {} {unit} (k = {})",
            value.value,
            value.expanded_u,
            value.coverage_factor,
            unit = result.unit
        ),
        Reported::BelowLoq { written, .. } => format!("below LOQ ({written} {})", result.unit),
        Reported::Withheld { because, .. } => format!("withheld because of {because}"),
        Reported::Awaiting { .. } => "not measured".into(),
    };
    let statement = result.statement.as_ref().map_or_else(String::new, |statement| {
        format!("; at most {} ({}): {}", statement.limit, statement.decision_rule, statement_words(statement.statement))
    });
    format!("{what}: {found}{statement}")
}

/// Both bounds of a sum.
fn sum_words(sum: &SumOutcome) -> Vec<String> {
    let line = |which: &str, bound: &Option<BoundOutcome>| {
        let what = format!("{} of {}, {which} bound", sum.name, sum.of());
        let Some(BoundOutcome { value, statement }) = bound else { return format!("{what}: not measured") };
        let statement = statement.as_ref().map_or_else(String::new, |found| {
            let verdict = statement_words(found.statement);
            format!("; at most {} ({}): {verdict}", found.limit, found.decision_rule)
        });
        let unit = &sum.unit;
        format!(
            "{what}: {} {unit}, U = {} {unit} (k = {}){statement}",
            value.value, value.expanded_u, value.coverage_factor
        )
    };
    vec![line("lower", &sum.lower), line("upper", &sum.upper)]
}

fn statement_words(statement: darkline_metrology::conformity::Statement) -> &'static str {
    use darkline_metrology::conformity::Statement;
    match statement {
        Statement::Complies => "complies",
        Statement::DoesNotComply => "does not comply",
        Statement::Inconclusive => "inconclusive",
    }
}
