//! `darkline orders`: how far orders have come, who signed what, and whether it still stands.

use darkline_audit_trail::people::Stage;
use darkline_laboratory::act::{PassphraseFrom, Remark};
use darkline_laboratory::{Laboratory, Standing};
use darkline_record::identity::OrderId;
use serde::Serialize;

use super::{count, order};
use crate::bench;
use crate::command_line::{Everywhere, Orders};
use crate::ending::{Ending, Failure};
use crate::paragraph::{self, WIDTH};
use crate::table::Table;
use crate::talk;

#[derive(Serialize)]
struct OrderLine {
    schema: &'static str,
    order: String,
    state: &'static str,
    reports: Vec<ReportLine>,
    signatures: Vec<SignatureLine>,
    returns: Vec<ReturnLine>,
    entries_reviewed: Option<ReviewLine>,
    keep_until: Option<String>,
    identity_erased: bool,
    restored_from: Option<String>,
}

#[derive(Serialize)]
struct ReportLine {
    number: String,
    at: String,
    by: String,
    entry: u64,
    supersedes: Option<String>,
    because: Option<String>,
    superseded_by: Option<String>,
}

#[derive(Serialize)]
struct SignatureLine {
    entry: u64,
    name: String,
    by: String,
    at: String,
    meaning: &'static str,
    stands: String,
    passphrase: PassphraseFrom,
}

#[derive(Serialize)]
struct ReturnLine {
    entry: u64,
    by: String,
    at: String,
    from: &'static str,
    to: &'static str,
    reason: String,
    remarks: Vec<Remark>,
}

#[derive(Serialize)]
struct ReviewLine {
    entry: u64,
    by: String,
    at: String,
    up_to_entry: u64,
    later_entries: usize,
}

pub fn run(everywhere: &Everywhere, options: &Orders) -> Result<Ending, Failure> {
    let laboratory = bench::read(everywhere)?;
    if let Some(text) = &options.order {
        let order = order(text)?;
        let line = line(&laboratory, &order)?;
        if everywhere.json {
            talk::print_json(&line)?
        } else {
            talk::print(&text_of(&line))?
        }
        return Ok(Ending::Done);
    }
    let state = laboratory.state();
    let all: std::collections::BTreeSet<&OrderId> = state.orders.keys().chain(state.restored.keys()).collect();
    let mut table = Table::new().words("order").words("state").words("report").words("what comes next");
    for order in &all {
        let line = line(&laboratory, order)?;
        if everywhere.json {
            talk::print_json(&line)?;
            continue;
        }
        let report = line.reports.last().map_or_else(String::new, |report| report.number.clone());
        table.row(vec![line.order.clone(), line.state.into(), report, next(&laboratory, order, &line)]);
    }
    if !everywhere.json {
        talk::print(&table.text())?;
        talk::tell(&count(all.len(), "order"));
    }
    Ok(Ending::Done)
}

fn line(laboratory: &Laboratory, order: &OrderId) -> Result<OrderLine, Failure> {
    let restored = laboratory.state().restored.get(order);
    if let (Some(restored), false) = (restored, laboratory.state().orders.contains_key(order)) {
        return Ok(OrderLine {
            schema: "darkline/order/1",
            order: order.to_string(),
            state: Stage::Issued.words(),
            reports: vec![ReportLine {
                number: restored.report.clone(),
                at: restored.at.clone(),
                by: restored.by.to_string(),
                entry: restored.entry,
                supersedes: None,
                because: None,
                superseded_by: None,
            }],
            signatures: Vec::new(),
            returns: Vec::new(),
            entries_reviewed: None,
            keep_until: None,
            identity_erased: false,
            restored_from: Some(restored.log.clone()),
        });
    }
    let known = laboratory.order(order)?;
    let outcome = match known.edition {
        Some(_) => Some(laboratory.evaluate(order)?.outcome.digest()),
        None => None,
    };
    let signatures = known.signatures.iter().map(|signature| SignatureLine {
        entry: signature.entry,
        name: signature.person.as_ref().map_or_else(String::new, |person| person.full_name.clone()),
        by: signature.by.to_string(),
        at: signature.at.clone(),
        meaning: signature.meaning.words(),
        stands: match &outcome {
            Some(outcome) => known.standing(signature, outcome).to_string(),
            None => Standing::Overtaken.to_string(),
        },
        passphrase: signature.passphrase,
    });
    let reports = known.issues.iter().enumerate().map(|(place, issue)| ReportLine {
        number: issue.report.clone(),
        at: issue.at.clone(),
        by: issue.by.to_string(),
        entry: issue.entry,
        supersedes: issue.supersedes.clone(),
        because: issue.because.clone(),
        superseded_by: known.issues.get(place + 1).map(|later| later.report.clone()),
    });
    let returns = known.returns.iter().map(|returned| ReturnLine {
        entry: returned.entry,
        by: returned.by.to_string(),
        at: returned.at.clone(),
        from: returned.from.words(),
        to: returned.to.words(),
        reason: returned.reason.clone(),
        remarks: returned.remarks.clone(),
    });
    Ok(OrderLine {
        schema: "darkline/order/1",
        order: order.to_string(),
        state: laboratory.stage(order)?.words(),
        reports: reports.collect(),
        signatures: signatures.collect(),
        returns: returns.collect(),
        entries_reviewed: reviewed(laboratory, order)?,
        keep_until: known.keep_until.clone(),
        identity_erased: known.erased.is_some(),
        restored_from: None,
    })
}

