//! `darkline backup`: a copy of the whole record in a new folder, while others go on working.

use std::path::Path;

use darkline_audit_trail::{SqliteStore, Store, StoreError};
use serde::Serialize;

use crate::bench;
use crate::command_line::{Backup, Everywhere};
use crate::ending::{Ending, Failure};
use crate::talk;

#[derive(Serialize)]
struct BackupLine<'a> {
    schema: &'static str,
    folder: String,
    entries: u64,
    root: &'a str,
    entry: u64,
}

pub fn run(everywhere: &Everywhere, options: &Backup) -> Result<Ending, Failure> {
    let by = bench::person(everywhere)?;
    let folder = &options.folder;
    let mut laboratory = bench::write(everywhere)?;
    laboratory.may_copy(&by)?;
    let at_fault = |error: std::io::Error| Failure::told(format!("{}: {error}", folder.display()));
    match std::fs::create_dir(folder) {
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
            return Err(Failure::with_hint(
                format!("{} is there already; a copy is never written over", folder.display()),
                "name another folder",
            ));
        }
        answer => answer.map_err(at_fault)?,
    }
    let size = match copy(everywhere, folder) {
        Ok(size) => size,
        Err(failure) => {
            let _ = std::fs::remove_dir_all(folder);
            return Err(failure);
        }
    };
    let root = laboratory.root_at(size)?;
    let place = folder.display().to_string();
    let entry = laboratory.backed_up(&by, size, root, &place)?;
    if everywhere.json {
        talk::print_json(&BackupLine {
            schema: "darkline/backup/1",
            folder: place.clone(),
            entries: size,
            root: &root.to_string(),
            entry,
        })?;
    }
    talk::tell(&format!("entry {entry}: {size} entries copied to {place} by {by}, root {root}"));
    talk::tell("The key of this bench is not in the copy: keep it apart from it.");
    talk::tell(&format!("Next: darkline drill {place} --as {by}"));
    Ok(Ending::Done)
}

/// Copies the record, and what lies apart from it.
fn copy(everywhere: &Everywhere, folder: &Path) -> Result<u64, Failure> {
    let trail = bench::trail(everywhere);
    let store = SqliteStore::open(&trail).map_err(|fault| match fault {
        StoreError::NotATrail { .. } => Failure::with_hint(
            format!("the record that {} leads to is in a database", trail.display()),
            "a database is copied with its own means; a bench with a record in a file can be copied here",
        ),
        other => Failure::told(other),
    })?;
    let size = store.back_up(&folder.join(bench::USUAL_TRAIL)).map_err(Failure::told)?;
    let apart = bench::apart_folder(&bench::trail(everywhere));
    if apart.is_dir() {
        copy_files(&apart, &bench::apart_folder(&folder.join(bench::USUAL_TRAIL)))
            .map_err(|error| Failure::told(format!("{}: {error}", apart.display())))?;
    }
    debug_assert!(store.size(store.log()).is_ok_and(|now| now >= size));
    Ok(size)
}

/// Copies the files of a folder that has no folders in it.
pub fn copy_files(from: &Path, to: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(to)?;
    #[cfg(unix)]
    std::fs::set_permissions(to, std::os::unix::fs::PermissionsExt::from_mode(0o700))?;
    for file in std::fs::read_dir(from)? {
        let file = file?;
        if file.file_type()?.is_file() {
            std::fs::copy(file.path(), to.join(file.file_name()))?;
        }
    }
    Ok(())
}
