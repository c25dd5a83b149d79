//! Programs of others that read the file: poppler's and qpdf.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

/// Runs a program on a file in a folder of its own.
///
/// # Panics
/// When the program is not there; the message names the Debian package that holds it.
fn run(program: &str, package: &str, pdf: &[u8], arguments: &dyn Fn(&Path, &Path) -> Vec<String>) -> (Output, Vec<u8>) {
    let folder = tempfile::tempdir().unwrap();
    let (input, output) = (folder.path().join("report.pdf"), folder.path().join("out"));
    fs::write(&input, pdf).unwrap();
    let ran = Command::new(program)
        .args(arguments(&input, &output))
        .output()
        .unwrap_or_else(|error| panic!("{program} did not start ({error}); install the Debian package {package}"));
    (ran, fs::read(&output).unwrap_or_default())
}

fn text_of(path: &Path) -> String {
    path.to_str().unwrap().to_owned()
}

/// The text of a file in the order of its content, page by page, as written by poppler.
fn raw(pdf: &[u8]) -> String {
    let arguments = |input: &Path, output: &Path| {
        vec!["-raw".to_owned(), "-enc".to_owned(), "UTF-8".to_owned(), text_of(input), text_of(output)]
    };
    let (ran, text) = run("pdftotext", "poppler-utils", pdf, &arguments);
    assert!(ran.status.success(), "pdftotext: {}", String::from_utf8_lossy(&ran.stderr));
    String::from_utf8(text).unwrap()
}

/// All blanks and line ends made one blank.
fn flowing(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The text of a file line by line; pages are told apart by a rule.
pub fn lines(pdf: &[u8]) -> String {
    raw(pdf).replace('\u{c}', "----------\n")
}

/// The text of a file as one line.
pub fn text(pdf: &[u8]) -> String {
    flowing(&raw(pdf))
}

/// The text of each page, as one line each.
pub fn pages(pdf: &[u8]) -> Vec<String> {
    raw(pdf).split('\u{c}').map(flowing).filter(|page| !page.is_empty()).collect()
}

/// The attached file of the given place, counted from one.
pub fn attachment(pdf: &[u8], place: u32) -> Vec<u8> {
    let arguments = |input: &Path, output: &Path| {
        vec!["-save".to_owned(), place.to_string(), "-o".to_owned(), text_of(output), text_of(input)]
    };
    let (ran, bytes) = run("pdfdetach", "poppler-utils", pdf, &arguments);
    assert!(ran.status.success(), "pdfdetach: {}", String::from_utf8_lossy(&ran.stderr));
    bytes
}

/// What `pdfdetach -list` says.
pub fn attachments(pdf: &[u8]) -> String {
    let (ran, _) = run("pdfdetach", "poppler-utils", pdf, &|input, _| vec!["-list".to_owned(), text_of(input)]);
    String::from_utf8(ran.stdout).unwrap()
}

/// What `pdfinfo` says.
pub fn information(pdf: &[u8]) -> String {
    let (ran, _) = run("pdfinfo", "poppler-utils", pdf, &|input, _| vec!["-rawdates".to_owned(), text_of(input)]);
    String::from_utf8(ran.stdout).unwrap()
}

/// The metadata stream of a file.
pub fn metadata(pdf: &[u8]) -> String {
    let (ran, _) = run("pdfinfo", "poppler-utils", pdf, &|input, _| vec!["-meta".to_owned(), text_of(input)]);
    String::from_utf8(ran.stdout).unwrap()
}

/// The logical structure of a file, with its text.
pub fn structure(pdf: &[u8]) -> String {
    let (ran, _) = run("pdfinfo", "poppler-utils", pdf, &|input, _| vec!["-struct-text".to_owned(), text_of(input)]);
    String::from_utf8_lossy(&ran.stdout).into_owned()
}

/// Whether `qpdf --check` finds nothing to say against a file, and what it says.
pub fn checked(pdf: &[u8]) -> (bool, String) {
    let (ran, _) = run("qpdf", "qpdf", pdf, &|input, _| vec!["--check".to_owned(), text_of(input)]);
    let said = [ran.stdout, ran.stderr].concat();
    (ran.status.success(), String::from_utf8_lossy(&said).into_owned())
}
