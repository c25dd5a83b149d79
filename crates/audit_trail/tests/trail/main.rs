//! The whole trail from outside: appending, killing, tampering, and the tools of strangers.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod append;
mod files;
mod guards;
mod kill;
mod millrace;
mod openssl;
mod stranger;
mod tampering;
