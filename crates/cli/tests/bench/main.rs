//! The whole bench by its one command: what a person types, what they read, and what the record holds afterwards.
//!
//! Everything runs through the real program, in a folder of its own, as the invented Millrace Laboratory would.

#![allow(clippy::unwrap_used, reason = "what a test rests on may end it")]

mod browser;
mod laboratory;
mod program;
mod seeded;
#[path = "../../../audit_trail/tests/trail/server.rs"]
#[allow(dead_code, reason = "these tests cut no lines")]
mod server;

mod accounts;
mod additions;
mod cadmium;
mod copies;
mod database;
mod demo;
mod examples;
mod handbook;
mod instrument_file;
mod pages;
mod planning;
mod qualify;
mod simulating;
mod states;
mod superseding;

mod bad_input;
mod refusals;
mod surroundings;

mod forged;
mod since;
mod strangers;
mod tampered;

mod killed;
mod two_at_once;
