//! No case of the uncertainty pack is left over, and none is held twice in this crate.
//!
//! A runner is a folder of integration tests. It claims a case by reading it, the path of the case in its source, so that
//! the list of claims is the tests themselves. Other crates may read a case as well, or take it over.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// The folders in a folder, or its files.
fn within(folder: &Path, keep: fn(&Path) -> bool) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let mut found: Vec<PathBuf> = entries.map(|entry| entry.expect("a readable folder").path()).collect();
    found.retain(|path| keep(path));
    found.sort();
    found
}

/// The cases named in the sources below a folder.
fn claims(folder: &Path, found: &mut BTreeSet<String>) {
    for file in within(folder, |path| path.extension().is_some_and(|extension| extension == "rs")) {
        let source = fs::read_to_string(&file).expect("a readable source");
        for rest in source.split("\"uncertainty/").skip(1) {
            if let Some((name, _)) = rest.split_once(".toml\"") {
                found.insert(name.to_owned());
            }
        }
    }
    for folder in within(folder, Path::is_dir) {
        claims(&folder, found);
    }
}

#[test]
fn every_case_of_the_pack_is_held_and_only_once_in_this_crate() {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let root = here.join("../..");
    let is_case = |path: &Path| path.extension().is_some_and(|extension| extension == "toml");
    let mut runners: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
    for case in within(&root.join("reference/uncertainty"), is_case) {
        runners.insert(case.file_stem().expect("a name").to_string_lossy().into_owned(), Vec::new());
    }
    assert!(runners.len() >= 63, "the pack has 62 cases and one of our own, {} found", runners.len());
    for member in within(&root.join("crates"), Path::is_dir) {
        for runner in within(&member.join("tests"), Path::is_dir) {
            let mut named = BTreeSet::new();
            claims(&runner, &mut named);
            let runner = runner.strip_prefix(&root).expect("a folder of the workspace");
            for name in named {
                match runners.get_mut(&name) {
                    Some(holders) => holders.push(runner.to_owned()),
                    None => {
                        panic!("{} reads the case {name}, which reference/uncertainty does not have", runner.display())
                    }
                }
            }
        }
    }
    for (name, holders) in &runners {
        assert!(!holders.is_empty(), "nobody reads {name}");
        let ours = holders.iter().filter(|runner| runner.starts_with("crates/metrology")).count();
        assert!(ours <= 1, "{name} is held by {holders:?}; one runner of a crate is enough");
    }
}
