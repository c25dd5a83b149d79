//! The reference page of all commands, made by the program itself.
//!
//! `darkline help-reference` prints the page from the definition that the help texts come from. Where the command line
//! does not offer it yet there is no page, and [`make`] says so.

use std::path::Path;
use std::process::{Command, Stdio};

use crate::house::House;

/// Where the page lies.
pub const PAGE: &str = "docs/reference/commands.md";

const COMMAND: &str = "help-reference";

/// Whether the command line offers the page.
pub fn is_offered(house: &House) -> bool {
    let as_variant = "HelpReference";
    house.texts_in("crates/cli/src/", ".rs").any(|(_, text)| text.contains(COMMAND) || text.contains(as_variant))
}

/// Builds the program and asks it for the page.
///
/// # Errors
/// The program cannot be built, or does not print the page.
pub fn make(root: &Path) -> Result<String, String> {
    printed(root, COMMAND)
}

/// What a hidden command of the program prints.
///
/// # Errors
/// As [`make`].
pub fn printed(root: &Path, command: &str) -> Result<String, String> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(cargo)
        .args(["run", "--quiet", "--locked", "--package", "darkline-cli", "--bin", "darkline", "--", command])
        .current_dir(root)
        .stdin(Stdio::null())
        .stderr(Stdio::inherit())
        .output()
        .map_err(|fault| format!("cargo does not start: {fault}"))?;
    if !output.status.success() {
        return Err(format!("`darkline {command}` ended with {}", output.status));
    }
    String::from_utf8(output.stdout).map_err(|fault| format!("`darkline {command}` prints no UTF-8: {fault}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_is_offered_when_the_command_line_names_it() {
        let offered = |text: &str| is_offered(&House::made_up(&[("crates/cli/src/main.rs", text)]));
        assert!(offered("//! A.\nenum Verb { HelpReference }\n"));
        assert!(offered("//! A.\n#[command(name = \"help-reference\")]\n"));
        assert!(!offered("//! A.\nfn main() {}\n"));
    }
}
