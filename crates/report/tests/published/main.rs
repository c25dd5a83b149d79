//! The finished file held against the standards it follows, and against what people read in it.
//!
//! Needs the Debian packages `poppler-utils` and `qpdf`; a test that lacks its program fails and says so.

#![allow(clippy::unwrap_used, reason = "a test stops at the first thing that is not as it should be")]

mod bench_sheet;
mod iso_19005_3;
mod iso_iec_17025;
mod odd_text;
mod outside_reader;
mod qualification_protocol;
mod same_bytes;
mod what_people_read;

#[path = "../../examples/millrace_order/order.rs"]
mod order;
