//! ISO 19005-3:2012 (PDF/A-3) and ISO 14289-1:2014 (PDF/UA-1): what an outside reader sees of them.
//!
//! poppler and qpdf read the file; the rules one by one were checked with an outside validator, see the crate's README.

use crate::{order, outside_reader};
use darkline_report::{ATTACHMENT, render};

#[test]
fn the_record_comes_back_byte_for_byte() {
    let records: [&[u8]; 4] =
        [order::RECORD, b"", b"{\"name\":\"\xC2\xB5 \xE4\xBA\x95\"}\n", &[0x00, 0xFF, 0x0A, 0x0D]];
    for record in records {
        let pdf = render(&order::report(), record).unwrap();
        assert_eq!(outside_reader::attachment(&pdf, 1), record);
        let listed = outside_reader::attachments(&pdf);
        assert!(listed.contains("1 embedded files") && listed.contains(ATTACHMENT), "{listed}");
    }
}

#[test]
fn the_file_is_sound_and_says_which_standards_it_keeps() {
    let pdf = render(&order::report(), order::RECORD).unwrap();
    let (sound, said) = outside_reader::checked(&pdf);
    assert!(sound && said.contains("No syntax or stream encoding errors found"), "{said}");
    let metadata = outside_reader::metadata(&pdf);
    for wanted in
        ["<pdfaid:part>3</pdfaid:part>", "<pdfaid:conformance>A</pdfaid:conformance>", "<pdfuaid:part>1</pdfuaid:part>"]
    {
        assert!(metadata.contains(wanted), "{wanted} is not in {metadata}");
    }
}

#[test]
fn title_laboratory_program_and_time_of_issue_are_in_the_information() {
    let information = outside_reader::information(&render(&order::report(), order::RECORD).unwrap());
    for wanted in [
        ("Title:", "Test report 2026-031-2"),
        ("Author:", "Millrace Laboratory"),
        ("Creator:", concat!("Darkline ", env!("CARGO_PKG_VERSION"))),
        ("CreationDate:", "D:20260314093000+01'00"),
        ("Tagged:", "yes"),
        ("Page size:", "595.276 x 841.89 pts (A4)"),
        ("JavaScript:", "no"),
    ] {
        let line = information.lines().find(|line| line.starts_with(wanted.0)).unwrap_or_default();
        assert!(line.contains(wanted.1), "{wanted:?} against {line:?}");
    }
}

#[test]
fn tables_have_heads_and_figures_say_what_is_to_be_seen() {
    let report = order::report();
    let structure = outside_reader::structure(&render(&report, order::RECORD).unwrap());
    for wanted in ["Table", "TH", "H1", "Figure", "Caption"] {
        assert!(structure.contains(wanted), "no {wanted} in {structure}");
    }
    let heads = structure.matches("/Scope /Row").count() + structure.matches("Scope: Row").count();
    let rows = report.results.len() + report.samples.len() + report.methods.len();
    assert!(heads >= rows, "{heads} heads of rows for more than {rows} rows in {structure}");
}
