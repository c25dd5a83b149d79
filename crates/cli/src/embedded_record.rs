//! The record inside a report: taken out of the PDF, to be compared with the one beside it.
//!
//! A report holds one embedded file (ISO 19005-3). It is looked for in the bytes rather than by way of the PDF's own table,
//! so that a second one, added behind the first, is seen and not passed over.

use std::io::Read;
use std::ops::Range;

use flate2::read::ZlibDecoder;

/// No record is larger.
const LARGEST: u64 = 64 << 20;

/// Why no record can be taken out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoRecord {
    /// None, or more than one.
    #[error("{0} files are embedded in it, one is wanted")]
    HowMany(usize),
    /// Its stream is not as it is written here.
    #[error("the file embedded in it cannot be unpacked")]
    NotUnpacked,
}

/// Takes the record out of a report.
///
/// # Errors
/// [`NoRecord`].
///
/// # Source
/// ISO 32000-1:2008, 7.3.8 (streams), 7.4.4 (FlateDecode), 7.11.4 (embedded files).
pub fn embedded_record(pdf: &[u8]) -> Result<Vec<u8>, NoRecord> {
    const TYPE: &[u8] = b"/Type/EmbeddedFile";
    let places: Vec<usize> = find_all(pdf, TYPE)
        .into_iter()
        .filter(|at| pdf.get(at + TYPE.len()).is_none_or(|next| !next.is_ascii_alphanumeric()))
        .collect();
    let [at] = places[..] else { return Err(NoRecord::HowMany(places.len())) };
    stream_of(pdf, at).ok_or(NoRecord::NotUnpacked)
}

fn stream_of(pdf: &[u8], at: usize) -> Option<Vec<u8>> {
    let head = pdf[..at].windows(4).rposition(|four| four == b" obj")?;
    let body = at + find(&pdf[at..], b"stream")?;
    let dictionary = &pdf[head..body];
    find(dictionary, b"/Filter/FlateDecode")?;
    let digits = &dictionary[find(dictionary, b"/Length ")? + b"/Length ".len()..];
    let digits = &digits[..digits.iter().take_while(|byte| byte.is_ascii_digit()).count()];
    let length: usize = std::str::from_utf8(digits).ok()?.parse().ok()?;
    let start = body + b"stream".len();
    let start = start + [&b"\r\n"[..], b"\n"].iter().find(|end| pdf[start..].starts_with(end))?.len();
    let packed = pdf.get(Range { start, end: start.checked_add(length)? })?;
    let mut record = Vec::new();
    ZlibDecoder::new(packed).take(LARGEST + 1).read_to_end(&mut record).ok()?;
    (record.len() as u64 <= LARGEST).then_some(record)
}

fn find(bytes: &[u8], wanted: &[u8]) -> Option<usize> {
    bytes.windows(wanted.len()).position(|window| window == wanted)
}

fn find_all(bytes: &[u8], wanted: &[u8]) -> Vec<usize> {
    bytes.windows(wanted.len()).enumerate().filter(|(_, window)| *window == wanted).map(|(at, _)| at).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use flate2::Compression;
    use flate2::write::ZlibEncoder;
    use std::io::Write;

    /// A PDF as far as it matters here: one embedded file.
    fn report(record: &[u8]) -> Vec<u8> {
        let mut packer = ZlibEncoder::new(Vec::new(), Compression::default());
        packer.write_all(record).unwrap();
        let packed = packer.finish().unwrap();
        let head =
            format!("%PDF-1.7\n1 0 obj\n<</Length {}/Type/EmbeddedFile/Filter/FlateDecode>>\nstream\n", packed.len());
        let tail = b"\nendstream\nendobj\n2 0 obj\n<</Names<</EmbeddedFiles 1 0 R>>>>\nendobj\n";
        [head.as_bytes(), &packed, tail].concat()
    }

    #[test]
    fn the_one_record_is_taken_out_byte_for_byte() {
        assert_eq!(embedded_record(&report(b"{\"report\":\"2026-031-1\"}")).unwrap(), b"{\"report\":\"2026-031-1\"}");
        assert_eq!(embedded_record(&report(b"")).unwrap(), b"");
    }

    #[test]
    fn none_and_two_and_a_damaged_one_are_told() {
        let pdf = report(b"{}");
        assert_eq!(embedded_record(b"%PDF-1.7\n"), Err(NoRecord::HowMany(0)));
        assert_eq!(embedded_record(b""), Err(NoRecord::HowMany(0)));
        assert_eq!(embedded_record(&[&pdf[..], &pdf].concat()), Err(NoRecord::HowMany(2)));
        for (old, new) in [
            ("/Length 1", "/Length 9"),
            ("/Length ", "/length "),
            ("FlateDecode", "ASCIIHexDecode"),
            ("1 0 obj", "1 0 bjo"),
        ] {
            let text = pdf.clone();
            let at = find(&text, old.as_bytes()).unwrap();
            let damaged = [&text[..at], new.as_bytes(), &text[at + old.len()..]].concat();
            assert_eq!(embedded_record(&damaged), Err(NoRecord::NotUnpacked), "{old}");
        }
        for length in 0..pdf.len() {
            let _ = embedded_record(&pdf[..length]).map_err(|fault| fault.to_string());
        }
    }
}
