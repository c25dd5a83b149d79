//! A zip with stored files, laid out in one way only: no compression, no extra fields, no comment, times of 1 January 1980.
//!
//! [`read`] goes from head to head and takes nothing from the directory at the end, so that there are no two answers to what a
//! file holds; that the directory agrees is seen when the archive is held against the one written again.
//!
//! Stored files cannot unfold: nothing here is larger than the archive itself.

use std::collections::BTreeSet;
use std::ops::Range;

use super::{BagFault, path};

// APPNOTE, .ZIP File Format Specification 6.3: 4.3.7 local file header, 4.3.12 central directory, 4.3.16 end of it
// (from memory; another reader of zip agrees, see the tests of the bag).
const FILE: [u8; 4] = *b"PK\x03\x04";
const DIRECTORY: [u8; 4] = *b"PK\x01\x02";
const END: [u8; 4] = *b"PK\x05\x06";
const FILE_LENGTH: usize = 30;
const DIRECTORY_LENGTH: usize = 46;
const END_LENGTH: usize = 22;
// Version 1.0, names in UTF-8 (bit 11), stored, 00:00:00, 1 January 1980.
// Bytes 4 to 13 of the head of a file.
const FIXED: [u8; 10] = [10, 0, 0, 0x08, 0, 0, 0, 0, 0x21, 0];

// Unix, version 1.0: old tools take names of other systems for another encoding than they are in.
const MADE_BY: [u8; 2] = [10, 3];
// A plain file that its owner may write and everybody read, 0o100644.
const PERMISSIONS: [u8; 4] = [0, 0, 0xa4, 0x81];

/// A file of an archive.
pub(crate) struct Entry<'b> {
    pub(crate) name: String,
    pub(crate) head: usize,
    pub(crate) bytes: &'b [u8],
}

/// Packs files.
///
/// # Errors
/// More than 4 GiB, or 65 535 files or more: the plain form of zip cannot hold them.
pub(crate) fn write<'b>(files: impl Iterator<Item = (String, &'b [u8])>) -> Result<Vec<u8>, BagFault> {
    let (mut bytes, mut directory, mut n_files) = (Vec::new(), Vec::new(), 0_u16);
    let too_large = |what: &str| BagFault::TooLarge { what: what.into() };
    for (name, content) in files {
        let start = u32::try_from(bytes.len()).map_err(|_| too_large("more than 4 GiB"))?;
        let length = u32::try_from(content.len()).map_err(|_| too_large("files of more than 4 GiB"))?;
        let name_length = u16::try_from(name.len()).map_err(|_| too_large("paths of more than 65 535 bytes"))?;
        let mut head = FIXED.to_vec();
        head.extend(check_sum(content).to_le_bytes());
        head.extend(length.to_le_bytes());
        head.extend(length.to_le_bytes());
        head.extend(name_length.to_le_bytes());
        head.extend([0; 2]);
        bytes.extend(FILE);
        bytes.extend(&head);
        bytes.extend(name.as_bytes());
        bytes.extend(content);
        directory.extend(DIRECTORY);
        directory.extend(MADE_BY);
        directory.extend(&head);
        directory.extend([0; 6]);
        directory.extend(PERMISSIONS);
        directory.extend(start.to_le_bytes());
        directory.extend(name.as_bytes());
        n_files = n_files.checked_add(1).filter(|n| *n < u16::MAX).ok_or_else(|| too_large("65 535 files and more"))?;
    }
    let start = u32::try_from(bytes.len()).map_err(|_| too_large("more than 4 GiB"))?;
    let length = u32::try_from(directory.len()).map_err(|_| too_large("more than 4 GiB"))?;
    bytes.extend(directory);
    bytes.extend(END);
    bytes.extend([0; 4]);
    bytes.extend(n_files.to_le_bytes());
    bytes.extend(n_files.to_le_bytes());
    bytes.extend(length.to_le_bytes());
    bytes.extend(start.to_le_bytes());
    bytes.extend([0; 2]);
    Ok(bytes)
}

