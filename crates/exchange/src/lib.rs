//! Files in and out: documents, reading tables, pulses, the archive of a data package; errors with file, line and column.
//!
//! Suggested reading order: [`fault`], what is told about a file; [`text_file`], how one is opened; then the documents in the
//! order of the work, [`order`], [`preparation`], [`method`], [`run`], [`run_order`], and [`folder`], which reads them together;
//! [`readings`] and [`pulses`] from the instrument; at last [`bag`], the archive.
//!
//! Every reader takes a name and a text and gives the document or all its faults at once. Nothing here knows a screen.

pub mod fault;
mod nearest;
mod sheet;
pub mod text_file;

mod document;
pub use document::Entered;

mod background_correction;
pub mod bench;
mod calibration_plan;
mod detection_limits;
pub mod element_symbol;
mod limits;
pub mod method;
pub mod order;
pub mod preparation;
pub mod run;
pub mod sealing;
mod uncertainty_plan;

mod separated;

pub mod decimal_sign;
pub mod json_lines;

pub mod run_order;
mod solid;

mod cross_check;
pub mod folder;
pub use cross_check::{Check, check_documents};

pub mod instrument_file;
pub mod pulse_stream;
pub mod pulses;
pub mod readings;

pub mod results;

pub mod bag;

#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
