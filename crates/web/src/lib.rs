//! The pages at the bench: rendered on the server, whole without scripts, each with twins as JSON and CSV.
//!
//! [`serve`] opens a door on an address and answers until it is told to stop; [`Desk`] is what all answers share: the
//! laboratory, kept folded, and who is signed in. [`ROUTES`] is every door of the house with who may pass it. [`Desk::answer`]
//! answers one request, so that tests need no socket.
//!
//! Nothing is worked out here: figures come from the outcome, words from the rules and the laboratory. This is the only place
//! with an async runtime, and the store is touched on threads that may wait, never inside it.

mod serving;

mod certificate;
mod connection;

mod front_door;

mod route;

mod desk;

mod access_log;
mod asked;
mod rate;
mod session;

mod answer;

mod form;
mod frame;
mod page;
mod prose;
mod sheet;
mod words;

mod pages;

pub use answer::Refused;
pub use certificate::{Certificate, CertificateFault};
pub use desk::{Desk, Settings};
pub use front_door::Peer;
pub use route::{How, ROUTES, Route, Who};
pub use serving::{ServeFault, Served, serve};
pub use session::Lasts;
