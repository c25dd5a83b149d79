//! From a test report or a qualification protocol to the bytes of its file.
//!
//! [`render`] sets `test_report.typ` with the report as data beside it, [`render_protocol`] `qualification_protocol.typ`. The data is read as a file, never written into the
//! layout, so no text of a customer or analyst can become part of the program that sets it. The layout sees three files
//! (itself, the data, the record) and our own letters; there is no clock, no folder and no network for it.

use crate::bench_sheet::{BenchSheet, Labels};
use crate::completeness::MissingItem;
use crate::printable::Printable;
use crate::qualification_protocol::QualificationProtocol;
use crate::test_report::TestReport;
use std::sync::OnceLock;
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::visualize::SvgImage;
use typst::{Feature, Library, LibraryExt, World, WorldExt};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

/// Name of the attached record inside the file.
pub const ATTACHMENT: &str = "record.json";

/// A layout and the name that its faults are told with.
#[derive(Clone, Copy)]
struct Layout {
    name: &'static str,
    text: &'static str,
}

const TEST_REPORT: Layout = Layout { name: "test_report.typ", text: include_str!("test_report.typ") };
const QUALIFICATION_PROTOCOL: Layout =
    Layout { name: "qualification_protocol.typ", text: include_str!("qualification_protocol.typ") };
const BENCH_SHEET: Layout = Layout { name: "bench_sheet.typ", text: include_str!("bench_sheet.typ") };
const LABELS: Layout = Layout { name: "labels.typ", text: include_str!("labels.typ") };
const DATA_NAME: &str = "report.json";

/// Why a report cannot be rendered.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// An item that every report must carry is missing.
    #[error("report {number} lacks {}", list(.missing))]
    Incomplete {
        /// Number of the report; may be empty, then it is one of the missing items.
        number: String,
        /// The items, in the order of the standard.
        missing: Vec<MissingItem>,
    },
    /// The time of issue cannot be read.
    #[error("the time of issue is written {text:?}; write it like 2026-03-14T09:30:00+01:00")]
    IssueTime {
        /// The time as given.
        text: String,
    },
    /// The date of a protocol cannot be read.
    #[error("the date is written {text:?}; write it like 2026-03-14")]
    Date {
        /// The date as given.
        text: String,
    },
    /// A figure is no SVG that can be read.
    #[error("figure {number} cannot be read: {why}")]
    Figure {
        /// Its place in the annex, counted from one.
        number: usize,
        /// What the reader of drawings says.
        why: String,
    },
    /// The report could not be set: a fault of the program, not of the report.
    #[error("the report could not be set, a fault of ours: {why}")]
    Setting {
        /// What the typesetter says.
        why: String,
    },
}

fn list(missing: &[MissingItem]) -> String {
    let items: Vec<_> = missing.iter().map(ToString::to_string).collect();
    items.join("; ")
}

/// Renders a test report as PDF/A-3a and PDF/UA-1 with its record attached.
///
/// # Arguments
/// * `report`: what is said; figures rounded and with units.
/// * `record_json`: the machine-readable record, attached byte for byte as [`ATTACHMENT`].
///
/// # Errors
/// * [`ReportError::Incomplete`]: an item of ISO/IEC 17025:2017, 7.8.2.1 is missing.
/// * [`ReportError::IssueTime`]: `issued` is not a time with its offset from UTC.
/// * [`ReportError::Figure`]: a figure is no SVG.
/// * [`ReportError::Setting`]: the layout failed, which is a fault of ours.
///
/// # Source
/// ISO 19005-3 (PDF/A-3), ISO 14289-1 (PDF/UA-1); content after ISO/IEC 17025:2017, 7.8.
pub fn render(report: &TestReport, record_json: &[u8]) -> Result<Vec<u8>, ReportError> {
    let missing = report.missing_items();
    if !missing.is_empty() {
        return Err(ReportError::Incomplete { number: report.number.clone(), missing });
    }
    let issued = timestamp(&report.issued).ok_or_else(|| ReportError::IssueTime { text: report.issued.clone() })?;
    let ident = format!("{}/{}/{}", report.laboratory.name, report.number, report.proof.outcome_digest);
    let data = serde_json::to_value(report).map_err(|error| fault(&error))?;
    set_document(TEST_REPORT, data, record_json, ident, issued)
}

