//! The archive of a data package: a bag (BagIt 1.0) in one uncompressed zip, the same content always the same bytes.
//!
//! [`write`] packs, [`read`] checks everything and unpacks. [`check`] checks the files of any bag, also one that another tool
//! has made.
//!
//! Nothing in an archive is left unguarded: digests cover the files, and at last the whole archive is held against what
//! [`write`] makes of its content, byte for byte. So one flipped bit anywhere is found, in a header or a time stamp too.
//! That is why the layout of the zip is written here and not by a library, whose next version may write it otherwise.
//!
//! Invariant: nothing is unpacked to disk here, and no file of a bag has a path that leads out of it.

mod archive;
mod manifest;
mod path;
mod structure;

use std::collections::BTreeMap;
use std::fmt;

use self::manifest::{Algorithm, MANIFEST, TAG_MANIFEST};

/// The content of a bag.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Bag {
    /// The files below `data/`, by their path there.
    pub payload: BTreeMap<String, Vec<u8>>,
    /// What `bag-info.txt` says, label and value, without `Payload-Oxum`, which follows from the payload.
    pub info: Vec<(String, String)>,
}

/// Something about a bag that is not as it should be.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BagFault {
    /// The bytes do not begin as an archive does.
    #[error("this is no archive of Darkline: it does not begin with the head of a file")]
    NoArchive,
    /// The archive ends too early.
    #[error("the archive ends at byte {length}, within {part}")]
    Cut {
        /// Its length.
        length: usize,
        /// Where it ends.
        part: String,
    },
    /// A byte of the layout differs.
    #[error("byte {offset} of the archive, in {part}, differs from what was written")]
    Layout {
        /// The first byte that differs, from 0.
        offset: usize,
        /// What stands there.
        part: String,
    },
    /// A head states two lengths of a file that is stored as it is.
    #[error("the two lengths in {part}, at byte {packed} and byte {unpacked} of the archive, disagree")]
    Lengths {
        /// Which head.
        part: String,
        /// The byte of the packed length.
        packed: usize,
        /// The byte of the unpacked length.
        unpacked: usize,
    },
    /// Head and directory say two things about a file.
    #[error(
        "the head of \"{path}\", at byte {in_head} of the archive, and its directory, at byte {in_directory}, disagree"
    )]
    Disagree {
        /// The file, as its head names it.
        path: String,
        /// The byte in its head.
        in_head: usize,
        /// The byte in the directory.
        in_directory: usize,
    },
    /// The bytes of a file do not have the check sum that its head states.
    #[error(
        "\"{path}\", whose head is at byte {head} and whose content begins at byte {offset}, does not have its check sum"
    )]
    CheckSum {
        /// The file.
        path: String,
        /// Where its head begins.
        head: usize,
        /// Where its bytes begin.
        offset: usize,
    },
    /// Two files with one name.
    #[error("\"{path}\" is in the archive twice, the second time at byte {offset}")]
    Twice {
        /// The file.
        path: String,
        /// Where the second begins.
        offset: usize,
    },
    /// A path that leads out of the bag, or that not every machine can store.
    #[error("the path \"{path}\" {why}")]
    Path {
        /// The path.
        path: String,
        /// What is the matter with it.
        why: &'static str,
    },
    /// A file that must be there is not.
    #[error("\"{path}\" is missing")]
    Missing {
        /// The file.
        path: String,
    },
    /// A file that stands in a manifest is not there.
    #[error("\"{path}\" is listed in {manifest} and missing")]
    ListedMissing {
        /// The file.
        path: String,
        /// The manifest.
        manifest: String,
    },
    /// A file is there that stands in no manifest, or not in all of them.
    #[error("\"{path}\" is not listed in {manifest}")]
    Unlisted {
        /// The file.
        path: String,
        /// The manifest.
        manifest: String,
    },
    /// A file differs from what was packed.
    #[error("\"{path}\" differs from its digest in {manifest}")]
    Digest {
        /// The file.
        path: String,
        /// The manifest.
        manifest: String,
    },
    /// A line of a tag file says something else than it should.
    #[error("{file}, line {line}: {what}")]
    TagFile {
        /// The tag file.
        file: String,
        /// The line, from 1.
        line: usize,
        /// What is the matter.
        what: String,
    },
    /// More than the form of the archive can hold.
    #[error("{what} do not fit into one archive; part the data package")]
    TooLarge {
        /// What is too large.
        what: String,
    },
}

