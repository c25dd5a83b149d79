//! bracket-open
//!
//! What it sees: portions that were measured behind the last check standard of the run order, or more of them between two
//! check standards than the method allows.
//! Why it matters: nobody knows whether the calibration still held when they were measured.
//! What to do: measure a check standard and a check blank now; if it fails, the rows since the last passing check do not count.
//! Source: EPA method 200.9, revision 2.2, 9.3.4 (a check after every ten samples and last; from memory); the method
//! document, `most_between_checks`.

use darkline_record::decision::{NextStep, Subject};
use darkline_record::run::{Row, RowHolds};

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule {
    name: "bracket-open",
    source: "EPA method 200.9, revision 2.2, 9.3.4 (from memory); the method document, most_between_checks",
    see,
    say,
};

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let most = view.method.limits.most_between_checks.map(usize::from);
    let mut flags = Vec::new();
    let mut waiting: Vec<&Row> = Vec::new();
    let mut has_checks = false;
    for row in view.run.rows().filter(|row| !view.run.is_replaced(row.number)) {
        match &row.holds {
            RowHolds::Portion { .. } => waiting.push(row),
            RowHolds::Check { .. } => {
                has_checks = true;
                if let Some(most) = most.filter(|most| waiting.len() > *most) {
                    flags.extend(flag(view, &waiting, Some(most)));
                }
                waiting.clear();
            }
            _ => {}
        }
    }
    // A run order without any check is one of a method that brackets nothing.
    if has_checks {
        flags.extend(flag(view, &waiting, None));
    }
    flags
}

/// A flag about the rows that were read; `None` where none was.
fn flag(view: &RunView<'_>, rows: &[&Row], most: Option<usize>) -> Option<Flag> {
    let read: Vec<&&Row> =
        rows.iter().filter(|row| view.readings.iter().any(|reading| reading.row == row.number)).collect();
    let last = read.last()?;
    // Rows beyond the number allowed: those before had a right to wait.
    if most.is_some_and(|most| read.len() <= most) {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "rows are few")]
    let evidence = Evidence::default().figure("count", read.len() as f64, "1").fact("cup", &last.name);
    #[expect(clippy::cast_precision_loss, reason = "rows are few")]
    let evidence = match most {
        Some(most) => evidence.figure("most", most as f64, "1"),
        None => evidence,
    };
    Some(Flag {
        id: flag_id(RULE.name, Subject::Row(view.run.row_id(last.number))),
        severity: if most.is_some() { Severity::Tells } else { Severity::Stops },
        settled: Settled::Now,
        evidence,
        holds: match most {
            Some(_) => Holds::Nothing,
            None => Holds::Rows(read.iter().map(|row| view.run.row_id(view.run.home(row.number))).collect()),
        },
        next: vec![NextStep::Check],
    })
}

fn say(evidence: &Evidence) -> String {
    let count = evidence.value("count");
    let portions = if count == 1.0 { "1 portion was".to_owned() } else { format!("{count} portions were") };
    if evidence.has("most") {
        format!(
            "{portions} measured between two checks, the method allows {}; the last is {}",
            evidence.value("most"),
            evidence.words("cup")
        )
    } else {
        format!("{portions} measured behind the last check, up to {}", evidence.words("cup"))
    }
}
