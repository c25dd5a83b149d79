//! Elements, lines, furnace programmes, flames, limits and cautions: data with its sources.
#![doc = include_str!("../README.md")]

mod caution;
mod element;
mod erratum;
mod flame;
mod furnace;
mod handbook;
mod limit;
mod neighbour;
mod preparation;
mod provenance;
mod stock;
mod zeeman;

pub use caution::{Applies, Caution, Cautions, General, Severity};
pub use element::{Bandpass, Element, ElementFlame, Figure, Interference, Line, LineRole, Modifier};
pub use erratum::Erratum;
pub use flame::{Buffer, Burner, Flame, Stoichiometry};
pub use furnace::{ModifierChoice, Programme, ProgrammeRow, ProgrammeShape};
pub use handbook::{Handbook, Unknown};
pub use limit::{Exposure, InForce, Limit};
pub use neighbour::{KnownPair, Neighbour, NeighbourKind};
pub use preparation::{Acid, Preservation, Route};
pub use provenance::{Provenance, Source};
pub use stock::Stock;
pub use zeeman::Splitting;
