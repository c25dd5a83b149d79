//! The shipped tables against themselves and against the formulae that their publications print.

mod formulae;
mod provenance;
