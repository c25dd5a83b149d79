//! Manifests: a digest and a path a line.

use std::fmt::Write as _;

use sha2::{Digest as _, Sha256, Sha512};

use super::{BagFault, path};

pub(crate) const MANIFEST: &str = "manifest-sha512.txt";
pub(crate) const TAG_MANIFEST: &str = "tagmanifest-sha512.txt";

/// The digests a bag is checked with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Algorithm {
    Sha256,
    Sha512,
}

impl Algorithm {
    /// The algorithm with this name in a file name.
    pub(crate) fn named(name: &str) -> Option<Self> {
        match name {
            "sha256" => Some(Algorithm::Sha256),
            "sha512" => Some(Algorithm::Sha512),
            _ => None,
        }
    }

    /// The digest in hexadecimal digits.
    pub(crate) fn digest(self, bytes: &[u8]) -> String {
        let hex = |digest: &[u8]| {
            digest.iter().fold(String::new(), |mut text, byte| {
                write!(text, "{byte:02x}").expect("a text takes all that is written");
                text
            })
        };
        match self {
            Algorithm::Sha256 => hex(&Sha256::digest(bytes)),
            Algorithm::Sha512 => hex(&Sha512::digest(bytes)),
        }
    }
}

/// One line of a manifest.
pub(crate) struct Listed {
    pub(crate) digest: String,
    pub(crate) path: String,
}

/// Writes a manifest of files.
pub(crate) fn write<'f>(files: impl Iterator<Item = (&'f String, &'f Vec<u8>)>, algorithm: Algorithm) -> String {
    files.map(|(path, bytes)| format!("{}  {}\n", algorithm.digest(bytes), encoded(path))).collect()
}

/// Reads a manifest; lines that are none are told.
pub(crate) fn read(name: &str, bytes: &[u8], faults: &mut Vec<BagFault>) -> Vec<Listed> {
    let mut told = |line: usize, what: &str| {
        faults.push(BagFault::TagFile { file: name.into(), line, what: what.into() });
    };
    let Ok(text) = std::str::from_utf8(bytes) else {
        told(1, "this file is not UTF-8");
        return Vec::new();
    };
    let mut listed: Vec<Listed> = Vec::new();
    for (place, line) in text.lines().enumerate() {
        let Some((digest, path)) = line.split_once([' ', '\t']) else {
            told(place + 1, "a digest and a path, with blanks between them, are wanted");
            continue;
        };
        let path = decoded(path.trim_start_matches([' ', '\t', '*']));
        if digest.is_empty() || !digest.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            told(place + 1, "the digest is not hexadecimal");
            continue;
        }
        if path::fault(&path).is_some() {
            told(place + 1, "the path leads out of the bag, or cannot be stored");
            continue;
        }
        listed.push(Listed { digest: digest.to_ascii_lowercase(), path });
    }
    let mut seen = std::collections::BTreeSet::new();
    for Listed { path, .. } in &listed {
        if !seen.insert(path) {
            told(1, &format!("\"{path}\" is listed twice"));
        }
    }
    listed
}

/// Line breaks and the per cent sign are written by their code.
///
/// # Source
/// RFC 8493 (2018), 2.1.3.
fn encoded(path: &str) -> String {
    path.replace('%', "%25").replace('\n', "%0A").replace('\r', "%0D")
}

fn decoded(path: &str) -> String {
    let mut decoded = String::with_capacity(path.len());
    let mut rest = path;
    while let Some(place) = rest.find('%') {
        decoded.push_str(&rest[..place]);
        let (sign, length) = match rest.get(place..place + 3) {
            Some("%0A" | "%0a") => ('\n', 3),
            Some("%0D" | "%0d") => ('\r', 3),
            Some("%25") => ('%', 3),
            _ => ('%', 1),
        };
        decoded.push(sign);
        rest = &rest[place + length..];
    }
    decoded.push_str(rest);
    decoded
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_with_a_line_break_stands_on_one_line() {
        for path in ["a\nb", "a\rb", "100%", "%0A", "%250A"] {
            let encoded = encoded(path);
            assert!(!encoded.contains(['\n', '\r']));
            assert_eq!(decoded(&encoded), path);
        }
    }
}
