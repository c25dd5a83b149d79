//! Results, states and statements as cells of a table, in the words of the report.

use darkline_audit_trail::people::Stage;
use darkline_evaluation::outcome::{FlagOutcome, FlagState, Reported, ResultOutcome};
use darkline_laboratory::deciding::step_words;
use darkline_metrology::conformity::Statement;
use darkline_report::result_words::{cells, statement};

use crate::sheet::{Cell, Mark};

/// Value, U and state of a result.
pub(crate) fn result_cells(result: &ResultOutcome) -> [Cell; 3] {
    let (value, expanded_u, state) = cells(result);
    match &result.reported {
        Reported::Value { result } => {
            [Cell::figure(result.value, value), Cell::figure(result.expanded_u, expanded_u), Cell::nothing()]
        }
        Reported::Withheld { .. } => [Cell::nothing(), Cell::nothing(), Cell::status(Mark::Stops, state)],
        Reported::BelowLoq { .. } | Reported::Awaiting { .. } => {
            [Cell::nothing(), Cell::nothing(), Cell::status(Mark::Plain, state)]
        }
    }
}

/// The statement of conformity, where it is stated.
pub(crate) fn statement_cell(result: &ResultOutcome) -> Cell {
    result.statement.as_ref().map_or_else(Cell::nothing, |found| {
        let mark = match found.statement {
            Statement::Complies => Mark::InOrder,
            Statement::DoesNotComply => Mark::Stops,
            Statement::Inconclusive => Mark::Plain,
        };
        Cell::status(mark, statement(found, result))
    })
}

/// A state of an order.
pub(crate) fn stage_cell(stage: Stage) -> Cell {
    let mark = if matches!(stage, Stage::Approved | Stage::Issued) { Mark::InOrder } else { Mark::Plain };
    Cell::status(mark, stage.words())
}

/// A flag's state: how it is marked, and its word.
pub(crate) fn flag_state(flag: &FlagOutcome) -> (Mark, String) {
    match &flag.state {
        FlagState::Justified { reason } => (Mark::InOrder, format!("justified: {reason}")),
        FlagState::TakenUp { step } if flag.stops() => {
            (Mark::Stops, format!("taken up: {}; its readings are awaited", step_words(step)))
        }
        FlagState::TakenUp { step } => (Mark::InOrder, format!("taken up: {}", step_words(step))),
        FlagState::Reopened => (Mark::Stops, "justified once on other evidence: look again".into()),
        FlagState::Open if flag.stops() => (Mark::Stops, "stops the report".into()),
        FlagState::Open => (Mark::Plain, "told, stops nothing".into()),
    }
}
