//! `darkline drill`: a copy is restored aside, everything in it verified, and a protocol printed.

use std::path::Path;

use darkline_audit_trail::{SqliteStore, Store, Timestamp, read_tree, verify_trail};
use darkline_laboratory::Laboratory;
use darkline_laboratory::verification::Check;
use serde::Serialize;

use super::verify::{reports, show};
use super::{backup, count};
use crate::bench;
use crate::command_line::{Drill, Everywhere};
use crate::ending::{Ending, Failure};
use crate::talk;

#[derive(Serialize)]
struct DrillLine<'a> {
    schema: &'static str,
    folder: String,
    entries: u64,
    root: String,
    intact: bool,
    faults: &'a [String],
    entry: u64,
}

pub fn run(everywhere: &Everywhere, options: &Drill) -> Result<Ending, Failure> {
    let by = bench::person(everywhere)?;
    let mut laboratory = bench::write(everywhere)?;
    laboratory.may_copy(&by)?;
    let began = Timestamp::now();
    let folder = &options.folder;
    if !folder.join(bench::USUAL_TRAIL).is_file() {
        return Err(Failure::with_hint(
            format!("there is no copy of a record in {}", folder.display()),
            "name the folder that darkline backup made",
        ));
    }
    let aside = aside(folder)?;
    let checked = check(&aside, &laboratory);
    let _ = std::fs::remove_dir_all(&aside);
    let (checks, size, root) = checked?;
    let faults: Vec<String> = checks.iter().flat_map(|check| check.faults.clone()).collect();
    if !everywhere.json {
        talk::print(&format!(
            "Drill of {}\nbegun {began} by {by} with {}\nrestored aside, verified, worked out again:\n",
            folder.display(),
            bench::PROGRAM
        ))?;
    }
    for check in &checks {
        show(everywhere, check)?;
    }
    let entry = laboratory.drilled(&by, size, root, &faults)?;
    if everywhere.json {
        talk::print_json(&DrillLine {
            schema: "darkline/drill/1",
            folder: folder.display().to_string(),
            entries: size,
            root: root.to_string(),
            intact: faults.is_empty(),
            faults: &faults,
            entry,
        })?;
    } else {
        let result = match faults.len() {
            0 => "all in order".to_owned(),
            n => format!("{}: this copy is not to be relied on", count(n, "fault")),
        };
        talk::print(&format!("ended {}: {result} (entry {entry})\n", Timestamp::now()))?;
    }
    talk::tell("Not in the copy, and so not tried: the key of the bench, passphrases, this program.");
    Ok(if faults.is_empty() { Ending::Done } else { Ending::Stopped })
}

/// Restores a copy into a folder of its own beside the others of this machine.
fn aside(folder: &Path) -> Result<std::path::PathBuf, Failure> {
    let name = format!("darkline-drill-{}", std::process::id());
    let aside = std::env::temp_dir().join(name);
    let told = |error: std::io::Error| Failure::told(format!("{}: {error}", aside.display()));
    let _ = std::fs::remove_dir_all(&aside);
    backup::copy_files(folder, &aside).map_err(told)?;
    let apart = bench::apart_folder(&folder.join(bench::USUAL_TRAIL));
    if apart.is_dir() {
        backup::copy_files(&apart, &bench::apart_folder(&aside.join(bench::USUAL_TRAIL))).map_err(told)?;
    }
    Ok(aside)
}

/// Everything that can be said of a copy: by itself, and against the record it was made of.
fn check(aside: &Path, laboratory: &Laboratory) -> Result<(Vec<Check>, u64, darkline_audit_trail::Hash), Failure> {
    let path = aside.join(bench::USUAL_TRAIL);
    let store = SqliteStore::open(&path).map_err(Failure::told)?;
    let log = store.log().clone();
    let report = verify_trail(&store, &log).map_err(Failure::told)?;
    let root = report.root.unwrap_or_else(|| darkline_audit_trail::merkle::root(&[]));
    let size = report.n_entries;
    let mut checks = vec![Check {
        what: "entries",
        found: format!("{size} entries and {} blobs as hashed", report.n_blobs),
        faults: report.faults.iter().map(ToString::to_string).collect(),
    }];
    let ours = laboratory.store();
    let tree = read_tree(ours, ours.log()).map_err(Failure::told)?;
    let faults = if *ours.log() != log {
        vec![format!("the copy is of log {log}, this record is log {}", ours.log())]
    } else {
        match tree.root_at(size) {
            Ok(then) if then == root => Vec::new(),
            Ok(then) => vec![format!("the first {size} entries of this record give {then}, the copy {root}")],
            Err(_) => vec![format!("the copy has {size} entries, this record {}", tree.size())],
        }
    };
    let found = format!("the copy is the beginning of this record, root {root}");
    checks.push(Check { what: "root", found, faults });
    if report.is_intact() {
        let restored = Laboratory::over(Box::new(store))?.with_apart(bench::apart_folder(&path));
        checks.push(restored.check_signatures()?);
        checks.push(reports(&restored)?);
        let (mut n, mut faults) = (0, Vec::new());
        for (order, known) in &restored.state().orders {
            if known.is_sealed() && known.erased.is_none() {
                n += 1;
                if restored.apart_of(order)?.is_empty() {
                    faults.push(format!("whose order {order} is is not in the copy"));
                }
            }
        }
        if n > 0 {
            checks.push(Check {
                what: "apart",
                found: format!("whose order it is is there for {}", count(n, "order")),
                faults,
            });
        }
    }
    Ok((checks, size, root))
}
