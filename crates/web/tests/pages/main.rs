//! The pages as a whole: doors and roles, sign-in, forms, twins, limits, and a socket under load.

mod bench;

mod acting;
mod doors;
mod signing_in;
mod twins;

mod sockets;
