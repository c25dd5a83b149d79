//! The corpus: data packages with pinned digests, and the published example among them.

#![allow(clippy::unwrap_used, reason = "what a test rests on may end it")]

mod bad_input;
mod digests;
mod live;
mod quam_a5;
mod rules;

use std::error::Error;
use std::path::{Path, PathBuf};

use darkline_record::decision::Decision;
use darkline_record::package::DataPackage;
use serde::Deserialize;

/// A package with its decisions.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Held {
    package: DataPackage,
    decisions: Vec<Decision>,
}

/// What it gives.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Pinned {
    name: String,
    edition: u32,
    package: String,
    outcome: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Digests {
    held: Vec<Pinned>,
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn held(name: &str) -> Result<Held, Box<dyn Error>> {
    let text = std::fs::read_to_string(root().join("corpus").join(format!("{name}.json")))?;
    Ok(serde_json::from_str(&text)?)
}

fn pinned() -> Result<Vec<Pinned>, Box<dyn Error>> {
    let text = std::fs::read_to_string(root().join("corpus/digests.toml"))?;
    Ok(toml::from_str::<Digests>(&text)?.held)
}
