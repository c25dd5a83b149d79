//! Results in words and rounded figures, the same at the terminal and on a page: rounded once, here, by the rule of the report.

use darkline_evaluation::outcome::{FlagOutcome, Reported, ResultOutcome, StatementOutcome, ValueOutcome};
use darkline_quality::rules;

use crate::printed::{Printed, printed};

/// Value and expanded uncertainty of a result as a table shows them, and its state in words where it has no value.
pub fn cells(result: &ResultOutcome) -> (String, String, String) {
    let dash = || "–".to_owned();
    match &result.reported {
        Reported::Value { result } => {
            let Printed { value, expanded_u } = printed(result);
            (value, expanded_u, String::new())
        }
        Reported::BelowLoq { written, .. } => (dash(), dash(), format!("below LOQ ({written})")),
        Reported::Awaiting { row: Some(row) } => (dash(), dash(), format!("awaits row {row}")),
        Reported::Awaiting { row: None } => (dash(), dash(), "no row measures it".into()),
        Reported::Withheld { because, .. } => (dash(), dash(), format!("withheld: {}", because.rule)),
    }
}

/// The statement of conformity with its reason where it is open.
pub fn statement(statement: &StatementOutcome, result: &ResultOutcome) -> String {
    use darkline_metrology::conformity::Statement;
    match (&result.reported, statement.statement) {
        (Reported::Value { result }, Statement::Inconclusive) => {
            let Printed { value, expanded_u } = printed(result);
            let limit = statement.limit.split(' ').next().unwrap_or("the limit");
            format!("inconclusive: {limit} lies within {value} ± {expanded_u}")
        }
        (_, statement) => statement.to_string(),
    }
}

/// The degrees of freedom, or that they are not limited.
pub fn degrees_of_freedom(value: &ValueOutcome) -> String {
    value.dof.map_or_else(|| "not limited".into(), |dof| format!("{dof:.0}"))
}

/// What a flag says, in the words of its rule.
pub fn says(flag: &FlagOutcome) -> String {
    rules::named(flag.flag.id.rule.as_str()).map_or_else(String::new, |rule| (rule.say)(&flag.flag.evidence))
}