/// All faults of a bag.
///
/// Invariant: at least one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BagFaults(Vec<BagFault>);

impl BagFaults {
    /// The faults.
    pub fn listed(&self) -> &[BagFault] {
        &self.0
    }
}

impl fmt::Display for BagFaults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, fault) in self.0.iter().enumerate() {
            if place > 0 {
                f.write_str("\n")?;
            }
            f.write_str(&crate::fault::printable(&fault.to_string()))?;
        }
        Ok(())
    }
}

impl std::error::Error for BagFaults {}

const DECLARATION: &str = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";
const OXUM: &str = "Payload-Oxum";

/// Packs a bag.
///
/// # Arguments
/// * `payload`: files by their path below `data/`.
/// * `info`: lines of `bag-info.txt`, label and value, in this order; `Payload-Oxum` is added. The value of
///   `External-Identifier`, where it is one word, names the folder that the archive unpacks into.
///
/// # Errors
/// A path or a line of `info` that cannot be written so that it reads back; more than 4 GiB or 65 535 files.
///
/// # Source
/// RFC 8493 (2018), 2.1, 2.2 and 4. Checked by `tests/published/bagit.rs`.
pub fn write(payload: &BTreeMap<String, Vec<u8>>, info: &[(String, String)]) -> Result<Vec<u8>, BagFaults> {
    let mut faults = Vec::new();
    for path in payload.keys() {
        faults.extend(path::fault(path));
    }
    let info: Vec<&(String, String)> = info.iter().filter(|(label, _)| !label.eq_ignore_ascii_case(OXUM)).collect();
    for (line, (label, value)) in info.iter().enumerate() {
        let what = if label.is_empty() || label.trim() != label || label.contains([':', '\n', '\r']) {
            "a label is a few words without a colon"
        } else if value.trim() != value || value.contains(['\n', '\r']) {
            "a value stands on one line, without blanks at its ends"
        } else {
            continue;
        };
        faults.push(BagFault::TagFile { file: "bag-info.txt".into(), line: line + 1, what: what.into() });
    }
    if !faults.is_empty() {
        return Err(BagFaults(faults));
    }
    let mut files: BTreeMap<String, Vec<u8>> =
        payload.iter().map(|(path, bytes)| (format!("data/{path}"), bytes.clone())).collect();
    let mut text: String = info.iter().map(|(label, value)| format!("{label}: {value}\n")).collect();
    text.push_str(&format!("{OXUM}: {}\n", oxum(payload.values())));
    let manifest = manifest::write(files.iter(), Algorithm::Sha512);
    files.insert("bag-info.txt".into(), text.into_bytes());
    files.insert("bagit.txt".into(), DECLARATION.into());
    files.insert(MANIFEST.into(), manifest.into_bytes());
    let tags = files.iter().filter(|(path, _)| !path.starts_with("data/"));
    let tag_manifest = manifest::write(tags, Algorithm::Sha512);
    files.insert(TAG_MANIFEST.into(), tag_manifest.into_bytes());
    let base = base_of(&info);
    archive::write(files.iter().map(|(path, bytes)| (format!("{base}/{path}"), bytes.as_slice())))
        .map_err(|fault| BagFaults(vec![fault]))
}

/// Unpacks an archive after checking all of it.
///
/// # Errors
/// Everything that differs from what [`write`] has written, with the file or the part of the archive, and the byte.
pub fn read(bytes: &[u8]) -> Result<Bag, BagFaults> {
    let entries = archive::read(bytes).map_err(BagFaults)?;
    let mut faults = Vec::new();
    let mut files = BTreeMap::new();
    let mut base = None;
    for entry in entries {
        let (own_base, path) = entry.name.split_once('/').unwrap_or(("", &entry.name));
        if own_base.is_empty() || *base.get_or_insert_with(|| own_base.to_owned()) != own_base {
            faults.push(BagFault::Path { path: entry.name.clone(), why: "lies beside the one folder of the bag" });
            continue;
        }
        files.insert(path.to_owned(), entry.bytes.to_vec());
    }
    let bag = match check(&files) {
        Ok(bag) if faults.is_empty() => bag,
        Ok(_) => return Err(BagFaults(faults)),
        Err(others) => {
            faults.extend(others.0);
            return Err(BagFaults(faults));
        }
    };
    let info: Vec<(String, String)> = bag.info.clone();
    let again = write(&bag.payload, &info)?;
    match archive::first_difference(bytes, &again) {
        None => Ok(bag),
        Some(fault) => Err(BagFaults(vec![fault])),
    }
}

