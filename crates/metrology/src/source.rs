//! Where uncertainty comes from: a source has an identity, and equal identities are one cause.
//!
//! Two quantities that name the same [`SourceId`] correlate by themselves: one stock solution, one pipette, one
//! method blank shared by ten samples.

use std::fmt;
use std::sync::Arc;

/// The identity of a cause of uncertainty, for example `run-17/reading/204/repeatability`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SourceId(Arc<str>);

impl SourceId {
    /// A source with this name; equal names are one cause.
    pub fn new(name: impl AsRef<str>) -> Self {
        Self(Arc::from(name.as_ref()))
    }
    /// The name.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for SourceId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The identity of one estimated standard deviation that several sources share, for example the residual standard
/// deviation of a calibration. Its degrees of freedom count once.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PoolId(Arc<str>);

impl PoolId {
    /// A pool with this name.
    pub fn new(name: impl AsRef<str>) -> Self {
        Self(Arc::from(name.as_ref()))
    }
    /// The name.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// The distribution a source is drawn from in Monte Carlo, scaled to its standard uncertainty.
///
/// # Source
/// JCGM 101:2008, 6.4; the factors between half-width and standard uncertainty are those of GUM 4.3.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Normal; with finite degrees of freedom a scaled and shifted t (JCGM 101 6.4.9).
    Normal,
    /// Rectangular: half-width √3·u; with finite degrees of freedom ν its limits are themselves uncertain, by 1/√(2ν) of
    /// the half-width (GUM G.4.2), which makes it a curvilinear trapezoid (JCGM 101 6.4.3).
    Rectangular,
    /// Triangular: half-width √6·u.
    Triangular,
    /// Arcsine (U-shaped): half-width √2·u.
    Arcsine,
}

impl Shape {
    /// The word written in documents.
    pub fn word(self) -> &'static str {
        match self {
            Shape::Normal => "normal",
            Shape::Rectangular => "rectangular",
            Shape::Triangular => "triangular",
            Shape::Arcsine => "arcsine",
        }
    }
    /// The shape with this word.
    pub fn from_word(word: &str) -> Option<Self> {
        [Shape::Normal, Shape::Rectangular, Shape::Triangular, Shape::Arcsine]
            .into_iter()
            .find(|shape| shape.word() == word)
    }
    /// Standard uncertainty of a stated half-width; `None` for a normal shape, which has none.
    pub fn u_of_half_width(self, half_width: f64) -> Option<f64> {
        match self {
            Shape::Normal => None,
            Shape::Rectangular => Some(half_width / 3.0_f64.sqrt()),
            Shape::Triangular => Some(half_width / 6.0_f64.sqrt()),
            Shape::Arcsine => Some(half_width / 2.0_f64.sqrt()),
        }
    }
}

/// One cause of uncertainty of an input.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// Its identity.
    pub id: SourceId,
    /// Standard uncertainty it gives to this input, in the SI unit of the input. Signed: a shared source may push two
    /// inputs in opposite directions.
    pub u: f64,
    /// Degrees of freedom behind `u`, one or more; infinite where it is taken as known.
    pub dof: f64,
    /// The estimated standard deviation it shares with others.
    pub pool: Option<PoolId>,
    /// What Monte Carlo draws it from.
    pub shape: Shape,
}

impl Source {
    /// A source taken as known, drawn from a normal distribution.
    pub fn normal(id: SourceId, u: f64) -> Self {
        Self { id, u, dof: f64::INFINITY, pool: None, shape: Shape::Normal }
    }
    /// A source taken as known, of another shape.
    pub fn shaped(id: SourceId, u: f64, shape: Shape) -> Self {
        Self { id, u, dof: f64::INFINITY, pool: None, shape }
    }
    /// A source whose standard deviation was estimated with `dof` degrees of freedom.
    pub fn estimated(id: SourceId, u: f64, dof: f64) -> Self {
        Self { id, u, dof, pool: None, shape: Shape::Normal }
    }
    /// The same, sharing its estimated standard deviation with other sources.
    pub fn pooled(id: SourceId, u: f64, dof: f64, pool: PoolId) -> Self {
        Self { id, u, dof, pool: Some(pool), shape: Shape::Normal }
    }
}