/// Renders a qualification protocol as PDF/A-3a and PDF/UA-1 with every figure attached.
///
/// # Arguments
/// * `record`: the figures, one JSON object a line, attached byte for byte as [`ATTACHMENT`].
///
/// # Errors
/// * [`ReportError::Date`]: the date is neither a day nor a time with its offset from UTC.
/// * [`ReportError::Setting`]: the layout failed, which is a fault of ours.
///
/// # Source
/// ISO 19005-3 (PDF/A-3), ISO 14289-1 (PDF/UA-1).
pub fn render_protocol(protocol: &QualificationProtocol, record: &[u8]) -> Result<Vec<u8>, ReportError> {
    let date = day_or_moment(&protocol.date)?;
    let ident = format!("{}/{}/{}", protocol.program, protocol.machine, protocol.date);
    let data = serde_json::to_value(protocol).map_err(|error| fault(&error))?;
    set_document(QUALIFICATION_PROTOCOL, data, record, ident, date)
}

/// Renders a bench sheet as PDF/A-3a, itself as data attached.
///
/// # Errors
/// * [`ReportError::Date`]: the start is neither a day nor a time with its offset from UTC.
/// * [`ReportError::Setting`]: the layout failed, which is a fault of ours.
///
/// # Source
/// ISO 19005-3 (PDF/A-3), ISO 14289-1 (PDF/UA-1).
pub fn render_bench_sheet(sheet: &BenchSheet) -> Result<Vec<u8>, ReportError> {
    let date = day_or_moment(&sheet.date)?;
    let data = serde_json::to_value(sheet).map_err(|error| fault(&error))?;
    let record = serde_json::to_vec(sheet).map_err(|error| fault(&error))?;
    set_document(BENCH_SHEET, data, &record, format!("bench sheet/{}/{}", sheet.order, sheet.date), date)
}

/// Renders labels as PDF/A-3a, themselves as data attached.
///
/// # Errors
/// As for [`render_bench_sheet`].
///
/// # Source
/// ISO 19005-3 (PDF/A-3), ISO 14289-1 (PDF/UA-1), ISO/IEC 15417 (Code 128).
pub fn render_labels(labels: &Labels) -> Result<Vec<u8>, ReportError> {
    let date = day_or_moment(&labels.date)?;
    let data = serde_json::to_value(labels).map_err(|error| fault(&error))?;
    let record = serde_json::to_vec(labels).map_err(|error| fault(&error))?;
    set_document(LABELS, data, &record, format!("labels/{}/{}", labels.order, labels.date), date)
}

/// A day, or a time with its offset.
fn day_or_moment(text: &str) -> Result<Timestamp, ReportError> {
    timestamp(text)
        .or_else(|| timestamp(&format!("{text}T00:00:00Z")))
        .ok_or_else(|| ReportError::Date { text: text.to_owned() })
}

/// Sets a layout with its data beside it.
fn set_document(
    layout: Layout,
    mut data: serde_json::Value,
    record: &[u8],
    ident: String,
    timestamp: Timestamp,
) -> Result<Vec<u8>, ReportError> {
    let assets = assets();
    let mut printable = Printable::new(&assets.book);
    printable.document(&mut data);
    data["written_out"] = printable.written_out.into();
    check_figures(&data)?;
    let data = serde_json::to_vec(&data).map_err(|error| fault(&error))?;

    let world = ReportWorld {
        assets,
        name: layout.name,
        layout: Source::new(file(layout.name), layout.text.to_owned()),
        data: Bytes::new(data),
        record: Bytes::new(record.to_vec()),
    };
    let document: PagedDocument = typst::compile(&world).output.map_err(|errors| setting(&world, &errors))?;
    let standards =
        PdfStandards::new(&[PdfStandard::A_3a, PdfStandard::Ua_1]).map_err(|error| fault(&error.message()))?;
    let options = PdfOptions {
        ident: Smart::Custom(ident),
        creator: Smart::Custom(Some(format!("Darkline {}", env!("CARGO_PKG_VERSION")))),
        timestamp: Some(timestamp),
        page_ranges: None,
        standards,
        tagged: true,
        pretty: false,
    };
    typst_pdf::pdf(&document, &options).map_err(|errors| setting(&world, &errors))
}

/// Lets go of layouts that no recent report used.
///
/// Rendering remembers parts of earlier reports to be quicker with the next. A process that renders one report and ends need
/// not care; one that runs for days calls this after each report, or memory grows with every report ever rendered. No digit
/// or byte depends on it.
pub fn evict() {
    typst::comemo::evict(10);
}

/// A drawing that cannot be read is told by its number, before the layout meets it.
fn check_figures(data: &serde_json::Value) -> Result<(), ReportError> {
    let figures = data["annex"]["figures"].as_array().map_or(&[][..], Vec::as_slice);
    for (place, figure) in figures.iter().enumerate() {
        let svg = figure["svg"].as_str().unwrap_or("");
        SvgImage::new(Bytes::from_string(svg.to_owned()))
            .map_err(|error| ReportError::Figure { number: place + 1, why: format!("{error:?}") })?;
    }
    Ok(())
}

