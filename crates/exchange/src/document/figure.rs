//! Figures of documents: text with a unit; a table where the figure states how sure it is.

use darkline_metrology::kind::Kind;
use darkline_metrology::source::Shape;
use darkline_record::figure::{FigureFault, Given, Spread, Uncertain, Written};

use super::section::{Entry, Section};
use crate::nearest::one_of;

/// What a figure may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Wanted {
    /// Above zero.
    Positive,
    /// Zero or above.
    NotNegative,
    /// Any.
    Any,
}

impl Wanted {
    pub(crate) fn check<K: Kind>(self, figure: Written<K>) -> Result<Written<K>, FigureFault> {
        match self {
            Wanted::Positive => figure.positive(),
            Wanted::NotNegative => figure.not_negative(),
            Wanted::Any => Ok(figure),
        }
    }
}

const SHAPES: [Shape; 3] = [Shape::Rectangular, Shape::Triangular, Shape::Arcsine];

/// The fault of a figure, always with what to write instead.
pub(crate) fn worded(fault: &FigureFault) -> String {
    match fault {
        FigureFault::NotPositive { .. } => format!("{fault}; write a figure above zero"),
        FigureFault::Beyond { .. } => format!("{fault}; look at its exponent"),
        fault => fault.to_string(),
    }
}

impl Entry<'_> {
    /// A figure with its unit.
    pub(crate) fn figure<K: Kind>(&self, wanted: Wanted) -> Option<Written<K>> {
        let text = self.text_or_bare(K::EXAMPLE)?;
        text.parse().and_then(|figure| wanted.check(figure)).map_err(|fault| self.told(&worded(&fault))).ok()
    }

    /// A figure, exact as a text, or a table that states its uncertainty.
    pub(crate) fn uncertain<K: Kind>(&self, wanted: Wanted) -> Option<Uncertain<K>> {
        if !self.is_table() {
            return Some(Uncertain::exact(self.figure(wanted)?));
        }
        let form = format!("{} = {{ value = \"{}\", u = \"…\" }}", self.name(), K::EXAMPLE);
        let section = self.section(&form)?;
        let value = section.required("value", &format!("\"{}\"", K::EXAMPLE)).and_then(|entry| entry.figure(wanted));
        let spread = section.spread();
        section.close();
        Some(Uncertain { value: value?, spread: spread? })
    }
}

impl Section<'_> {
    /// What the keys `u`, `half_width`, `shape`, `dof` and `shared` say; `Some(None)` where none of them is there.
    pub(crate) fn spread<K: Kind>(&self) -> Option<Option<Spread<K>>> {
        let (u, half_width) = (self.optional("u"), self.optional("half_width"));
        let (shape, dof, shared) = (self.optional("shape"), self.optional("dof"), self.optional("shared"));
        let given = match (&u, &half_width) {
            (Some(_), Some(half_width)) => {
                half_width.fault("\"u\" and \"half_width\" both stand here", "state one of them");
                None
            }
            (Some(u), None) => {
                if let Some(shape) = &shape {
                    shape.fault(
                        "\"shape\" stands beside a standard uncertainty",
                        "take it away, or write half_width in place of u",
                    );
                }
                u.figure(Wanted::NotNegative).map(Given::U)
            }
            (None, Some(half_width)) => {
                let width = half_width.figure(Wanted::NotNegative);
                let shape = match &shape {
                    Some(shape) => shape.one_of("shape between limits", &SHAPES, Shape::word),
                    None => {
                        half_width.fault(
                            "a half-width needs the shape between its limits",
                            format!("write shape = {}", one_of(&["\"rectangular\"", "\"triangular\"", "\"arcsine\""])),
                        );
                        None
                    }
                };
                width.zip(shape).map(|(half_width, shape)| Given::Within { half_width, shape })
            }
            (None, None) => {
                for alone in [&shape, &dof, &shared].into_iter().flatten() {
                    alone.fault(
                        format!("\"{}\" stands here without an uncertainty", alone.name()),
                        "write u = \"…\" beside it, or take it away",
                    );
                }
                return [&shape, &dof, &shared].iter().all(|entry| entry.is_none()).then_some(None);
            }
        };
        let dof = match dof {
            Some(entry) => Some(entry.whole(1..=1_000_000)?),
            None => None,
        };
        let shared = match shared {
            Some(entry) => Some(entry.text()?),
            None => None,
        };
        Some(Some(Spread { given: given?, dof, shared }))
    }
}
