//! `darkline orders`: how far orders have come, who signed what, and whether it still stands.

use darkline_audit_trail::people::Stage;
use darkline_exchange::sealing::is_apart;
use darkline_laboratory::act::{PassphraseFrom, Remark};
use darkline_laboratory::listing::{Listed, OrderList};
use darkline_laboratory::{Laboratory, Standing, customer_apart};
use darkline_record::identity::OrderId;
use serde::Serialize;
use serde_json::json;

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
    statement: Option<String>,
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
    match &options.order {
        Some(text) => one(everywhere, &order(text)?),
        None => all(everywhere),
    }
}

fn one(everywhere: &Everywhere, order: &OrderId) -> Result<Ending, Failure> {
    let line = line(&bench::read(everywhere)?, order)?;
    if everywhere.json {
        talk::print_json(&line)?
    } else {
        talk::print(&text_of(&line))?
    }
    Ok(Ending::Done)
}

/// All orders, from the list that is kept beside the record: nothing that is as it was is worked out again.
fn all(everywhere: &Everywhere) -> Result<Ending, Failure> {
    let trail = bench::trail(everywhere);
    let list = OrderList::of(&*bench::store(everywhere)?, &bench::orders_file(&trail))?;
    let apart = bench::apart_folder(&trail);
    let customer = |order: &OrderId, listed: &Listed| match is_apart(&listed.customer) {
        true => customer_apart(&apart, order, &listed.customer).unwrap_or_else(|| "(kept apart)".into()),
        false => listed.customer.clone(),
    };
    if everywhere.json {
        for (order, listed) in list.orders() {
            talk::print_json(&json!({
                "schema": "darkline/listed-order/1",
                "order": order,
                "customer": customer(order, listed),
                "due": listed.due,
                "state": listed.state.map(Stage::words),
                "waits": listed.waits,
                "remarks": listed.n_remarks,
                "signatures": listed.n_signatures,
                "report": listed.report,
                "restored_from": listed.restored_from,
                "last_entry": listed.last_entry,
                "last_at": listed.last_at,
                "last_by": listed.last_by,
                "last_act": listed.last_act,
            }))?;
        }
        return Ok(Ending::Done);
    }
    let is_due = list.orders().values().any(|listed| listed.due.is_some());
    let mut table = Table::new().words("order").words("customer");
    if is_due {
        table = table.words("due");
    }
    let mut table = table.words("state").words("report").words("waits for");
    for (order, listed) in list.orders() {
        let mut row = vec![order.to_string(), shortened(&customer(order, listed))];
        if is_due {
            row.push(listed.due.as_ref().map_or_else(String::new, ToString::to_string));
        }
        row.push(listed.state.map_or("?", Stage::words).into());
        row.extend([listed.report.clone().unwrap_or_default(), waits(listed)]);
        table.row(row);
    }
    talk::print(&table.text())?;
    talk::tell(&count(list.orders().len(), "order"));
    Ok(Ending::Done)
}

fn waits(listed: &Listed) -> String {
    match (&listed.restored_from, listed.n_remarks) {
        (Some(log), _) => format!("nothing: restored from log {log}"),
        (None, 0) => listed.waits.to_string(),
        (None, n) => format!("{}, {} open", listed.waits, count(n, "remark")),
    }
}

/// A customer's name, so far as it leaves room for the rest.
fn shortened(name: &str) -> String {
    const ROOM: usize = 26;
    if name.chars().count() <= ROOM {
        return name.to_owned();
    }
    let cut: String = name.chars().take(ROOM - 1).collect();
    format!("{}…", cut.trim_end())
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
        statement: signature.statement.map(|digest| digest.to_string()),
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
