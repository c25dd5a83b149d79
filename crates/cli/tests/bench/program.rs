//! The program as a child process: what it was given, what it said, how it ended.

use std::path::Path;
use std::process::{Child, Command, Output, Stdio};

use serde_json::Value;

/// The program under test.
pub const PROGRAM: &str = env!("CARGO_BIN_EXE_darkline");

/// What came of a command.
pub struct Ran {
    pub line: String,
    pub code: Option<i32>,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub told: String,
}

/// A command in a folder, without surroundings of the machine that could change what it says.
///
/// # Arguments
/// * `line`: what is typed behind `darkline`; quotation marks hold words together.
pub fn command(folder: &Path, line: &str) -> Command {
    let mut command = Command::new(PROGRAM);
    command.args(words(line)).current_dir(folder).stdin(Stdio::null());
    for name in ["DARKLINE_TRAIL", "DARKLINE_PERSON", "NO_COLOR", "CLICOLOR_FORCE", "TERM", "COLUMNS"] {
        command.env_remove(name);
    }
    command
}

/// Runs a command to its end.
pub fn run(folder: &Path, line: &str) -> Ran {
    Ran::of(line, command(folder, line).output().unwrap())
}

/// Starts a command with its output to be read.
pub fn start(folder: &Path, line: &str) -> Child {
    command(folder, line).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
}

/// The words of a line as a shell gives them.
fn words(line: &str) -> Vec<String> {
    let (mut words, mut word, mut quoted) = (Vec::new(), None::<String>, false);
    for c in line.chars() {
        match c {
            '"' => {
                quoted = !quoted;
                word.get_or_insert_default();
            }
            ' ' if !quoted => words.extend(word.take()),
            c => word.get_or_insert_default().push(c),
        }
    }
    words.extend(word);
    words
}

impl Ran {
    pub fn of(line: &str, output: Output) -> Self {
        let text = |bytes| String::from_utf8(bytes).expect("the program writes UTF-8");
        Self { line: line.into(), code: output.status.code(), out: text(output.stdout), told: text(output.stderr) }
    }

    /// The exit code has to be this one.
    #[track_caller]
    pub fn ends(self, code: i32) -> Self {
        let Self { line, out, told, .. } = &self;
        assert_eq!(self.code, Some(code), "darkline {line}\n{out}{told}");
        assert!(!told.contains("panicked"), "darkline {line}\n{told}");
        self
    }

    /// Standard output or talk has to hold this text.
    #[track_caller]
    pub fn says(self, text: &str) -> Self {
        let Self { line, out, told, .. } = &self;
        assert!(out.contains(text) || told.contains(text), "darkline {line} does not say {text:?}:\n{out}{told}");
        self
    }

    /// The same, wherever the lines of a paragraph break.
    #[track_caller]
    pub fn says_in_a_paragraph(self, text: &str) -> Self {
        let flat = self.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(text), "darkline {} does not say {text:?}:\n{}", self.line, self.out);
        self
    }

    /// The objects of standard output, one a line, each with its schema.
    #[track_caller]
    pub fn json(&self) -> Vec<Value> {
        let lines = self.out.lines().map(|line| {
            let object: Value =
                serde_json::from_str(line).unwrap_or_else(|error| panic!("darkline {}: {error}: {line}", self.line));
            let schema = object["schema"].as_str().unwrap_or_default();
            let parts: Vec<&str> = schema.split('/').collect();
            assert!(
                matches!(parts[..], ["darkline", _, version] if version.parse::<u32>().is_ok()),
                "darkline {}: {line}",
                self.line
            );
            object
        });
        lines.collect()
    }

    /// Everything as a reader sees it, for snapshots: talk behind output.
    pub fn seen(&self) -> String {
        let code = self.code.map_or_else(|| "a signal".into(), |code| code.to_string());
        format!("$ darkline {}\n{}{}exit {code}\n", self.line, self.out, self.told)
    }
}
