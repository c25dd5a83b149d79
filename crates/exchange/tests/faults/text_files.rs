//! Files that are no text, or not all of one.

use darkline_exchange::fault::Faults;
use darkline_exchange::{order, text_file};

use crate::zoo;

#[test]
fn files_that_are_no_text() {
    let decoded = |bytes: &[u8]| match text_file::decode("order.toml", bytes.to_vec()) {
        Ok(_) => "read without a fault".to_owned(),
        Err(faults) => faults.to_string(),
    };
    let files: [(&str, &[u8]); 8] = [
        ("empty", b""),
        ("blanks", b"\n\n  \n"),
        ("NUL bytes", &[0; 512]),
        ("NUL bytes behind a text", b"format = \"dark\0\0\0\0\0\0\0"),
        ("an older encoding", b"format = \"darkline/order/1\"\nlimit = \"0.07 \xb5g\"\n"),
        ("UTF-16", b"\xff\xfef\0o\0r\0"),
        ("an archive", b"PK\x03\x04\x14\0\x08\xff"),
        ("a byte order mark and CRLF", "\u{feff}a = 1\r\n".as_bytes()),
    ];
    let told: String = files.iter().map(|(title, bytes)| format!("## {title}\n{}\n\n", decoded(bytes))).collect();
    insta::assert_snapshot!(told);
}

#[test]
fn paths_that_lead_to_no_file() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("order.toml"), "x").unwrap();
    let read = |name: &str| text_file::read_as(&folder.path().join(name), name);
    let told =
        zoo::told(&[("a folder", "."), ("no file", "ordre.toml"), ("below a file", "order.toml/x")], |name| read(name));
    insta::assert_snapshot!(told);
}

#[test]
fn a_document_that_ends_in_the_middle() {
    let whole = "format = \"darkline/order/1\"\nid = \"2026-031\"\ncustomer = \"x\"\n";
    let read = |text: &str| -> Result<(), Faults> { order::read("order.toml", text).map(drop) };
    let cut = [
        ("cut within a text", &whole[..50]),
        ("cut behind a value", &whole[..whole.len() - 1]),
        ("cut within the first line", &whole[..12]),
    ];
    insta::assert_snapshot!(zoo::told(&cut, read));
}

#[test]
fn a_file_larger_than_any_document_is_not_read() {
    let text = "# ".to_owned() + &"x".repeat(64 << 20) + "\n";
    assert!(order::read("order.toml", &text).unwrap_err().to_string().contains("larger than 64 MiB"));
}