/// Checks the files of a bag, by their path in its base directory, as RFC 8493 asks.
///
/// # Errors
/// Everything that makes the bag incomplete or that differs from its digests. A `fetch.txt` is turned back: a data package
/// is whole.
///
/// # Source
/// RFC 8493 (2018), 3. Checked by `tests/published/bagit.rs`.
pub fn check(files: &BTreeMap<String, Vec<u8>>) -> Result<Bag, BagFaults> {
    let (bag, faults) = structure::check(files);
    if faults.is_empty() { Ok(bag) } else { Err(BagFaults(faults)) }
}

/// Number of octets, a full stop, number of files.
fn oxum<'b>(files: impl Iterator<Item = &'b Vec<u8>>) -> String {
    let (octets, n_files) = files.fold((0_usize, 0_usize), |(octets, n), bytes| (octets + bytes.len(), n + 1));
    format!("{octets}.{n_files}")
}

/// The folder that holds the bag.
fn base_of(info: &[&(String, String)]) -> String {
    info.iter()
        .find(|(label, _)| label.eq_ignore_ascii_case("External-Identifier"))
        .map(|(_, value)| value.as_str())
        .filter(|value| {
            value.len() <= 64 && value.bytes().all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_'))
        })
        .filter(|value| !value.is_empty())
        .unwrap_or("bag")
        .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    type Content = (BTreeMap<String, Vec<u8>>, Vec<(String, String)>);

    fn small() -> Content {
        let payload = [("order.toml", "id = 1\n"), ("raw/µ.csv", "1;2\n"), ("empty", "")];
        let payload = payload.into_iter().map(|(path, text)| (path.to_owned(), text.as_bytes().to_vec())).collect();
        let info = [("External-Identifier", "2026-031"), ("Bagging-Date", "2026-03-20")];
        (payload, info.into_iter().map(|(label, value)| (label.to_owned(), value.to_owned())).collect())
    }

    #[test]
    fn what_was_packed_is_unpacked_and_packed_again_to_the_same_bytes() {
        let (payload, info) = small();
        let bytes = write(&payload, &info).unwrap();
        let bag = read(&bytes).unwrap();
        assert_eq!((&bag.payload, &bag.info), (&payload, &info));
        assert_eq!(write(&bag.payload, &bag.info).unwrap(), bytes);
    }

    #[test]
    fn every_flipped_byte_of_an_archive_is_found_and_its_place_told() {
        let (payload, info) = small();
        let bytes = write(&payload, &info).unwrap();
        let spans = archive::spans(&bytes);
        for place in 0..bytes.len() {
            for flip in [0x01, 0x20, 0x80, 0xff] {
                let mut flipped = bytes.clone();
                flipped[place] ^= flip;
                let faults = read(&flipped).expect_err(&format!("byte {place} flipped by {flip:02x}"));
                let told = faults.to_string();
                let within = spans.iter().find(|(_, span)| span.contains(&place)).map(|(name, _)| name.as_str());
                // Of a changed file the name is told, for a digest does not say where; of the layout the byte itself, or, where a
                // length or check sum in a head is changed, the file with that head.
                let is_told = match within {
                    Some(name) => told.contains(name),
                    None => {
                        let in_head_of = spans
                            .iter()
                            .find(|(name, span)| (span.start - name.len() - 30..span.start).contains(&place));
                        told.contains(&format!("byte {place}"))
                            || in_head_of.is_some_and(|(name, span)| {
                                let head = span.start - name.len() - 30;
                                told.contains(name) || told.contains(&format!("head is at byte {head}"))
                            })
                    }
                };
                assert!(is_told, "byte {place} flipped by {flip:02x}, in {within:?}: {told}");
            }
        }
    }

    #[test]
    fn an_archive_cut_anywhere_or_with_something_behind_it_is_told() {
        let (payload, info) = small();
        let bytes = write(&payload, &info).unwrap();
        for length in 0..bytes.len() {
            assert!(read(&bytes[..length]).is_err(), "{length}");
        }
        for behind in [&b"\0"[..], b"PK\x05\x06", b"a comment"] {
            let told = read(&[&bytes, behind].concat()).unwrap_err().to_string();
            assert!(told.contains(&format!("byte {}", bytes.len())), "{told}");
        }
    }

    #[test]
    fn another_reader_of_zip_finds_the_same_files() {
        let (payload, info) = small();
        let bytes = write(&payload, &info).unwrap();
        let mut archive = zip::ZipArchive::new(std::io::Cursor::new(&bytes)).unwrap();
        let mut found = BTreeMap::new();
        for place in 0..archive.len() {
            let mut file = archive.by_index(place).unwrap();
            let mut content = Vec::new();
            std::io::Read::read_to_end(&mut file, &mut content).unwrap();
            if let Some(path) = file.name().unwrap().strip_prefix("2026-031/data/") {
                found.insert(path.to_owned(), content);
            }
        }
        assert_eq!(found, payload);
    }

    /// An archive of other files than a bag has.
    fn archive_of(names: &[&str]) -> Vec<u8> {
        archive::write(names.iter().map(|name| ((*name).to_owned(), &b"x"[..]))).unwrap()
    }

    #[test]
    fn archives_that_are_no_bag_of_ours_are_turned_back() {
        let told = |bytes: &[u8]| read(bytes).unwrap_err().to_string();
        assert!(told(b"").contains("no archive"));
        assert!(told(b"%PDF-1.7").contains("no archive"));
        assert!(told(&archive_of(&[])).contains("the archive ends at byte 22"));
        for path in ["bag/../../x", "/x", "bag//x", "bag\\x", "C:/x"] {
            assert!(told(&archive_of(&[path])).contains("the path"), "{path}");
        }
        assert!(told(&archive_of(&["bag/bagit.txt", "other/x"])).contains("beside the one folder"));
        assert!(told(&archive_of(&["x"])).contains("beside the one folder"));
        assert!(told(&archive_of(&["bag/x", "bag/x"])).contains("twice"));
    }

    #[test]
    fn an_archive_packed_by_another_program_is_turned_back_at_its_first_odd_byte() {
        let options = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Deflated);
        let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
        writer.start_file("bag/bagit.txt", options).unwrap();
        std::io::Write::write_all(&mut writer, &[0; 100_000]).unwrap();
        let bytes = writer.finish().unwrap().into_inner();
        assert!(bytes.len() < 1000);
        let told = read(&bytes).unwrap_err().to_string();
        assert!(told.starts_with("byte ") && told.contains("in the head of its first file"), "{told}");
    }

    #[test]
    fn paths_that_lead_out_of_the_bag_are_not_packed() {
        for path in ["", "/etc/x", "../x", "a/../b", "a//b", "~x", "a\\b", "C:x", "a/", "./a", "a\0", "a\u{1b}"] {
            let payload = BTreeMap::from([(path.to_owned(), Vec::new())]);
            let told = write(&payload, &[]).unwrap_err().to_string();
            assert!(told.starts_with("the path"), "{path:?}: {told}");
        }
    }

    #[test]
    fn lines_of_bag_info_that_would_not_read_back_are_not_written() {
        for (label, value) in [("", "x"), ("a:b", "x"), (" a", "x"), ("a", "x\ny"), ("a", " x")] {
            assert!(write(&BTreeMap::new(), &[(label.into(), value.into())]).is_err(), "{label:?} {value:?}");
        }
    }

    proptest! {
        #[test]
        fn any_content_is_packed_and_unpacked(
            payload in proptest::collection::btree_map("[a-z%µ \n]{1,8}(/[A-Z.]{0,2}[a-z]{1,3}){0,2}", proptest::collection::vec(any::<u8>(), 0..50), 0..5),
            values in proptest::collection::vec("[!-~µ]{1,5}( [!-~]{1,5}){0,2}", 0..4),
        ) {
            let info: Vec<(String, String)> = values.into_iter().map(|value| ("External-Identifier".to_owned(), value)).collect();
            let bytes = write(&payload, &info).unwrap();
            let bag = read(&bytes).unwrap();
            prop_assert_eq!(&bag.payload, &payload);
            prop_assert_eq!(&bag.info, &info);
        }

        #[test]
        fn any_bytes_are_a_bag_or_told(bytes in proptest::collection::vec(any::<u8>(), 0..300), at in 0..2000_usize) {
            prop_assert!(read(&bytes).is_err());
            let (payload, info) = small();
            let mut archive = write(&payload, &info).unwrap();
            let at = at.min(archive.len());
            let end = (at + bytes.len()).min(archive.len());
            let sound = archive.clone();
            archive[at..end].copy_from_slice(&bytes[..end - at]);
            prop_assert_eq!(read(&archive).is_ok(), archive == sound);
            archive.splice(at..end, bytes.iter().copied().chain(std::iter::once(0)));
            prop_assert!(read(&archive).is_err());
        }
    }
}
