//! `cargo xtask fuzz`: any bytes through every parser, as long as one likes.
//!
//! The targets lie in `fuzz/`, outside of the workspace. They are built by the stable compiler with the counters that the fuzzer
//! steers by; the seeds are the nasties that the tests of the instruments' files generate. What a target dies of is kept below
//! `target/fuzz/found/`, and the input is tried again by naming it to the program of the target.

use std::path::{Path, PathBuf};
use std::process::Command;

/// What was asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Asked {
    /// Targets; all where none is named.
    pub targets: Vec<String>,
    /// How long each runs.
    pub seconds: u32,
}

/// The flags of the compiler: coverage by counters of one byte, as the fuzzer reads them.
const FLAGS: &str = "--cfg fuzzing -Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 \
                     -Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table \
                     -Ccodegen-units=1 -Cdebug-assertions";

/// The processor it is built for; naming it keeps the flags away from build scripts.
const TARGET: &str = "x86_64-unknown-linux-gnu";

/// Reads the arguments behind `fuzz`; `None` where one is not known.
pub fn asked(arguments: &[&str]) -> Option<Asked> {
    let mut asked = Asked { targets: Vec::new(), seconds: 60 };
    let mut arguments = arguments.iter();
    while let Some(argument) = arguments.next() {
        match *argument {
            "--seconds" => asked.seconds = arguments.next()?.parse().ok()?,
            name if name.starts_with('-') => return None,
            name => asked.targets.push(name.to_owned()),
        }
    }
    Some(asked)
}

/// The targets there are: the files of `fuzz/targets`.
///
/// # Errors
/// Why the folder cannot be read.
pub fn targets(root: &Path) -> Result<Vec<String>, String> {
    let listed = std::fs::read_dir(root.join("fuzz/targets")).map_err(|fault| format!("fuzz/targets: {fault}"))?;
    let mut names: Vec<String> =
        listed.flatten().filter_map(|entry| Some(entry.path().file_stem()?.to_string_lossy().into_owned())).collect();
    names.sort();
    Ok(names)
}

/// Builds the targets, writes the seeds and lets each run.
///
/// # Errors
/// Names the targets that died, and where their input lies.
pub fn run(root: &Path, asked: &Asked) -> Result<(), String> {
    let all = targets(root)?;
    if let Some(unknown) = asked.targets.iter().find(|name| !all.contains(name)) {
        return Err(format!("there is no target {unknown}; there are {}", all.join(", ")));
    }
    let chosen = if asked.targets.is_empty() { all } else { asked.targets.clone() };
    let built = root.join("target/fuzz");
    let mut build = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    build
        .args(["build", "--release", "--target", TARGET, "--manifest-path", "fuzz/Cargo.toml", "--target-dir"])
        .arg(&built)
        .args(["--bin", "seeds"])
        .args(chosen.iter().flat_map(|name| ["--bin", name]))
        .env("RUSTFLAGS", FLAGS)
        .current_dir(root);
    succeeded(&mut build, "the targets do not build")?;
    let programs = built.join(TARGET).join("release");
    let seeds = built.join("seeds");
    succeeded(Command::new(programs.join("seeds")).arg(root).arg(&seeds), "the seeds cannot be written")?;
    let mut died = Vec::new();
    for name in &chosen {
        println!("== {name}, {} s", asked.seconds);
        let (grown, found): (PathBuf, PathBuf) = (built.join("corpus").join(name), built.join("found").join(name));
        let of_target = seeds.join(name);
        for folder in [&grown, &found, &of_target] {
            std::fs::create_dir_all(folder).map_err(|fault| format!("{}: {fault}", folder.display()))?;
        }
        let status = Command::new(programs.join(name))
            .arg(format!("-max_total_time={}", asked.seconds))
            .arg(format!("-artifact_prefix={}/", found.display()))
            .args(["-rss_limit_mb=3000", "-timeout=20", "-print_final_stats=1", "-verbosity=0"])
            .args([&grown, &of_target])
            .current_dir(root)
            .status()
            .map_err(|fault| format!("{name} does not start: {fault}"))?;
        if !status.success() {
            died.push(format!("{name} ({})", found.display()));
        }
    }
    if died.is_empty() { Ok(()) } else { Err(format!("these died, their input lies there: {}", died.join(", "))) }
}

fn succeeded(command: &mut Command, what: &str) -> Result<(), String> {
    let status = command.status().map_err(|fault| format!("{what}: {fault}"))?;
    if status.success() { Ok(()) } else { Err(what.to_owned()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn targets_and_seconds_may_stand_in_any_order() {
        let wanted = Asked { targets: vec!["order".into()], seconds: 5 };
        assert_eq!(asked(&["--seconds", "5", "order"]), Some(wanted.clone()));
        assert_eq!(asked(&["order", "--seconds", "5"]), Some(wanted));
        assert_eq!(asked(&["--minutes", "5"]), None);
    }

    #[test]
    fn every_target_is_a_program_of_the_manifest() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
        let manifest = std::fs::read_to_string(root.join("fuzz/Cargo.toml")).unwrap();
        let names = targets(root).unwrap();
        assert!(names.len() >= 15, "{names:?}");
        for name in names {
            assert!(manifest.contains(&format!("name = \"{name}\"\npath = \"targets/{name}.rs\"")), "{name}");
        }
    }
}
