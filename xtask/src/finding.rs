//! A finding: one place in the repository that is not as the house wants it, and what to write instead.

use std::fmt;

/// One place that is not tidy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// Path from the root of the repository, or the name of a package.
    pub place: String,
    /// Line, counted from 1, where there is one.
    pub line: Option<usize>,
    /// What is the matter, and what to write instead.
    pub said: String,
}

impl Finding {
    /// A finding about a whole file, folder or package.
    pub fn at(place: impl Into<String>, said: impl Into<String>) -> Self {
        Self { place: place.into(), line: None, said: said.into() }
    }

    /// A finding about one line of a file.
    pub fn on(place: impl Into<String>, line: usize, said: impl Into<String>) -> Self {
        Self { place: place.into(), line: Some(line), said: said.into() }
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "{}:{line}: {}", self.place, self.said),
            None => write!(f, "{}: {}", self.place, self.said),
        }
    }
}
