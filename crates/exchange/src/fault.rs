//! What is the matter with a file, where, and what to write instead.
//!
//! A [`Fault`] is one such place; [`Faults`] are all faults of a file at once, in the order of the file, with their count.
//!
//! Colour is not decided here: [`Fault::parts`] says what each piece of the text is, and its pieces put together are the
//! text.

use std::fmt;
use std::ops::Range;

use unicode_width::UnicodeWidthStr;

/// A place in a text file; both count from 1, columns in characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// The line.
    pub line: usize,
    /// The column.
    pub column: usize,
}

/// The line of a fault as it is shown below the place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shown {
    /// The line, tabs and control characters replaced, a very long one cut to the part around the fault.
    pub line: String,
    /// The bytes of `line` that are underlined.
    pub span: Range<usize>,
}

/// How much hangs on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The file is not taken.
    Error,
    /// The file is taken; somebody should look.
    Warning,
}

impl Severity {
    fn word(self) -> &'static str {
        match self {
            Severity::Error => "error",
            Severity::Warning => "warning",
        }
    }
}

/// One fault of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// How much hangs on it.
    pub severity: Severity,
    /// The name of the file.
    pub file: String,
    /// Where in the file; `None` where it is the file as a whole.
    pub place: Option<Place>,
    /// What is the matter.
    pub what: String,
    /// The line to show with it.
    pub shown: Option<Shown>,
    /// What to write instead.
    pub hint: Option<String>,
}

/// What a piece of a fault's text is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The word "error" or "warning".
    Word,
    /// File, line and column.
    Place,
    /// What is the matter.
    What,
    /// Line number and bar beside the line shown.
    Margin,
    /// The line shown.
    Line,
    /// The underline.
    Underline,
    /// What to write instead.
    Hint,
    /// Spaces, colons and line breaks between the others.
    Between,
}

impl Fault {
    /// A fault of a file as a whole.
    pub fn of_file(file: &str, what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self {
            severity: Severity::Error,
            file: printable(file),
            place: None,
            what: printable(&what.into()),
            shown: None,
            hint: Some(printable(&hint.into())),
        }
    }

    /// The text in pieces; put together they are what `Display` writes.
    pub fn parts(&self) -> Vec<(Part, String)> {
        let mut parts = vec![(Part::Word, self.severity.word().to_owned()), (Part::Between, ": ".into())];
        let place = match self.place {
            Some(Place { line, column }) => format!("{}:{line}:{column}", self.file),
            None => self.file.clone(),
        };
        match (&self.shown, self.place) {
            (Some(shown), Some(at)) => {
                let underlined = shown.line.get(shown.span.clone()).unwrap_or("");
                let before = shown.line.get(..shown.span.start).unwrap_or("");
                parts.extend([
                    (Part::What, self.what.clone()),
                    (Part::Between, "\n  ".into()),
                    (Part::Place, place),
                    (Part::Between, "\n".into()),
                    (Part::Margin, format!("{:>5} | ", at.line)),
                    (Part::Line, shown.line.clone()),
                    (Part::Between, "\n".into()),
                    (Part::Margin, format!("{:>1$} ", "|", at.line.to_string().len().max(5) + 2)),
                    (Part::Between, " ".repeat(before.width())),
                    (Part::Underline, "^".repeat(underlined.width().max(1))),
                ]);
            }
            _ => parts.extend([(Part::Place, place), (Part::Between, ": ".into()), (Part::What, self.what.clone())]),
        }
        if let Some(hint) = &self.hint {
            parts.extend([(Part::Between, "\n  ".into()), (Part::Hint, hint.clone())]);
        }
        parts
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.parts().iter().try_for_each(|(_, text)| f.write_str(text))
    }
}

/// All faults of a file, or of several files read together.
///
/// Invariant: at least one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Faults {
    listed: Vec<Fault>,
    unlisted: usize,
}

/// More faults than this of one file are counted, not listed: nobody mends them one by one.
pub(crate) const MOST_LISTED: usize = 200;

