//! The packages of the workspace and everything they stand on, as `cargo metadata` tells it.
//!
//! What is built on this platform is looked at; packages that only another platform needs are not downloaded for it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

use serde_json::Value;

/// How one package needs another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Need {
    /// To run.
    Run,
    /// To be built.
    Build,
    /// For tests, examples and benchmarks only.
    Test,
}

/// One dependency as a manifest states it.
#[derive(Debug, Clone)]
pub struct Dependency {
    /// Name of the package wanted.
    pub name: String,
    /// Version wanted, as in the manifest: `=0.2.16`, `^1`.
    pub wanted: String,
    /// What it is needed for.
    pub need: Need,
}

/// One package.
#[derive(Debug, Clone, Default)]
pub struct Package {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
    /// The licence expression of its manifest.
    pub licence: Option<String>,
    /// Name of the folder it lies in: `audit_trail` for `darkline-audit-trail`.
    pub folder: String,
    /// Whether it is one of ours.
    pub ours: bool,
    /// Whether something we ship stands on it, or only our tests do.
    pub shipped: bool,
    /// Its dependencies as stated.
    pub dependencies: Vec<Dependency>,
    /// The features it is built with.
    pub features: Vec<String>,
}

/// All packages, ours first by name, then the others.
#[derive(Debug, Default)]
pub struct Packages(pub Vec<Package>);

impl Packages {
    /// Asks cargo.
    ///
    /// # Errors
    /// Cargo's own words when it refuses, for example because `Cargo.lock` does not fit the manifests.
    pub fn ask(root: &Path) -> Result<Self, String> {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let output = Command::new(cargo)
            .args(["metadata", "--format-version", "1", "--locked", "--filter-platform", &host()?])
            .current_dir(root)
            .output()
            .map_err(|fault| format!("cargo metadata does not start: {fault}"))?;
        if !output.status.success() {
            return Err(format!("cargo metadata: {}", String::from_utf8_lossy(&output.stderr).trim()));
        }
        let told = serde_json::from_slice(&output.stdout).map_err(|fault| format!("cargo metadata: {fault}"))?;
        Self::read(&told).ok_or_else(|| "cargo metadata tells something else than it used to".to_owned())
    }

    /// Ours only.
    pub fn ours(&self) -> impl Iterator<Item = &Package> {
        self.0.iter().filter(|package| package.ours)
    }

    fn read(told: &Value) -> Option<Self> {
        let ours: BTreeSet<&str> = told["workspace_members"].as_array()?.iter().filter_map(Value::as_str).collect();
        let mut edges: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        let mut features: BTreeMap<&str, Vec<String>> = BTreeMap::new();
        for node in told["resolve"]["nodes"].as_array()? {
            let id = node["id"].as_str()?;
            features
                .insert(id, node["features"].as_array()?.iter().filter_map(Value::as_str).map(str::to_owned).collect());
            for edge in node["deps"].as_array()? {
                let beyond_tests = edge["dep_kinds"].as_array()?.iter().any(|kind| kind["kind"] != "dev");
                if beyond_tests {
                    edges.entry(id).or_default().push(edge["pkg"].as_str()?);
                }
            }
        }
        let shipped = reached(&ours, &edges);
        let mut packages = Vec::new();
        for package in told["packages"].as_array()? {
            let id = package["id"].as_str()?;
            let mut dependencies = Vec::new();
            for dependency in package["dependencies"].as_array()? {
                dependencies.push(Dependency {
                    name: dependency["name"].as_str()?.to_owned(),
                    wanted: dependency["req"].as_str()?.to_owned(),
                    need: match dependency["kind"].as_str() {
                        Some("dev") => Need::Test,
                        Some("build") => Need::Build,
                        _ => Need::Run,
                    },
                });
            }
            packages.push(Package {
                name: package["name"].as_str()?.to_owned(),
                version: package["version"].as_str()?.to_owned(),
                licence: package["license"].as_str().map(str::to_owned),
                folder: Path::new(package["manifest_path"].as_str()?).parent()?.file_name()?.to_str()?.to_owned(),
                ours: ours.contains(id),
                shipped: shipped.contains(id),
                dependencies,
                features: features.remove(id).unwrap_or_default(),
            });
        }
        packages.sort_by(|a, b| (!a.ours, &a.name, &a.version).cmp(&(!b.ours, &b.name, &b.version)));
        Some(Self(packages))
    }
}

/// Everything that can be reached from our packages without going through a dependency for tests.
fn reached<'a>(ours: &BTreeSet<&'a str>, edges: &BTreeMap<&'a str, Vec<&'a str>>) -> BTreeSet<&'a str> {
    let mut reached = BTreeSet::new();
    let mut open: Vec<&str> = ours.iter().copied().collect();
    while let Some(id) = open.pop() {
        if reached.insert(id) {
            open.extend(edges.get(id).into_iter().flatten());
        }
    }
    reached
}

/// The platform of this compiler, such as `x86_64-unknown-linux-gnu`.
fn host() -> Result<String, String> {
    let rustc = std::env::var_os("RUSTC").unwrap_or_else(|| "rustc".into());
    let output = Command::new(rustc).arg("-vV").output().map_err(|fault| format!("rustc does not start: {fault}"))?;
    String::from_utf8_lossy(&output.stdout)
        .lines()
        .find_map(|line| line.strip_prefix("host: "))
        .map(str::to_owned)
        .ok_or_else(|| "rustc -vV names no host".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn what_only_tests_need_is_not_shipped() {
        let package = |id: &str, dependencies: Value| {
            json!({ "id": id, "name": id, "version": "1.0.0", "license": "MIT", "dependencies": dependencies,
                    "manifest_path": format!("/x/crates/{id}/Cargo.toml") })
        };
        let edge = |to: &str, kind: Value| json!({ "pkg": to, "dep_kinds": [{ "kind": kind }] });
        let told = json!({
            "workspace_members": ["ours"],
            "packages": [
                package("law", json!([])),
                package("below", json!([])),
                package("ours", json!([
                    { "name": "below", "req": "=1.0.0", "kind": null },
                    { "name": "law", "req": "^1", "kind": "dev" },
                ])),
            ],
            "resolve": { "nodes": [
                { "id": "ours", "features": [], "deps": [edge("below", json!(null)), edge("law", json!("dev"))] },
                { "id": "law", "features": ["std"], "deps": [] },
                { "id": "below", "features": [], "deps": [] },
            ] },
        });
        let packages = Packages::read(&told).unwrap();
        let told: Vec<(&str, bool, bool)> =
            packages.0.iter().map(|package| (package.name.as_str(), package.ours, package.shipped)).collect();
        assert_eq!(told, [("ours", true, true), ("below", false, true), ("law", false, false)]);
        assert_eq!(packages.0[0].dependencies[1].need, Need::Test);
        assert_eq!(packages.0[0].dependencies[0].wanted, "=1.0.0");
        assert_eq!(packages.0[2].features, ["std"]);
    }
}
