//! Lists the case files that ship in the program, with their texts.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, io};

/// The packs that hold cases.
const PACKS: &[&str] = &["calibration", "handbook", "limits", "physics", "quality", "records", "uncertainty"];

fn main() -> io::Result<()> {
    let reference = PathBuf::from(env::var("CARGO_MANIFEST_DIR").map_err(io::Error::other)?).join("../../reference");
    let mut list = String::from("&[\n");
    for pack in PACKS {
        let folder = reference.join(pack);
        println!("cargo::rerun-if-changed={}", folder.display());
        add(&folder, pack, &mut list)?;
    }
    list.push(']');
    let out = PathBuf::from(env::var("OUT_DIR").map_err(io::Error::other)?);
    fs::write(out.join("shipped.rs"), list)
}

/// Adds the files of a folder and the folders in it, by name.
fn add(folder: &Path, name: &str, list: &mut String) -> io::Result<()> {
    let mut entries: Vec<PathBuf> =
        fs::read_dir(folder)?.map(|entry| entry.map(|entry| entry.path())).collect::<Result<_, _>>()?;
    entries.sort();
    for path in entries {
        let Some(last) = path.file_name().and_then(|last| last.to_str()) else { continue };
        let name = format!("{name}/{last}");
        if path.is_dir() {
            println!("cargo::rerun-if-changed={}", path.display());
            add(&path, &name, list)?;
        } else if matches!(path.extension().and_then(|end| end.to_str()), Some("toml" | "csv")) {
            let path = path.canonicalize()?;
            writeln!(list, "({name:?}, include_str!({:?})),", path.display().to_string()).map_err(io::Error::other)?;
        }
    }
    Ok(())
}
