//! `cargo xtask test`: everything that stands between a change and the main line.
//!
//! Steps run one after another and stream what they say; one that fails does not stop the others, so that one run tells
//! everything. Only missing tools end the run at once. `.ci/run` runs the same.

use std::fmt::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use crate::{docs, tidy, tools};

/// What is asked of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asked {
    /// Leaves out the tools and the release build.
    pub quick: bool,
    /// Prints the steps, runs none.
    pub dry_run: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Act {
    Tools,
    Tidy,
    Pages,
    Cargo(&'static str),
}

struct Step {
    name: &'static str,
    act: Act,
    /// Left out by `--quick`.
    slow: bool,
}

/// All steps. The tests in debug and in release must see the same bits; the crates that make them are light, so that
/// the release build stays short.
const STEPS: &[Step] = &[
    Step { name: "tools", act: Act::Tools, slow: true },
    Step { name: "format", act: Act::Cargo("fmt --all --check"), slow: false },
    Step {
        name: "lints",
        act: Act::Cargo("clippy --locked --workspace --all-targets --features xtask/accuracy -- --deny warnings"),
        slow: false,
    },
    Step { name: "tidy", act: Act::Tidy, slow: false },
    Step {
        name: "tests",
        act: Act::Cargo("test --locked --workspace --features xtask/accuracy --no-fail-fast"),
        slow: false,
    },
    Step {
        name: "release",
        act: Act::Cargo(
            "test --locked --release --no-fail-fast --package darkline-evaluation --package darkline-metrology",
        ),
        slow: true,
    },
    Step { name: "pages", act: Act::Pages, slow: false },
];

impl Act {
    fn said(self) -> String {
        match self {
            Act::Tools => "looks for the tools that tests call, installs what is missing".to_owned(),
            Act::Tidy => "cargo xtask tidy".to_owned(),
            Act::Pages => "cargo xtask docs --check".to_owned(),
            Act::Cargo(arguments) => format!("cargo {arguments}"),
        }
    }

    fn run(self, root: &Path) -> Result<(), String> {
        match self {
            Act::Tools => tools::bring(false),
            Act::Tidy => tidy::tell(root),
            Act::Pages => docs::check(root),
            Act::Cargo(arguments) => cargo(root, arguments),
        }
    }
}

/// Runs the steps and prints a summary.
///
/// # Errors
/// Names the steps that failed.
pub fn run(root: &Path, asked: Asked) -> Result<(), String> {
    let (steps, left_out): (Vec<&Step>, Vec<&Step>) = STEPS.iter().partition(|step| !(asked.quick && step.slow));
    let mut done: Vec<(&Step, Duration, Result<(), String>)> = Vec::new();
    for (index, step) in steps.iter().enumerate() {
        println!("== {} of {}  {}: {}", index + 1, steps.len(), step.name, step.act.said());
        if asked.dry_run {
            if step.act == Act::Tools {
                tools::bring(true)?;
            }
            continue;
        }
        let start = Instant::now();
        let result = step.act.run(root);
        let took = start.elapsed();
        match &result {
            Ok(()) => println!("   passed in {}", seconds(took)),
            Err(fault) => println!("   failed after {}: {fault}", seconds(took)),
        }
        let is_hopeless = result.is_err() && step.act == Act::Tools;
        done.push((step, took, result));
        if is_hopeless {
            break;
        }
    }
    let left_out: Vec<&str> = left_out.iter().map(|step| step.name).collect();
    if asked.dry_run {
        if !left_out.is_empty() {
            println!("left out by --quick: {}", left_out.join(", "));
        }
        println!("nothing was run (--dry-run)");
        return Ok(());
    }
    let told: Vec<(&str, Duration, bool)> =
        done.iter().map(|(step, took, result)| (step.name, *took, result.is_ok())).collect();
    let not_reached: Vec<&str> = steps[done.len()..].iter().map(|step| step.name).collect();
    print!("{}", summary(&told, &not_reached, &left_out));
    let failed: Vec<&str> = told.iter().filter(|(_, _, passed)| !passed).map(|(name, ..)| *name).collect();
    if failed.is_empty() { Ok(()) } else { Err(format!("failed: {}", failed.join(", "))) }
}

/// The lines at the end.
fn summary(told: &[(&str, Duration, bool)], not_reached: &[&str], left_out: &[&str]) -> String {
    let mut out = String::from("\nsummary\n");
    // Writing to a String cannot fail.
    for (name, took, passed) in told {
        let _ = writeln!(out, "  {}  {:>9}  {name}", if *passed { "passed" } else { "FAILED" }, seconds(*took));
    }
    for name in not_reached {
        let _ = writeln!(out, "  not run             {name}");
    }
    if !left_out.is_empty() {
        let _ = writeln!(out, "  left out by --quick: {}", left_out.join(", "));
    }
    let total: Duration = told.iter().map(|(_, took, _)| *took).sum();
    let n_passed = told.iter().filter(|(_, _, passed)| *passed).count();
    let n_steps = told.len() + not_reached.len();
    let _ = writeln!(out, "{n_passed} of {n_steps} steps passed in {}", seconds(total));
    out
}

fn seconds(took: Duration) -> String {
    format!("{:.1} s", took.as_secs_f64())
}

/// Calls cargo with the streams of this process; snapshots are compared, never rewritten.
fn cargo(root: &Path, arguments: &str) -> Result<(), String> {
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.args(arguments.split(' ')).current_dir(root).env("INSTA_UPDATE", "no").env_remove("INSTA_FORCE_PASS");
    finished(&mut command)
}

/// Waits for a command that is asked nothing.
fn finished(command: &mut Command) -> Result<(), String> {
    let name = command.get_program().to_string_lossy().into_owned();
    match command.stdin(Stdio::null()).status() {
        Ok(status) if status.success() => Ok(()),
        Ok(status) => Err(format!("{name} ended with {status}")),
        Err(fault) => Err(format!("{name} does not start: {fault}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_summary_says_what_failed_and_what_was_not_run() {
        let told = [("tools", Duration::from_millis(100), true), ("format", Duration::from_millis(1900), false)];
        assert_eq!(
            summary(&told, &["lints"], &["release"]),
            "\nsummary\n  passed      0.1 s  tools\n  FAILED      1.9 s  format\n  not run             lints\n  \
             left out by --quick: release\n1 of 3 steps passed in 2.0 s\n"
        );
    }

    #[test]
    fn quick_leaves_out_what_is_slow_and_nothing_else() {
        let slow: Vec<&str> = STEPS.iter().filter(|step| step.slow).map(|step| step.name).collect();
        assert_eq!(slow, ["tools", "release"]);
    }

    #[test]
    fn pages_are_checked_after_the_program_was_built() {
        let place = |name: &str| STEPS.iter().position(|step| step.name == name).unwrap();
        assert!(place("tests") < place("pages"));
    }

    #[test]
    fn a_command_that_fails_or_is_missing_is_told_by_its_name() {
        let run = |name: &str| finished(&mut Command::new(name));
        assert_eq!(run("true"), Ok(()));
        assert_eq!(run("false"), Err("false ended with exit status: 1".to_owned()));
        assert!(run("darkline-no-such-command").unwrap_err().starts_with("darkline-no-such-command does not start"));
    }
}
