//! Values gathered key by key: all of them or none, and names that may stand only once.

use std::collections::BTreeMap;
use std::fmt::Display;
use std::ops::Range;
use std::str::FromStr;

use super::section::Entry;
use crate::sheet::Sheet;

/// Names that may stand in a document only once.
pub(crate) struct Distinct<T> {
    what: &'static str,
    seen: BTreeMap<T, Range<usize>>,
}

impl<T: Ord + Clone + FromStr<Err: Display> + Display> Distinct<T> {
    pub(crate) fn new(what: &'static str) -> Self {
        Self { what, seen: BTreeMap::new() }
    }

    /// Reads a name; a second one of the same letters is told.
    pub(crate) fn parsed(&mut self, sheet: &Sheet<'_>, entry: &Entry<'_>) -> Option<T> {
        let id: T = entry.parsed()?;
        match self.seen.get(&id) {
            Some(before) => {
                let line = sheet.line_of(before.start);
                entry.fault(format!("{} \"{id}\" is already on line {line}", self.what), "name one of them otherwise");
            }
            None => {
                self.seen.insert(id.clone(), entry.span());
            }
        }
        Some(id)
    }
}

/// `None` where any is `None`.
pub(crate) fn all<T>(read: Vec<Option<T>>) -> Option<Vec<T>> {
    read.into_iter().collect()
}

/// A value that is there must have been read; one that is not there need not.
// The outer option says whether the key is there, the inner one whether its value could be read.
#[allow(clippy::option_option)]
pub(crate) fn transposed<T>(there: Option<Option<T>>) -> Option<Option<T>> {
    match there {
        None => Some(None),
        Some(None) => None,
        Some(read) => Some(read),
    }
}
