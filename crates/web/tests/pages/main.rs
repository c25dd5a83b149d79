//! The pages as a whole: doors and roles, sign-in, forms, twins, limits, and a socket under load.

#![allow(clippy::unwrap_used, reason = "what a test rests on may end it")]

mod bench;

mod acting;
mod doors;
mod signing_in;
mod twins;

mod sockets;