/// Takes the files out of an archive.
///
/// # Errors
/// What keeps a file from being found, and files whose bytes do not have their check sum.
pub(crate) fn read(bytes: &[u8]) -> Result<Vec<Entry<'_>>, Vec<BagFault>> {
    if bytes.len() < FILE.len() || bytes[0] != FILE[0] {
        return Err(vec![match bytes {
            [b'P', ..] => BagFault::Cut { length: bytes.len(), part: "the head of its first file".into() },
            _ if bytes.get(1..4) == Some(&FILE[1..]) => layout(0, "the head of its first file"),
            _ => BagFault::NoArchive,
        }]);
    }
    let (mut entries, mut faults, mut at): (Vec<Entry<'_>>, _, _) = (Vec::new(), Vec::new(), 0_usize);
    let (mut names, mut odd_names) = (BTreeSet::new(), Vec::new());
    while !begins_directory(bytes.get(at..).unwrap_or_default()) {
        let behind = entries.last().map_or("the head of its first file".to_owned(), |entry: &Entry<'_>| {
            format!("the head of the file behind \"{}\" (whose own head is at byte {})", entry.name, entry.head)
        });
        let Some(head) = bytes.get(at..at + FILE_LENGTH) else {
            faults.push(BagFault::Cut { length: bytes.len(), part: behind });
            return Err(faults);
        };
        if let Some(place) = head.iter().zip(FILE.iter().chain(&FIXED)).position(|(found, wanted)| found != wanted) {
            faults.push(layout(at + place, &behind));
            return Err(faults);
        }
        let number = |from: usize| {
            let four: [u8; 4] = head[from..from + 4].try_into().expect("four bytes were taken");
            u32::from_le_bytes(four)
        };
        let name_length = usize::from(u16::from_le_bytes([head[26], head[27]]));
        // Packed and unpacked length are one; a difference would hide which is meant.
        if let Some(place) = (18..22).find(|&place| head[place] != head[place + 4]) {
            faults.push(BagFault::Lengths { part: behind, packed: at + place, unpacked: at + place + 4 });
            return Err(faults);
        }
        if let Some(place) = (28..30).find(|&place| head[place] != 0) {
            faults.push(layout(at + place, &behind));
            return Err(faults);
        }
        let name_at = at + FILE_LENGTH;
        let content_at = name_at + name_length;
        let end = usize::try_from(number(18)).ok().and_then(|length| content_at.checked_add(length));
        let Some((name, content)) =
            end.and_then(|end| Some((bytes.get(name_at..content_at)?, bytes.get(content_at..end)?)))
        else {
            faults.push(BagFault::Cut { length: bytes.len(), part: format!("the file whose head is at byte {at}") });
            return Err(faults);
        };
        let Ok(name) = std::str::from_utf8(name) else {
            faults.push(layout(name_at, &format!("the name of the file whose head is at byte {at}")));
            return Err(faults);
        };
        if check_sum(content) != number(14) {
            faults.push(BagFault::CheckSum { path: name.into(), head: at, offset: content_at });
        }
        odd_names.extend(path::fault(name));
        if !names.insert(name) {
            odd_names.push(BagFault::Twice { path: name.into(), offset: at });
        }
        entries.push(Entry { name: name.into(), head: at, bytes: content });
        at = content_at + content.len();
    }
    if faults.is_empty()
        && let Some(fault) = directory_fault(bytes, &entries)
    {
        faults.push(fault);
    }
    // Behind the others: a damaged name is odd because of the damage.
    faults.extend(odd_names);
    if faults.is_empty() { Ok(entries) } else { Err(faults) }
}

/// Whether the mark here is rather that of the directory than that of a file, one byte of it being damaged perhaps.
fn begins_directory(bytes: &[u8]) -> bool {
    let alike = |mark: [u8; 4]| bytes.iter().zip(mark).filter(|(found, wanted)| *found == wanted).count();
    alike(DIRECTORY) > alike(FILE)
}

