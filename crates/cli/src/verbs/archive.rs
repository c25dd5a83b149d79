//! `darkline archive`: the data package of an issued order as one bag.

use std::path::{Path, PathBuf};

use darkline_exchange::bag;
use darkline_laboratory::state::IssueState;
use darkline_record::canonical::Digest;
use darkline_record::identity::OrderId;
use serde::Serialize;

use super::{count, order};
use crate::bench;
use crate::command_line::{Archive, Everywhere};
use crate::ending::{Ending, Failure};
use crate::new_file::NewFile;
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
    if path.is_file()
        && laboratory.state().orders.contains_key(&order)
        && let Some((issue, _)) = laboratory.issued(&order)?
        && holds(&path, &order, &issue)
    {
        talk::tell(&format!("{} is there already and holds report {}", path.display(), issue.report));
        talk::tell(&format!("Nothing was appended. Next: darkline verify {}", path.display()));
        return Ok(Ending::Done);
    }
    if let Some(bytes) = laboratory.restored_archive(&order)? {
        NewFile::at(&path)?.fill(&bytes)?;
        talk::tell(&format!(
            "{} written: the archive that was restored, byte for byte. Nothing was appended.",
            path.display()
        ));
        return Ok(Ending::Done);
    }
    let file = NewFile::at(&path)?;
    let content = laboratory.archive(&by, &order)?;
    let bytes = bag::write(&content.files, &content.info).map_err(Failure::told)?;
    file.fill(&bytes)?;
    let n_files = content.files.len();
    if everywhere.json {
        talk::print_json(&ArchiveLine {
            schema: "darkline/archive/1",
            order: order.as_str(),
            file: path.display().to_string(),
            files: n_files,
            bytes: bytes.len(),
        })?;
    }
    talk::tell(&format!("{} written: {}, {} kB", path.display(), count(n_files, "file"), bytes.len().div_ceil(1000)));
    talk::tell(&format!("Next: darkline verify {}", path.display()));
    Ok(Ending::Done)
}

/// Whether a file is an archive of this very report: what a command that is given again finds.
fn holds(path: &Path, order: &OrderId, issue: &IssueState) -> bool {
    let Ok(found) = std::fs::read(path).map_err(drop).and_then(|bytes| bag::read(&bytes).map_err(drop)) else {
        return false;
    };
    let digest = |name: &str| found.payload.get(name).map(|bytes| Digest::of(bytes));
    let names_order = found.info.iter().any(|(label, value)| label == "External-Identifier" && value == order.as_str());
    names_order && digest("record.json") == Some(issue.record) && digest("report.pdf") == Some(issue.document)
}
