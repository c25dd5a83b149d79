//! The house: the files of the repository, read once, as every tidy check sees them.
//!
//! [`House::open`] takes what git tracks and what it would track next (new files that are not ignored), so a
//! fault is told before it is committed. Tests build a small one with [`House::made_up`].

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The files of the repository by their path from its root, with `/` between folders.
#[derive(Debug, Default)]
pub struct House {
    files: BTreeMap<String, Option<String>>,
}

impl House {
    /// Reads the repository.
    ///
    /// # Errors
    /// A file that git names cannot be read, or the folders cannot be listed.
    pub fn open(root: &Path) -> io::Result<Self> {
        let paths = match paths_by_git(root) {
            Some(paths) => paths,
            None => paths_by_walking(root)?,
        };
        let mut files = BTreeMap::new();
        for path in paths {
            let bytes = match std::fs::read(root.join(&path)) {
                Ok(bytes) => bytes,
                // Deleted, and the deletion not committed yet.
                Err(fault) if fault.kind() == io::ErrorKind::NotFound => continue,
                Err(fault) => return Err(io::Error::new(fault.kind(), format!("{path}: {fault}"))),
            };
            files.insert(path, String::from_utf8(bytes).ok());
        }
        Ok(Self { files })
    }

    /// A house that exists in a test only.
    #[cfg(test)]
    pub fn made_up(files: &[(&str, &str)]) -> Self {
        Self { files: files.iter().map(|(path, text)| ((*path).to_owned(), Some((*text).to_owned()))).collect() }
    }

    /// Every path, files that are no text included.
    pub fn paths(&self) -> impl Iterator<Item = &str> {
        self.files.keys().map(String::as_str)
    }

    /// Every file that is text (UTF-8), with its text.
    pub fn texts(&self) -> impl Iterator<Item = (&str, &str)> {
        self.files.iter().filter_map(|(path, text)| Some((path.as_str(), text.as_deref()?)))
    }

    /// The text of one file.
    pub fn text(&self, path: &str) -> Option<&str> {
        self.files.get(path)?.as_deref()
    }

    /// Every text below a folder (`"crates/"`) whose name ends so (`".rs"`).
    pub fn texts_in<'a>(&'a self, folder: &'a str, ending: &'a str) -> impl Iterator<Item = (&'a str, &'a str)> {
        self.texts().filter(move |(path, _)| path.starts_with(folder) && path.ends_with(ending))
    }

    /// The folders straight under `crates/`, sorted.
    pub fn crates(&self) -> Vec<&str> {
        let mut names: Vec<&str> = self
            .paths()
            .filter_map(|path| path.strip_prefix("crates/")?.strip_suffix("/Cargo.toml"))
            .filter(|name| !name.contains('/'))
            .collect();
        names.sort_unstable();
        names
    }
}

/// What git knows and what it would add; `None` where there is no git or no repository (an unpacked archive).
fn paths_by_git(root: &Path) -> Option<Vec<String>> {
    let listed = Command::new("git")
        // A clone may belong to another user than the one who checks it.
        .args(["-c", "safe.directory=*", "ls-files", "-z", "--cached", "--others", "--exclude-standard"])
        .current_dir(root)
        .output()
        .ok()?;
    if !listed.status.success() {
        return None;
    }
    let text = String::from_utf8(listed.stdout).ok()?;
    Some(text.split('\0').filter(|path| !path.is_empty()).map(str::to_owned).collect())
}

/// Everything but build output and git's own folder.
fn paths_by_walking(root: &Path) -> io::Result<Vec<String>> {
    let mut paths = Vec::new();
    let mut folders = vec![PathBuf::new()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(root.join(&folder))? {
            let entry = entry?;
            let path = folder.join(entry.file_name());
            let name = entry.file_name();
            if entry.file_type()?.is_dir() {
                if name != "target" && name != ".git" {
                    folders.push(path);
                }
            } else {
                paths.push(path.to_string_lossy().replace('\\', "/"));
            }
        }
    }
    paths.sort_unstable();
    Ok(paths)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crates_are_the_folders_that_have_a_manifest() {
        let house = House::made_up(&[
            ("crates/signal/Cargo.toml", ""),
            ("crates/record/Cargo.toml", ""),
            ("crates/record/tests/inner/Cargo.toml", ""),
            ("crates/README.md", ""),
        ]);
        assert_eq!(house.crates(), ["record", "signal"]);
    }

    #[test]
    fn git_and_walking_see_the_manifest_of_this_workspace() {
        let root = crate::root().unwrap();
        let walked = paths_by_walking(&root).unwrap();
        assert!(walked.contains(&"xtask/src/house.rs".to_owned()));
        assert!(!walked.iter().any(|path| path.starts_with("target/")));
        assert!(House::open(&root).unwrap().text("xtask/Cargo.toml").is_some());
    }
}
