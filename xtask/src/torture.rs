//! `cargo xtask torture`: ten thousand kills, where an ordinary test run has five hundred.
//!
//! The same tests run with a factor: writers of the trail in their own process, then the whole program while it imports,
//! signs, issues and archives. It takes an hour or so, most of it waiting for the disk.

use std::path::Path;
use std::process::Command;

/// Tests and how many times as many kills: 420 × 24 of the trail, 80 × 6 of the program.
const PARTS: [(&str, &str, &str, u32); 2] =
    [("darkline-audit-trail", "trail", "kill::", 24), ("darkline-cli", "bench", "killed::", 6)];

/// Runs the tests with their factors.
///
/// # Errors
/// Names the tests that failed.
pub fn run(root: &Path) -> Result<(), String> {
    let mut failed = Vec::new();
    for (package, binary, tests, factor) in PARTS {
        println!("== {package}: {tests} {factor} times");
        let status = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()))
            .args(["test", "--locked", "--package", package, "--test", binary, "--", tests, "--nocapture"])
            .env("DARKLINE_TORTURE", factor.to_string())
            .current_dir(root)
            .status()
            .map_err(|fault| format!("cargo does not start: {fault}"))?;
        if !status.success() {
            failed.push(package);
        }
    }
    if failed.is_empty() { Ok(()) } else { Err(format!("failed: {}", failed.join(", "))) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_are_ten_thousand_kills() {
        let [trail, program] = PARTS.map(|(.., factor)| factor);
        assert!(420 * trail + 80 * program >= 10_000);
    }
}