impl Faults {
    /// Faults in the order they are shown; `None` where there are none.
    pub fn new(faults: Vec<Fault>) -> Option<Self> {
        (!faults.is_empty()).then_some(Self { listed: faults, unlisted: 0 })
    }
    /// A single fault.
    pub fn one(fault: Fault) -> Self {
        Self { listed: vec![fault], unlisted: 0 }
    }
    pub(crate) fn with_unlisted(faults: Vec<Fault>, unlisted: usize) -> Option<Self> {
        (!faults.is_empty()).then_some(Self { listed: faults, unlisted })
    }
    /// The faults, in the order of the file.
    pub fn listed(&self) -> &[Fault] {
        &self.listed
    }
    /// How many there are, those that are not listed among them.
    pub fn count(&self) -> usize {
        self.listed.len() + self.unlisted
    }
    /// Adds the faults of another file behind these.
    pub fn join(&mut self, others: Faults) {
        self.listed.extend(others.listed);
        self.unlisted += others.unlisted;
    }
    /// The last line: the count, and that nothing came of it.
    pub fn closing(&self) -> String {
        let mut files: Vec<&str> = Vec::new();
        for fault in &self.listed {
            if !files.contains(&fault.file.as_str()) {
                files.push(&fault.file);
            }
        }
        let count = match self.count() {
            1 => "1 fault".to_owned(),
            n => format!("{n} faults"),
        };
        let files = match files.as_slice() {
            [file] => (*file).to_owned(),
            files => format!("{} files", files.len()),
        };
        match self.unlisted {
            0 => format!("{count} in {files}; nothing was appended"),
            _ => format!("{count} in {files}, the first {} are listed; nothing was appended", self.listed.len()),
        }
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.listed.iter().try_for_each(|fault| writeln!(f, "{fault}"))?;
        f.write_str(&self.closing())
    }
}

impl std::error::Error for Faults {}

/// A text that can be written to a terminal: control characters, which could move the cursor, become a mark.
pub(crate) fn printable(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\t' => ' ',
            c if c.is_control() || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}') => '\u{fffd}',
            c => c,
        })
        .collect()
}

/// A word from a file, quoted in a message: cut where it is long.
pub(crate) fn quoted(text: &str) -> String {
    let mut chars = text.chars();
    let short: String = chars.by_ref().take(60).collect();
    match chars.next() {
        None => format!("\"{short}\""),
        Some(_) => format!("\"{short}…\""),
    }
}

/// Parts "what is the matter; what to write instead", as the floors below word their faults.
pub(crate) fn parted(told: &str) -> (String, Option<String>) {
    match told.rsplit_once("; ") {
        Some((what, hint)) => (what.into(), Some(hint.into())),
        None => (told.into(), None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn volume_fault() -> Fault {
        Fault {
            severity: Severity::Error,
            file: "cadmium.toml".into(),
            place: Some(Place { line: 23, column: 20 }),
            what: "a mass concentration stands where a volume is wanted".into(),
            shown: Some(Shown { line: "injected_volume = \"20 µg/mL\"".into(), span: 19..28 }),
            hint: Some("write a volume, for example \"20 µL\"".into()),
        }
    }

    #[test]
    fn a_fault_shows_the_line_and_underlines_what_is_meant() {
        assert_eq!(
            volume_fault().to_string(),
            "error: a mass concentration stands where a volume is wanted\n  cadmium.toml:23:20\n   \
             23 | injected_volume = \"20 µg/mL\"\n      |                    ^^^^^^^^\n  write a volume, for example \"20 µL\""
        );
    }

    #[test]
    fn a_fault_without_a_line_to_show_begins_with_its_place() {
        let fault = Fault {
            severity: Severity::Error,
            file: "worklist.csv".into(),
            place: Some(Place { line: 14, column: 6 }),
            what: "dilution \"1:10\" can mean one part in ten or one part to ten".into(),
            shown: None,
            hint: Some("write the factor as a number: 10 or 11".into()),
        };
        assert_eq!(
            fault.to_string(),
            "error: worklist.csv:14:6: dilution \"1:10\" can mean one part in ten or one part to ten\n  \
             write the factor as a number: 10 or 11"
        );
        let two = Faults::new(vec![fault.clone(), fault]).unwrap();
        assert!(two.to_string().ends_with("\n2 faults in worklist.csv; nothing was appended"));
    }

    #[test]
    fn wide_characters_keep_the_underline_below_them() {
        let mut fault = volume_fault();
        fault.shown = Some(Shown { line: "名 = \"試\"".into(), span: 7..10 });
        let text = fault.to_string();
        let underline = text.lines().nth(3).unwrap();
        assert_eq!(underline, "      |       ^^");
    }

    #[test]
    fn no_file_can_move_the_cursor() {
        let fault = Fault::of_file("a\u{1b}[2J.toml", "x\u{7}", "y\u{202e}");
        assert!(!fault.to_string().chars().any(|c| c.is_control() && c != '\n'));
        assert!(!fault.to_string().contains('\u{202e}'));
    }

    #[test]
    fn no_faults_are_none() {
        assert_eq!(Faults::new(Vec::new()), None);
    }
}
