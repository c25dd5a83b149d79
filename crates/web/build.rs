//! Puts the documents of `docs` into the pages: whatever stands in its folders is served, without a list to keep.

use std::fmt::Write as _;
use std::path::Path;

/// In the order in which somebody new reads them.
const FOLDERS: [&str; 4] = ["tutorial", "how-to", "reference", "explanation"];

fn main() {
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs");
    let mut list = String::from("&[\n");
    for folder in FOLDERS {
        let path = docs.join(folder);
        println!("cargo::rerun-if-changed={}", path.display());
        let mut names: Vec<String> = std::fs::read_dir(&path)
            .expect("the folders of docs are in the repository")
            .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
            // What a folder says about itself is no document of its own.
            .filter(|name| name.ends_with(".md") && name != "README.md")
            .collect();
        names.sort();
        for name in names {
            let file = path.join(&name);
            let _ = writeln!(list, "    ({folder:?}, {:?}, include_str!({file:?})),", name.trim_end_matches(".md"));
        }
    }
    list.push(']');
    let out = std::env::var("OUT_DIR").expect("cargo says where");
    std::fs::write(Path::new(&out).join("documents.rs"), list).expect("cargo's folder can be written");
}
