//! The rules of a bag: what has to be there, what has to be listed, what has to agree.

use std::collections::{BTreeMap, BTreeSet};

use super::manifest::{self, Algorithm};
use super::{Bag, BagFault, DECLARATION, OXUM, oxum, path};

/// Checks the files of a bag.
///
/// # Source
/// RFC 8493 (2018): 2.1.1 declaration, 2.1.3 payload manifests, 2.2.1 tag manifests, 2.2.2 bag-info, 3 complete and valid.
pub(crate) fn check(files: &BTreeMap<String, Vec<u8>>) -> (Bag, Vec<BagFault>) {
    let mut faults: Vec<BagFault> = files.keys().filter_map(|name| path::fault(name)).collect();
    declaration(files, &mut faults);
    if files.contains_key("fetch.txt") {
        faults.push(BagFault::TagFile {
            file: "fetch.txt".into(),
            line: 1,
            what: "files are to be fetched from elsewhere; a data package is whole".into(),
        });
    }
    let payload: BTreeMap<&str, &Vec<u8>> =
        files.iter().filter_map(|(name, bytes)| Some((name.strip_prefix("data/")?, bytes))).collect();
    let mut n_manifests = 0;
    for (name, bytes) in files {
        let Some((is_of_tags, algorithm)) = manifest_name(name) else {
            continue;
        };
        let Some(algorithm) = Algorithm::named(algorithm) else {
            faults.push(BagFault::TagFile {
                file: name.clone(),
                line: 1,
                what: "digests of this kind cannot be checked here; SHA-256 and SHA-512 can".into(),
            });
            continue;
        };
        let listed = manifest::read(name, bytes, &mut faults);
        for line in &listed {
            let is_payload = line.path.starts_with("data/");
            if is_payload == is_of_tags || line.path.starts_with("tagmanifest-") {
                let what = format!("\"{}\" has no place in this manifest", line.path);
                faults.push(BagFault::TagFile { file: name.clone(), line: 1, what });
                continue;
            }
            match files.get(&line.path) {
                None => faults.push(BagFault::ListedMissing { path: line.path.clone(), manifest: name.clone() }),
                Some(bytes) if algorithm.digest(bytes) != line.digest => {
                    faults.push(BagFault::Digest { path: line.path.clone(), manifest: name.clone() });
                }
                Some(_) => {}
            }
        }
        if !is_of_tags {
            n_manifests += 1;
            let listed: BTreeSet<&str> = listed.iter().filter_map(|line| line.path.strip_prefix("data/")).collect();
            let unlisted = payload.keys().filter(|path| !listed.contains(*path));
            faults.extend(
                unlisted.map(|path| BagFault::Unlisted { path: format!("data/{path}"), manifest: name.clone() }),
            );
        }
    }
    if n_manifests == 0 {
        faults.push(BagFault::Missing { path: manifest::MANIFEST.into() });
    }
    let info = match files.get("bag-info.txt") {
        Some(bytes) => info(bytes, &payload, &mut faults),
        None => Vec::new(),
    };
    let payload = payload.into_iter().map(|(path, bytes)| (path.to_owned(), bytes.clone())).collect();
    (Bag { payload, info }, faults)
}

/// Whether a file is a manifest: of tag files or of the payload, and by which digest.
fn manifest_name(name: &str) -> Option<(bool, &str)> {
    let name = name.strip_suffix(".txt")?;
    name.strip_prefix("tagmanifest-")
        .map(|rest| (true, rest))
        .or(name.strip_prefix("manifest-").map(|rest| (false, rest)))
}

fn declaration(files: &BTreeMap<String, Vec<u8>>, faults: &mut Vec<BagFault>) {
    let Some(bytes) = files.get("bagit.txt") else {
        faults.push(BagFault::Missing { path: "bagit.txt".into() });
        return;
    };
    let text = String::from_utf8_lossy(bytes);
    let mut found = text.lines();
    for (place, wanted) in DECLARATION.lines().enumerate() {
        if found.next() != Some(wanted) {
            let what = format!("\"{wanted}\" is wanted here");
            faults.push(BagFault::TagFile { file: "bagit.txt".into(), line: place + 1, what });
        }
    }
    if found.next().is_some() {
        faults.push(BagFault::TagFile {
            file: "bagit.txt".into(),
            line: 3,
            what: "a declaration has two lines".into(),
        });
    }
}

/// Labels and values, without the sum of the payload, which is held against the payload.
fn info(bytes: &[u8], payload: &BTreeMap<&str, &Vec<u8>>, faults: &mut Vec<BagFault>) -> Vec<(String, String)> {
    let mut told = |line: usize, what: String| {
        faults.push(BagFault::TagFile { file: "bag-info.txt".into(), line, what });
    };
    let Ok(text) = std::str::from_utf8(bytes) else {
        told(1, "this file is not UTF-8".into());
        return Vec::new();
    };
    let mut info: Vec<(usize, String, String)> = Vec::new();
    for (place, line) in text.lines().enumerate() {
        if line.starts_with([' ', '\t'])
            && let Some((_, _, value)) = info.last_mut()
        {
            value.push(' ');
            value.push_str(line.trim());
        } else if let Some((label, value)) = line.split_once(':') {
            info.push((place + 1, label.trim().to_owned(), value.trim().to_owned()));
        } else if !line.trim().is_empty() {
            told(place + 1, "a label, a colon and a value are wanted".into());
        }
    }
    let sum = oxum(payload.values().copied());
    for (line, _, value) in info.iter().filter(|(_, label, _)| label.eq_ignore_ascii_case(OXUM)) {
        if *value != sum {
            told(*line, format!("{OXUM} says {value}, the payload is {sum} (octets, full stop, files)"));
        }
    }
    info.into_iter()
        .filter(|(_, label, _)| !label.eq_ignore_ascii_case(OXUM))
        .map(|(_, label, value)| (label, value))
        .collect()
}
