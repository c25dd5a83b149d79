//! Text files: read whole, as UTF-8, or told why not.
//!
//! [`read`] opens a file; [`decode`] takes bytes that came another way. A byte order mark is accepted. What the text says is
//! for the readers of documents and tables.

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::Path;

use crate::fault::{Fault, Faults};

/// No document or table is larger; beyond it a file is something else.
pub const LARGEST: u64 = 64 << 20;

/// Reads a text file.
///
/// # Errors
/// A file that is not there, a folder, an empty file, one that is too large, bytes that are no text in UTF-8.
pub fn read(path: &Path) -> Result<String, Faults> {
    read_as(path, &path.display().to_string())
}

/// Reads a text file and calls it by another name in messages.
///
/// # Errors
/// As for [`read`].
pub fn read_as(path: &Path, name: &str) -> Result<String, Faults> {
    decode(name, read_bytes(path, name, LARGEST)?)
}

/// Reads any file, up to a size.
///
/// # Errors
/// A file that is not there, a folder, one that is larger, one that cannot be read.
pub fn read_bytes(path: &Path, name: &str, largest: u64) -> Result<Vec<u8>, Faults> {
    let fault = |what: String, hint: &str| Faults::one(Fault::of_file(name, what, hint));
    if path.is_dir() {
        return Err(fault("this is a folder; a file is wanted".into(), "name a file in it"));
    }
    let file = File::open(path).map_err(|error| match error.kind() {
        ErrorKind::NotFound | ErrorKind::NotADirectory => {
            fault("there is no such file".into(), "look at the spelling, and at the folder it is looked for in")
        }
        ErrorKind::PermissionDenied => {
            fault("this file may not be read".into(), "ask whoever owns it for permission to read it")
        }
        _ => fault(format!("the file cannot be opened: {error}"), "try again, or take a copy of it"),
    })?;
    let mut bytes = Vec::new();
    file.take(largest + 1).read_to_end(&mut bytes).map_err(|error| {
        fault(format!("the file cannot be read to its end: {error}"), "try again, or take a copy of it")
    })?;
    if bytes.len() as u64 > largest {
        return Err(Faults::one(too_large(name, largest)));
    }
    Ok(bytes)
}

fn too_large(name: &str, largest: u64) -> Fault {
    Fault::of_file(
        name,
        format!("the file is larger than {} MiB; no file of this kind is", largest >> 20),
        "look whether it is the file that is meant, or part it",
    )
}

/// Takes bytes as a text.
///
/// # Errors
/// Bytes that are no text in UTF-8: with the line and column of the first one, and the encoding they seem to be in.
pub fn decode(name: &str, bytes: Vec<u8>) -> Result<String, Faults> {
    let text = String::from_utf8(bytes).map_err(|error| {
        let place = error.utf8_error().valid_up_to();
        Faults::one(not_utf8(name, error.as_bytes(), place))
    })?;
    checked(name, &text)?;
    Ok(text)
}

fn not_utf8(name: &str, bytes: &[u8], place: usize) -> Fault {
    let control = |byte: &u8| *byte < 32 && !matches!(byte, b'\t' | b'\n' | b'\r');
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Fault::of_file(name, "the text is encoded in UTF-16", "save it as UTF-8");
    }
    if bytes.iter().take(1024).any(control) {
        return Fault::of_file(name, "this is not a text file", "a text in UTF-8 is wanted");
    }
    let before = String::from_utf8_lossy(&bytes[..place]);
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    let byte = bytes.get(place).copied().unwrap_or(0);
    Fault {
        place: Some(crate::fault::Place { line, column }),
        ..Fault::of_file(
            name,
            format!("the byte {byte:02x} here is not UTF-8"),
            "save the file as UTF-8; it seems to be in an older encoding of one byte a letter",
        )
    }
}

/// The text without a byte order mark, where something stands in it.
pub(crate) fn checked<'t>(name: &str, text: &'t str) -> Result<&'t str, Faults> {
    let body = text.strip_prefix('\u{feff}').unwrap_or(text);
    if body.len() as u64 > LARGEST {
        return Err(Faults::one(too_large(name, LARGEST)));
    }
    if let Some(first) = body.find('\0') {
        let rest = &body.as_bytes()[first..];
        let what = if rest.iter().all(|&byte| byte == 0) && first == 0 {
            "the file holds nothing but NUL bytes".to_owned()
        } else {
            format!("the file holds NUL bytes, the first after {first} bytes of text")
        };
        return Err(Faults::one(Fault::of_file(
            name,
            what,
            "it was damaged on the way, for example by a power cut; fetch it again",
        )));
    }
    if body.trim().is_empty() {
        return Err(Faults::one(Fault::of_file(name, "the file is empty", "fetch it again, or leave it away")));
    }
    Ok(body)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_first_byte_that_is_not_utf8_is_told_by_line_and_column() {
        let told = decode("a.csv", b"row,name\n1,\xb5g\n".to_vec()).unwrap_err().to_string();
        assert!(told.starts_with("error: a.csv:2:3: the byte b5 here is not UTF-8\n"), "{told}");
        let told = decode("a.csv", vec![0xff, 0xfe, b'a', 0]).unwrap_err().to_string();
        assert!(told.contains("UTF-16"), "{told}");
        let told = decode("a.csv", b"PK\x03\x04\xff\xff".to_vec()).unwrap_err().to_string();
        assert!(told.contains("not a text file"), "{told}");
    }

    #[test]
    fn a_byte_order_mark_alone_is_an_empty_file() {
        assert!(decode("a.csv", "\u{feff}".into()).unwrap_err().to_string().contains("empty"));
        assert_eq!(decode("a.csv", "\u{feff}x".into()).unwrap(), "\u{feff}x");
    }

    #[test]
    fn a_folder_and_a_file_that_is_not_there_are_told_apart() {
        let folder = tempfile::tempdir().unwrap();
        assert!(read(folder.path()).unwrap_err().to_string().contains("this is a folder"));
        assert!(read(&folder.path().join("none.toml")).unwrap_err().to_string().contains("there is no such file"));
        std::fs::write(folder.path().join("large"), vec![b'x'; 3000]).unwrap();
        assert!(read_bytes(&folder.path().join("large"), "large", 2000).unwrap_err().to_string().contains("larger"));
    }

    proptest! {
        #[test]
        fn any_bytes_are_a_text_or_told(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            let _ = decode("a.csv", bytes).map_err(|faults| faults.to_string());
        }
    }
}
