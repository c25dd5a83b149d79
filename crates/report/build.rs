//! The setting of reports: digits over everything that decides which bytes a report gets, so that builds that set other
//! bytes are told apart although their version is the same.

use std::fs;
use std::path::{Path, PathBuf};

/// Crates whose code decides what a report says or how it looks.
const DECIDING: [&str; 7] = ["metrology", "record", "signal", "calibration", "quality", "evaluation", "report"];

fn main() {
    let crates = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut files = Vec::new();
    for name in DECIDING {
        let folder = crates.join(name).join("src");
        println!("cargo:rerun-if-changed={}", folder.display());
        gather(&folder, &mut files);
    }
    files.sort();
    let mut digits = Digits::new();
    for file in &files {
        digits.take(file.strip_prefix(&crates).unwrap_or(file).to_string_lossy().replace('\\', "/").as_bytes());
        digits.take(&fs::read(file).unwrap_or_default());
    }
    // Typesetting and compression are not ours, but decide as well.
    let lock = crates.join("../Cargo.lock");
    println!("cargo:rerun-if-changed={}", lock.display());
    let lock = fs::read_to_string(lock).unwrap_or_default();
    for package in lock.split("[[package]]").filter(|package| {
        ["typst", "flate2", "zlib-rs", "krilla"].iter().any(|name| package.contains(&format!("name = \"{name}")))
    }) {
        digits.take(package.trim().as_bytes());
    }
    println!("cargo:rustc-env=DARKLINE_SETTING={:016x}{:016x}", digits.0[0], digits.0[1]);
}

fn gather(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() { gather(&path, files) } else { files.push(path) }
    }
}

/// Two FNV-1a hashes from different beginnings: an identity, no proof; the report is held by its SHA-256.
struct Digits([u64; 2]);

impl Digits {
    fn new() -> Self {
        Self([0xcbf2_9ce4_8422_2325, 0x9e37_79b9_7f4a_7c15])
    }

    fn take(&mut self, bytes: &[u8]) {
        // The length as well: no byte moves from one file to the next unseen.
        for byte in bytes.len().to_le_bytes().iter().chain(bytes) {
            for hash in &mut self.0 {
                *hash = (*hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
            }
        }
    }
}
