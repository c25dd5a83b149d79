//! Files as instruments write them: any table of readings, read through a column mapping that the laboratory keeps.
//!
//! In the order of the work: [`code_page`], bytes to text; `parting`, text to cells; [`mapping`], what each column is, as a
//! document, and [`proposal`], a first draft of one with its evidence; [`received`], cells to readings as the instrument named
//! them; [`alignment`], which planned row each of them is; [`trace_mapping`], [`traces`] and [`pairing`], the traces beside it and
//! whose they are; [`taking`], all of it together, giving the rows of a table of readings and their pulses.
//!
//! [`balance`] is the same for weighings.
//!
//! One bad row is set aside with its reason; the file goes on. Nothing is guessed silently: what the mapping leaves open is a
//! fault, and what the file contradicts is told.

pub mod alignment;
pub mod balance;
pub mod code_page;
pub mod mapping;
mod moment;
mod number;
pub mod pairing;
mod parting;
pub mod proposal;
pub mod received;
pub mod taking;
pub mod trace_folder;
pub mod trace_mapping;
pub mod traces;