/// The time of issue with its offset, as the file's metadata wants it.
fn timestamp(text: &str) -> Option<Timestamp> {
    let pieces = jiff::fmt::temporal::Pieces::parse(text).ok()?;
    let (date, time) = (pieces.date(), pieces.time()?);
    let offset = pieces.to_numeric_offset()?;
    let number = |part: i8| u8::try_from(part).ok();
    let datetime = Datetime::from_ymd_hms(
        i32::from(date.year()),
        number(date.month())?,
        number(date.day())?,
        number(time.hour())?,
        number(time.minute())?,
        number(time.second())?,
    )?;
    Timestamp::new_local(datetime, offset.seconds() / 60)
}

/// What the typesetter says, each with the line of the layout where it says so.
fn setting(world: &ReportWorld, errors: &[SourceDiagnostic]) -> ReportError {
    let place = |error: &SourceDiagnostic| {
        let range = world.range(error.span)?;
        let line = world.layout.text().get(..range.start)?.matches('\n').count() + 1;
        Some(format!("{}:{line}: ", world.name))
    };
    let said: Vec<_> =
        errors.iter().map(|error| format!("{}{}", place(error).unwrap_or_default(), error.message)).collect();
    ReportError::Setting { why: said.join("; ") }
}

fn fault(error: &dyn std::fmt::Display) -> ReportError {
    ReportError::Setting { why: error.to_string() }
}

fn file(name: &str) -> FileId {
    let path = VirtualPath::new(name).expect("the names are plain file names");
    RootedPath::new(VirtualRoot::Project, path).intern()
}

/// What all reports share: the language of the layout and the letters.
struct Assets {
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
}

fn assets() -> &'static Assets {
    static ASSETS: OnceLock<Assets> = OnceLock::new();
    ASSETS.get_or_init(|| {
        let fonts: Vec<Font> = typst_assets::fonts().flat_map(|data| Font::iter(Bytes::new(data))).collect();
        // The extras of accessibility mark the first cell of a row as the head of that row.
        let library = Library::builder().with_features([Feature::A11yExtras].into_iter().collect()).build();
        Assets { library: LazyHash::new(library), book: LazyHash::new(FontBook::from_fonts(&fonts)), fonts }
    })
}

/// All that the layout can see.
struct ReportWorld {
    assets: &'static Assets,
    name: &'static str,
    layout: Source,
    data: Bytes,
    record: Bytes,
}

impl World for ReportWorld {
    fn library(&self) -> &LazyHash<Library> {
        &self.assets.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.assets.book
    }

    fn main(&self) -> FileId {
        self.layout.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.layout.id() { Ok(self.layout.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        if id == file(DATA_NAME) {
            Ok(self.data.clone())
        } else if id == file(ATTACHMENT) {
            Ok(self.record.clone())
        } else {
            Err(FileError::AccessDenied)
        }
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.assets.fonts.get(index).cloned()
    }

    fn today(&self, _offset: Option<Duration>) -> Option<Datetime> {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_of_issue_needs_date_time_and_offset() {
        for good in ["2026-03-14T09:30:00+01:00", "2026-03-14T08:30:00Z", "2026-03-14 09:30:00-03:30"] {
            assert!(timestamp(good).is_some(), "{good} was not read");
        }
        for bad in ["", "14.03.2026", "2026-03-14", "2026-03-14T09:30:00", "2026-02-30T09:30:00Z", "today"] {
            assert!(timestamp(bad).is_none(), "{bad} was read");
        }
    }

    #[test]
    fn the_layout_sees_its_three_files_and_no_other() {
        let world = ReportWorld {
            assets: assets(),
            name: TEST_REPORT.name,
            layout: Source::new(file(TEST_REPORT.name), String::new()),
            data: Bytes::new(b"{}".to_vec()),
            record: Bytes::new(b"[]".to_vec()),
        };
        assert_eq!(world.file(file(DATA_NAME)).unwrap().as_slice(), b"{}");
        assert_eq!(world.file(file(ATTACHMENT)).unwrap().as_slice(), b"[]");
        for other in ["etc/passwd", "Cargo.toml", "other.typ"] {
            assert_eq!(world.file(file(other)), Err(FileError::AccessDenied));
            assert_eq!(world.source(file(other)).err(), Some(FileError::AccessDenied));
        }
        assert!(world.today(None).is_none());
    }
}