/// What the directory says otherwise than the heads of the files.
fn directory_fault(bytes: &[u8], entries: &[Entry<'_>]) -> Option<BagFault> {
    let again = match write(entries.iter().map(|entry| (entry.name.clone(), entry.bytes))) {
        Ok(again) => again,
        Err(fault) => return Some(fault),
    };
    let fault = first_difference(bytes, &again)?;
    let BagFault::Layout { offset, .. } = &fault else {
        return Some(fault);
    };
    let mut head = 0;
    let mut line: usize = entries.iter().map(|entry| FILE_LENGTH + entry.name.len() + entry.bytes.len()).sum();
    for entry in entries {
        // Where the fields of a line in the directory stand in the head of the file.
        let in_head = match offset.checked_sub(line) {
            Some(place) if (6..32).contains(&place) => Some(head + place - 2),
            Some(place) if (DIRECTORY_LENGTH..DIRECTORY_LENGTH + entry.name.len()).contains(&place) => {
                Some(head + FILE_LENGTH + place - DIRECTORY_LENGTH)
            }
            _ => None,
        };
        if let Some(in_head) = in_head {
            return Some(BagFault::Disagree { path: entry.name.clone(), in_head, in_directory: *offset });
        }
        head += FILE_LENGTH + entry.name.len() + entry.bytes.len();
        line += DIRECTORY_LENGTH + entry.name.len();
    }
    Some(fault)
}

fn layout(offset: usize, part: &str) -> BagFault {
    BagFault::Layout { offset, part: part.into() }
}

/// The first byte in which an archive differs from the one written again from its content.
pub(crate) fn first_difference(found: &[u8], again: &[u8]) -> Option<BagFault> {
    let offset = match found.iter().zip(again).position(|(found, again)| found != again) {
        Some(offset) => offset,
        None if found.len() < again.len() => {
            return Some(BagFault::Cut { length: found.len(), part: "its directory".into() });
        }
        None if found.len() > again.len() => {
            return Some(layout(again.len(), "what stands behind its end"));
        }
        None => return None,
    };
    let within = spans(again).into_iter().find(|(_, span)| span.contains(&offset));
    let part = match within {
        Some((name, _)) => format!("\"{name}\""),
        None if offset + END_LENGTH >= again.len() => "the end of its directory".into(),
        None => match spans(again).iter().find(|(_, span)| offset < span.start) {
            Some((name, _)) => format!("the head of \"{name}\""),
            None => "its directory".into(),
        },
    };
    Some(BagFault::Layout { offset, part })
}

/// The files of an archive with the bytes they take up, their heads apart.
pub(crate) fn spans(bytes: &[u8]) -> Vec<(String, Range<usize>)> {
    let mut at = 0;
    let mut spans = Vec::new();
    for entry in read(bytes).unwrap_or_default() {
        let start = at + FILE_LENGTH + entry.name.len();
        at = start + entry.bytes.len();
        spans.push((entry.name, start..at));
    }
    debug_assert!(at + spans.len() * DIRECTORY_LENGTH + END_LENGTH <= bytes.len() || spans.is_empty());
    spans
}

/// CRC-32, the check sum of zip.
///
/// # Source
/// ISO/IEC 8802-3 (Ethernet), polynomial 0x04C11DB7 reflected; the check value of "123456789" is CBF43926 (from memory).
fn check_sum(bytes: &[u8]) -> u32 {
    const TABLE: [u32; 256] = {
        let mut table = [0; 256];
        let mut byte = 0;
        while byte < 256 {
            let (mut sum, mut bit) = (byte as u32, 0);
            while bit < 8 {
                sum = if sum & 1 == 1 { (sum >> 1) ^ 0xedb8_8320 } else { sum >> 1 };
                bit += 1;
            }
            table[byte] = sum;
            byte += 1;
        }
        table
    };
    !bytes.iter().fold(u32::MAX, |sum, byte| (sum >> 8) ^ TABLE[usize::from(sum.to_le_bytes()[0] ^ byte)])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_check_sum_has_its_check_value() {
        assert_eq!(check_sum(b"123456789"), 0xcbf4_3926);
    }

    #[test]
    fn two_files_with_one_name_are_told() {
        let files = [("a/x".to_owned(), &b"1"[..]), ("a/x".to_owned(), b"2")];
        let bytes = write(files.into_iter()).unwrap();
        let faults = read(&bytes).err().unwrap();
        assert!(matches!(faults.as_slice(), [BagFault::Twice { offset: 34, .. }]), "{faults:?}");
    }

    #[test]
    fn a_file_that_claims_to_be_huge_is_told_without_room_being_made_for_it() {
        let mut bytes = write(std::iter::once(("a/x".to_owned(), &b"1"[..]))).unwrap();
        bytes[18..26].copy_from_slice(&[0xff; 8]);
        assert!(matches!(read(&bytes).err().unwrap().as_slice(), [BagFault::Cut { .. }]));
    }
}
