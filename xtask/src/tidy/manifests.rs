//! Manifests: each says in one sentence what its crate knows, and takes the lints of the house.
//!
//! The lints are what keeps std's transcendentals and unsafe code out; a crate that forgot them would not be asked.

use crate::finding::Finding;
use crate::house::House;

/// Tells manifests without a sentence or without the lints.
pub fn check(house: &House) -> Vec<Finding> {
    let mut findings = Vec::new();
    let manifests = house.crates().into_iter().map(|name| format!("crates/{name}/Cargo.toml"));
    for path in manifests.chain(["xtask/Cargo.toml".to_owned()]) {
        let Some(text) = house.text(&path) else {
            continue;
        };
        let Ok(manifest) = text.parse::<toml::Table>() else {
            findings.push(Finding::at(path, "cannot be read as TOML"));
            continue;
        };
        let sentence = manifest.get("package").and_then(|package| package.get("description")?.as_str());
        if sentence.is_none_or(str::is_empty) {
            findings.push(Finding::at(&path, "has no description; say in one sentence what the crate knows"));
        }
        let takes_lints = manifest.get("lints").and_then(|lints| lints.get("workspace")?.as_bool());
        if takes_lints != Some(true) {
            findings.push(Finding::at(
                &path,
                "does not take the lints of the house; write `[lints]` with `workspace = true`",
            ));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_manifest_has_a_sentence_and_the_lints() {
        let good = "[package]\ndescription = \"A pulse.\"\n[lints]\nworkspace = true\n";
        assert_eq!(check(&House::made_up(&[("crates/signal/Cargo.toml", good)])), []);
        let bad = "[package]\nname = \"a\"\n";
        assert_eq!(check(&House::made_up(&[("crates/signal/Cargo.toml", bad)])).len(), 2);
        assert_eq!(check(&House::made_up(&[("crates/signal/Cargo.toml", "[")])).len(), 1);
    }
}
