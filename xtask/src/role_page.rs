//! The reference page of roles, which the program prints from its one table.

use std::path::Path;

use crate::command_page;

/// Where the page lies.
pub const PAGE: &str = "docs/reference/roles.md";

/// Builds the program and asks it for the page.
///
/// # Errors
/// As [`command_page::printed`].
pub fn make(root: &Path) -> Result<String, String> {
    command_page::printed(root, "help-roles")
}
