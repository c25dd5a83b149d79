//! Talking: results to standard output, everything else to standard error; colour only where a terminal wants it.

use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicBool, Ordering};

use anstyle::{AnsiColor, Style};
use darkline_exchange::fault::Part;
use serde::Serialize;

use crate::ending::Failure;

static QUIET: AtomicBool = AtomicBool::new(false);

/// Leaves out all talk that is no error.
pub fn be_quiet() {
    QUIET.store(true, Ordering::Relaxed);
}

/// A line of talk that `--quiet` leaves out.
pub fn tell(line: &str) {
    if !QUIET.load(Ordering::Relaxed) {
        say(line);
    }
}

/// A line to standard error.
pub fn say(line: &str) {
    let _ = writeln!(anstream::stderr().lock(), "{line}");
}

/// Pieces of a fault, each in its style.
pub fn say_styled(parts: &[(Part, String)]) {
    let mut text = String::new();
    let plain = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    for (part, piece) in parts {
        let style = match part {
            _ if plain => Style::new(),
            Part::Word => Style::new().bold().fg_color(Some(AnsiColor::Red.into())),
            Part::What => Style::new().bold(),
            Part::Underline => Style::new().fg_color(Some(AnsiColor::Red.into())),
            Part::Margin => Style::new().dimmed(),
            Part::Place | Part::Line | Part::Hint | Part::Between => Style::new(),
        };
        text.push_str(&format!("{style}{piece}{style:#}"));
    }
    say(&text);
}

/// Text to standard output.
///
/// # Errors
/// [`Failure::ReaderGone`] where nobody reads it any more.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = anstream::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()?;
    Ok(())
}

/// One JSON object on a line of standard output.
///
/// # Errors
/// As [`print`].
pub fn print_json<T: Serialize>(object: &T) -> Result<(), Failure> {
    let text = serde_json::to_string(object).map_err(Failure::told)?;
    print(&format!("{text}\n"))
}

/// Whether a bar would be seen: standard error is a terminal that takes colour.
pub fn may_draw() -> bool {
    !QUIET.load(Ordering::Relaxed)
        && std::io::stderr().is_terminal()
        && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
        && std::env::var_os("TERM").is_none_or(|term| term != "dumb")
}