/// The last review of the entries of an order; entries behind it reopen the review.
fn reviewed(laboratory: &Laboratory, order: &OrderId) -> Result<Option<ReviewLine>, Failure> {
    let is_about =
        |review: &&darkline_laboratory::state::EntryReview| review.order.as_ref().is_none_or(|of| of == order);
    let Some(last) = laboratory.state().entry_reviews.iter().rev().find(is_about) else { return Ok(None) };
    let search = darkline_laboratory::searching::Search { order: Some(order.clone()), ..Default::default() };
    let later = laboratory.search(&search)?;
    let later = later.iter().filter(|found| found.entry.number >= last.size && found.told.what != "review").count();
    Ok(Some(ReviewLine {
        entry: last.entry,
        by: last.by.to_string(),
        at: last.at.clone(),
        up_to_entry: last.size.saturating_sub(1),
        later_entries: later,
    }))
}

fn next(laboratory: &Laboratory, order: &OrderId, line: &OrderLine) -> String {
    if let Some(log) = &line.restored_from {
        return format!("nothing: restored from log {log}");
    }
    let remarks = laboratory.state().orders.get(order).map_or(0, |known| known.open_remarks().len());
    let after = if remarks > 0 { format!(", {} open", count(remarks, "remark")) } else { String::new() };
    let word = match line.state {
        "open" => "readings or decisions",
        "measured" => "an analyst signs",
        "in review" => "a reviewer signs, a quality manager approves",
        "approved" => "a quality manager issues it",
        _ => "the archive",
    };
    format!("{word}{after}")
}

fn text_of(line: &OrderLine) -> String {
    let mut text = format!("order {}: {}\n", line.order, line.state);
    let mut say = |words: String| {
        for (place, part) in paragraph::lines(&words, WIDTH - 4).iter().enumerate() {
            text.push_str(if place == 0 { "  " } else { "    " });
            text.push_str(part);
            text.push('\n');
        }
    };
    if let Some(log) = &line.restored_from {
        say(format!("restored from an archive of log {log}"));
    }
    for signature in &line.signatures {
        let file = if signature.passphrase == PassphraseFrom::File { ", passphrase from a file" } else { "" };
        say(format!(
            "{}: {} ({}), {}, entry {}{file}: {}",
            signature.meaning, signature.name, signature.by, signature.at, signature.entry, signature.stands
        ));
    }
    for returned in &line.returns {
        say(format!(
            "returned from {} to {} by {}, {}, entry {}: {}",
            returned.from, returned.to, returned.by, returned.at, returned.entry, returned.reason
        ));
        for remark in &returned.remarks {
            say(format!("  on {}: {}", remark.on, remark.remark));
        }
    }
    for report in &line.reports {
        let instead = report.supersedes.as_ref().map_or_else(String::new, |earlier| format!(", supersedes {earlier}"));
        let because = report.because.as_ref().map_or_else(String::new, |because| format!(": {because}"));
        let by = report.superseded_by.as_ref().map_or_else(String::new, |later| format!("; superseded by {later}"));
        say(format!(
            "report {} issued by {}, {}, entry {}{instead}{because}{by}",
            report.number, report.by, report.at, report.entry
        ));
    }
    if let Some(review) = &line.entries_reviewed {
        let since = match review.later_entries {
            0 => "none since".to_owned(),
            1 => "1 entry since, so the review is open again".to_owned(),
            n => format!("{n} entries since, so the review is open again"),
        };
        say(format!(
            "entries reviewed up to entry {} by {}, {}, entry {}: {since}",
            review.up_to_entry, review.by, review.at, review.entry
        ));
    }
    if let Some(until) = &line.keep_until {
        say(format!("kept until {until}"));
    }
    if line.identity_erased {
        say("whose order it was is erased".into());
    }
    text
}
