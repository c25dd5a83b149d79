//! The whole trail from outside: appending, killing, tampering, and the tools of strangers.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod append;
mod database;
mod failing_disk;
mod files;
mod guards;
mod home;
mod kill;
mod millrace;
mod openssl;
mod server;
mod stranger;
mod tampering;
