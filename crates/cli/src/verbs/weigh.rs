//! `darkline weigh`: the weighings of a balance's files, laid into a preparation document as a proposal.
//!
//! The folder is only read. Nothing is appended: a person looks at the proposal and opens it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use darkline_exchange::instrument_file::balance::{self, BalanceMapping, Proposed, Weighing};
use darkline_exchange::instrument_file::traces::natural_order;
use darkline_exchange::text_file;
use serde::Serialize;

use super::{count, put_out};
use crate::command_line::{Everywhere, Weigh};
use crate::ending::{Ending, Failure};
use crate::table::Table;
use crate::talk;

/// Between two looks at the folder.
const BETWEEN_LOOKS: Duration = Duration::from_millis(200);

#[derive(Serialize)]
struct WeighedLine<'a> {
    schema: &'static str,
    id: &'a str,
    mass: String,
    at: &'a str,
    file: &'a str,
    line: usize,
}

/// What was read so far.
#[derive(Default)]
struct Seen {
    /// The weighings by file.
    weighings: BTreeMap<PathBuf, Vec<Weighing>>,
    /// What was told already.
    told: Vec<String>,
}

pub fn run(everywhere: &Everywhere, options: &Weigh) -> Result<Ending, Failure> {
    let shown = options.mapping.display().to_string();
    let mapping = balance::read_mapping(&shown, &text_file::read(&options.mapping)?)?;
    let document = text_file::read(&options.preparation)?;
    let name = options.preparation.display().to_string();
    // A document at fault is told now, not after an afternoon at the balance.
    balance::propose(&name, &document, &[])?;
    let mut seen = Seen::default();
    let mut last_news = Instant::now();
    loop {
        let is_news = look(everywhere, options, &mapping, &mut seen)?;
        if is_news {
            last_news = Instant::now();
        }
        match options.until_quiet {
            Some(quiet) if last_news.elapsed() < Duration::from_secs_f64(quiet) => std::thread::sleep(BETWEEN_LOOKS),
            _ => break,
        }
    }
    let all: Vec<Weighing> = seen.weighings.into_values().flatten().collect();
    let proposed = balance::propose(&name, &document, &all)?;
    put_out(&options.output, &proposed.text)?;
    if !everywhere.json {
        talk::tell(&told(&proposed));
    }
    talk::tell(&format!(
        "{} of {} weighed. Look at it, then open the folder it lies in: darkline open FOLDER",
        count(proposed.weighed.len(), "portion"),
        proposed.weighed.len() + proposed.not_weighed.len()
    ));
    Ok(if proposed.not_weighed.is_empty() { Ending::Done } else { Ending::Stopped })
}

/// Reads the files as they are; returns whether a weighing is new.
fn look(everywhere: &Everywhere, options: &Weigh, mapping: &BalanceMapping, seen: &mut Seen) -> Result<bool, Failure> {
    let mut is_news = false;
    for path in files(&options.place)? {
        let name = path.file_name().map_or_else(|| "file".into(), |name| name.to_string_lossy().into_owned());
        // One that is locked is not there yet.
        let Ok(bytes) = text_file::read_bytes(&path, &path.display().to_string(), text_file::LARGEST) else { continue };
        let read = mapping.code_page.decode(&name, &bytes).and_then(|text| balance::read(&name, &text, mapping));
        let found = match read {
            Ok(found) => found,
            Err(faults) => {
                tell_once(seen, faults.to_string());
                continue;
            }
        };
        for aside in &found.aside {
            tell_once(seen, format!("{name} line {}: set aside: {}; {}", aside.line, aside.row, aside.why));
        }
        let before = seen.weighings.insert(path, found.weighings.clone()).unwrap_or_default();
        for weighing in found.weighings.iter().filter(|weighing| !before.contains(weighing)) {
            is_news = true;
            show(everywhere, weighing)?;
        }
    }
    Ok(is_news)
}

fn tell_once(seen: &mut Seen, line: String) {
    if !seen.told.contains(&line) {
        talk::say(&line);
        seen.told.push(line);
    }
}

fn show(everywhere: &Everywhere, weighing: &Weighing) -> Result<(), Failure> {
    let (file, line) = &weighing.line;
    if everywhere.json {
        return talk::print_json(&WeighedLine {
            schema: "darkline/weighing/1",
            id: &weighing.id,
            mass: weighing.mass.to_string(),
            at: &weighing.at,
            file,
            line: *line,
        });
    }
    talk::say(&format!("{:<16} {:>12}  {}", weighing.id, weighing.mass.to_string(), weighing.at));
    Ok(())
}

fn told(proposed: &Proposed) -> String {
    let mut table = Table::new().words("portion").words("mass").words("weighed").words("stands in");
    for (id, weighing) in &proposed.weighed {
        let (file, line) = &weighing.line;
        table.row(vec![id.clone(), weighing.mass.to_string(), weighing.at.clone(), format!("{file}, line {line}")]);
    }
    let mut text = table.text();
    for note in &proposed.notes {
        text.push_str(&format!("Note: {note}.\n"));
    }
    if !proposed.not_weighed.is_empty() {
        text.push_str(&format!(
            "Not weighed: {}; what the document says of them stays.\n",
            proposed.not_weighed.join(", ")
        ));
    }
    text
}

/// The files of a balance: one, or all of a folder in the order of their names.
fn files(place: &Path) -> Result<Vec<PathBuf>, Failure> {
    if !place.is_dir() {
        return Ok(vec![place.to_owned()]);
    }
    let listed = std::fs::read_dir(place).map_err(|error| Failure::told(format!("{}: {error}", place.display())))?;
    let mut names: Vec<String> = listed
        .flatten()
        .filter(|entry| entry.path().is_file())
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| !name.starts_with(['.', '~']))
        .collect();
    names.sort_by(|one, other| natural_order(one, other));
    Ok(names.into_iter().map(|name| place.join(name)).collect())
}
