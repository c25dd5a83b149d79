//! `darkline entries`: the entries of the record, searched, listed, written as CSV, and stated to be reviewed.

use darkline_audit_trail::{PersonId, Timestamp};
use darkline_laboratory::act::Act;
use darkline_laboratory::searching::{Found, Search};
use darkline_record::identity::ReadingId;
use serde::Serialize;

use super::{put_out, reason};
use crate::bench;
use crate::command_line::{Entries, Everywhere};
use crate::ending::{Ending, Failure};
use crate::paragraph::{self, WIDTH};
use crate::table::Table;
use crate::talk;

#[derive(Serialize)]
struct EntryLine<'a> {
    schema: &'static str,
    number: u64,
    at: &'a str,
    by: &'a str,
    what: &'static str,
    does: &'a str,
    about: &'a [String],
    old: Option<&'a str>,
    new: Option<&'a str>,
    why: Option<&'a str>,
    leaf: String,
}

pub fn run(everywhere: &Everywhere, options: &Entries) -> Result<Ending, Failure> {
    let search = search(options)?;
    let remark = options.reviewed.as_deref().map(reason).transpose()?;
    let by = remark.is_some().then(|| bench::person(everywhere)).transpose()?;
    let mut laboratory = if remark.is_some() { bench::write(everywhere)? } else { bench::read(everywhere)? };
    let found = laboratory.search(&search)?;
    match options.output.as_deref() {
        Some(path) => put_out(path, &as_csv(&found))?,
        None if everywhere.json => {
            for found in &found {
                talk::print_json(&line(found))?;
            }
        }
        None if options.details => talk::print(&found.iter().map(in_full).collect::<String>())?,
        None => {
            let mut table = Table::new().figures("entry", "").words("at").words("by").words("act");
            for Found { entry, told } in &found {
                table.row(vec![
                    entry.number.to_string(),
                    to_the_second(entry.at.as_str()),
                    entry.by.to_string(),
                    told.words.clone(),
                ]);
            }
            talk::print(&table.text())?;
        }
    }
    if let (Some(remark), Some(by)) = (remark, by) {
        let entry = laboratory.review_entries(&by, search.order.as_ref(), found.len(), &remark)?;
        talk::tell(&format!("entry {entry}: {} reviewed by {by}: {remark}", entries(found.len())));
    }
    Ok(Ending::Done)
}

fn entries(n: usize) -> String {
    if n == 1 { "1 entry".into() } else { format!("{n} entries") }
}

fn search(options: &Entries) -> Result<Search, Failure> {
    let order = options.order.as_deref().or(options.of_order.as_deref());
    for what in &options.what {
        if !Act::KINDS.contains(&what.as_str()) {
            return Err(Failure::with_hint(
                format!("there are no entries of the kind \"{what}\""),
                format!("write one of {}", Act::KINDS.join(", ")),
            ));
        }
    }
    Ok(Search {
        order: order.map(super::order).transpose()?,
        reading: options.reading.as_deref().map(|text| text.parse::<ReadingId>().map_err(Failure::told)).transpose()?,
        person: options.whose.as_deref().map(|name| PersonId::new(name).map_err(Failure::told)).transpose()?,
        what: options.what.clone(),
        from: options.from.as_deref().map(|text| moment(text, "00:00:00")).transpose()?,
        to: options.to.as_deref().map(|text| moment(text, "23:59:59.999999999")).transpose()?,
        only_changes: options.changes,
    })
}

/// A moment, or a day of this place from its beginning or to its end.
fn moment(text: &str, of_day: &str) -> Result<Timestamp, Failure> {
    if text.len() == 10 {
        let now = Timestamp::now();
        let text = match text
            .parse::<jiff::civil::DateTime>()
            .and_then(|_| format!("{text}T{of_day}").parse::<jiff::civil::DateTime>())
        {
            Ok(local) => local
                .to_zoned_datetime(jiff::tz::TimeZone::system())
                .map_or_else(|_| text.to_owned(), |zoned| zoned.strftime("%Y-%m-%dT%H:%M:%S%.f%:z").to_string()),
            Err(_) => text.to_owned(),
        };
        return Timestamp::new(&text).map_err(|_| {
            Failure::with_hint(format!("\"{text}\" is no day"), format!("write it as {}", &now.as_str()[..10]))
        });
    }
    Timestamp::new(text).map_err(Failure::told)
}

fn line(found: &Found) -> EntryLine<'_> {
    let Found { entry, told } = found;
    EntryLine {
        schema: "darkline/entry/1",
        number: entry.number,
        at: entry.at.as_str(),
        by: entry.by.as_str(),
        what: told.what,
        does: &told.words,
        about: &told.about,
        old: told.old.as_deref(),
        new: told.new.as_deref(),
        why: told.why.as_deref(),
        leaf: entry.leaf_hash().to_string(),
    }
}

/// An entry with everything it tells, for print.
fn in_full(found: &Found) -> String {
    let Found { entry, told } = found;
    let mut text = format!("entry {}  {}  {}\n", entry.number, entry.at, entry.by);
    let mut say = |name: &str, words: &str| {
        for (place, part) in paragraph::lines(words, WIDTH - 12).iter().enumerate() {
            text.push_str(&format!("  {:<8}  {part}\n", if place == 0 { name } else { "" }));
        }
    };
    say("what", &told.words);
    for (name, words) in [("before", &told.old), ("now", &told.new), ("why", &told.why)] {
        if let Some(words) = words {
            say(name, words);
        }
    }
    text
}

fn as_csv(found: &[Found]) -> String {
    let mut text = String::from("entry,at,by,what,act,about,old,new,why,leaf\n");
    for found in found {
        let line = line(found);
        let cells = [
            line.number.to_string(),
            line.at.into(),
            line.by.into(),
            line.what.into(),
            line.does.into(),
            line.about.join("; "),
            line.old.unwrap_or_default().into(),
            line.new.unwrap_or_default().into(),
            line.why.unwrap_or_default().into(),
            line.leaf,
        ];
        text.push_str(&cells.map(|cell| quoted(&cell)).join(","));
        text.push('\n');
    }
    text
}

/// A cell as RFC 4180 wants it.
fn quoted(cell: &str) -> String {
    if cell.contains([',', '"', '\n', '\r']) { format!("\"{}\"", cell.replace('"', "\"\"")) } else { cell.to_owned() }
}

/// A time without its fractions of a second, which the JSON keeps.
fn to_the_second(at: &str) -> String {
    let (before, after) = at.split_once('.').unwrap_or((at, ""));
    format!("{before}{}", after.trim_start_matches(|c: char| c.is_ascii_digit()))
}
