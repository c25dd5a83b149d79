//! `darkline archive`: the data package of an issued order as one bag.

use std::path::PathBuf;

use darkline_exchange::bag;
use serde::Serialize;

use super::order;
use crate::bench;
use crate::command_line::{Archive, Everywhere};
use crate::ending::{Ending, Failure};
use crate::talk;

#[derive(Serialize)]
struct ArchiveLine<'a> {
    schema: &'static str,
    order: &'a str,
    file: String,
    files: usize,
    bytes: usize,
}

pub fn run(everywhere: &Everywhere, options: &Archive) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let by = bench::person(everywhere)?;
    let mut laboratory = bench::write(everywhere)?;
    let path = options.output.clone().unwrap_or_else(|| PathBuf::from(format!("{order}.zip")));
    let mut file = super::new_file(&path)?;
    let files = laboratory.archive(&by, &order).inspect_err(|_| {
        let _ = std::fs::remove_file(&path);
    })?;
    let issued = laboratory.order(&order)?.issues.last().map_or_else(String::new, |issue| issue.at.clone());
    let laboratory_name = laboratory.state().laboratory.as_ref().map_or("Laboratory", |(name, _)| name.as_str());
    let info = [
        ("Source-Organization".to_owned(), laboratory_name.to_owned()),
        ("External-Identifier".to_owned(), order.to_string()),
        ("Bagging-Date".to_owned(), issued.chars().take(10).collect()),
    ];
    let bytes = bag::write(&files, &info).map_err(Failure::told)?;
    super::fill(&mut file, &path, &bytes)?;
    if everywhere.json {
        talk::print_json(&ArchiveLine {
            schema: "darkline/archive/1",
            order: order.as_str(),
            file: path.display().to_string(),
            files: files.len(),
            bytes: bytes.len(),
        })?;
    }
    talk::tell(&format!("{} written: {} files, {} kB", path.display(), files.len(), bytes.len().div_ceil(1000)));
    talk::tell(&format!("Next: darkline verify {}", path.display()));
    Ok(Ending::Done)
}
