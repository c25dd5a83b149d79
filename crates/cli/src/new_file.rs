//! A new file: written aside, and under its name only when it is whole. What stands there already is never written over.

use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use crate::ending::Failure;

/// A file that is about to be.
///
/// A command that is killed leaves nothing under the name, so that the same command can be given again; what it leaves
/// aside is taken over by the next.
#[derive(Debug)]
pub struct NewFile {
    path: PathBuf,
    aside: PathBuf,
    file: File,
}

impl NewFile {
    /// Makes room for a file, so that a command learns before it acts whether it can write at all.
    ///
    /// # Errors
    /// Something stands there already; the folder is not there, or nothing may be written in it.
    pub fn at(path: &Path) -> Result<Self, Failure> {
        let fault = |error| Failure::told(format!("{}: {}", path.display(), in_words(&error)));
        if path == Path::new("-") {
            return Err(Failure::with_hint("this goes into a file, not to standard output", "name one with -o FILE"));
        }
        if path.symlink_metadata().is_ok() {
            return Err(is_there_already(path));
        }
        let name = path.file_name().ok_or_else(|| Failure::told(format!("{} names no file", path.display())))?;
        let aside = path.with_file_name(format!("{}.unfinished", name.to_string_lossy()));
        let file = OpenOptions::new().write(true).create(true).truncate(false).open(&aside).map_err(fault)?;
        if file.try_lock().is_err() {
            return Err(Failure::with_hint(
                format!("another program is writing {}", path.display()),
                "wait for it, or name another file with -o",
            ));
        }
        Ok(Self { path: path.to_owned(), aside, file })
    }

    /// Writes the file; when this returns it is whole and on the disk.
    ///
    /// # Errors
    /// It could not be written; something stands under its name by now.
    pub fn fill(mut self, bytes: &[u8]) -> Result<(), Failure> {
        let written =
            self.file.set_len(0).and_then(|()| self.file.write_all(bytes)).and_then(|()| self.file.sync_all());
        let named = written.and_then(|()| match std::fs::hard_link(&self.aside, &self.path) {
            // Some disks know no second name for a file.
            Err(error) if error.kind() != ErrorKind::AlreadyExists && !self.path.exists() => {
                std::fs::rename(&self.aside, &self.path)
            }
            answer => answer,
        });
        named.map_err(|error| match error.kind() {
            ErrorKind::AlreadyExists => is_there_already(&self.path),
            _ => Failure::told(format!("{}: {}", self.path.display(), in_words(&error))),
        })
    }
}

impl Drop for NewFile {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.aside);
    }
}

fn is_there_already(path: &Path) -> Failure {
    Failure::with_hint(
        format!("{} is there already", path.display()),
        "name another file with -o, or move that one away",
    )
}

/// What the operating system says, in the words of the house.
pub fn in_words(error: &std::io::Error) -> String {
    match error.kind() {
        ErrorKind::NotFound => "there is no such file or folder".into(),
        ErrorKind::PermissionDenied => "this may not be read or written here".into(),
        ErrorKind::IsADirectory => "this is a folder; a file is wanted".into(),
        ErrorKind::NotADirectory => "a part of this path is a file, where a folder is wanted".into(),
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => "the disk is full".into(),
        ErrorKind::ReadOnlyFilesystem => "this disk can only be read".into(),
        _ => error.to_string(),
    }
}
