//! A term: a place on the tape with a kind, and the operations between kinds that make sense.

use std::marker::PhantomData;
use std::ops::{Add, Div, Mul, Sub};

use super::tape::{Model, Node};
use crate::kind::{
    Absorbance, AmountPerDose, Area, Factor, IntegratedAbsorbance, Kind, Mass, MassConcentration, MassFraction,
    ReleasePerArea, Response, Sensitivity, Unit, Volume,
};

/// A quantity of the model. Copy; borrows the model it stands on.
#[derive(Debug)]
pub struct Term<'m, K> {
    pub(super) model: &'m Model,
    pub(super) node: u32,
    kind: PhantomData<K>,
}

impl<K> Clone for Term<'_, K> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<K> Copy for Term<'_, K> {}

impl<'m, K: Kind> Term<'m, K> {
    pub(super) fn at(model: &'m Model, node: u32) -> Self {
        Self { model, node, kind: PhantomData }
    }

    /// Its value.
    pub fn value(self) -> K {
        K::from_si(self.model.tape.borrow().values[self.node as usize])
    }

    /// Its place on the tape, for [`Model::solve`].
    pub fn node(self) -> u32 {
        self.node
    }

    /// Gives it a name and the unit it is shown in, so that the derivation has a line for it.
    pub fn named(self, name: impl Into<String>, unit: Unit<K>) -> Self {
        self.model.name(self.node, name.into(), unit);
        self
    }

    fn with<L: Kind, M: Kind>(
        self,
        other: Term<'m, L>,
        node: fn(u32, u32) -> Node,
        act: fn(f64, f64) -> f64,
    ) -> Term<'m, M> {
        assert!(std::ptr::eq(self.model, other.model), "terms of two models do not meet");
        let mut tape = self.model.tape.borrow_mut();
        let value = act(tape.values[self.node as usize], tape.values[other.node as usize]);
        let place = tape.push(node(self.node, other.node), value);
        drop(tape);
        Term::at(self.model, place)
    }

    fn through(self, node: fn(u32) -> Node, act: fn(f64) -> f64) -> Self {
        let mut tape = self.model.tape.borrow_mut();
        let value = act(tape.values[self.node as usize]);
        let place = tape.push(node(self.node), value);
        drop(tape);
        Term::at(self.model, place)
    }

    /// The same quantity seen as another kind of the same dimension; the caller says why that is right.
    fn seen_as<L: Kind>(self) -> Term<'m, L> {
        Term::at(self.model, self.node)
    }
}

impl<'m, K: Kind> Add for Term<'m, K> {
    type Output = Term<'m, K>;
    fn add(self, other: Self) -> Self::Output {
        self.with(other, Node::Add, |a, b| a + b)
    }
}

impl<'m, K: Kind> Sub for Term<'m, K> {
    type Output = Term<'m, K>;
    fn sub(self, other: Self) -> Self::Output {
        self.with(other, Node::Sub, |a, b| a - b)
    }
}

impl<'m, K: Kind> Mul<Term<'m, Factor>> for Term<'m, K> {
    type Output = Term<'m, K>;
    fn mul(self, other: Term<'m, Factor>) -> Self::Output {
        self.with(other, Node::Mul, |a, b| a * b)
    }
}

impl<'m, K: Kind> Div<Term<'m, Factor>> for Term<'m, K> {
    type Output = Term<'m, K>;
    fn div(self, other: Term<'m, Factor>) -> Self::Output {
        self.with(other, Node::Div, |a, b| a / b)
    }
}

macro_rules! products {
    ($($left:ident $act:ident $method:ident $right:ident = $output:ident, $node:expr, $value:expr;)+) => {$(
        impl<'m> $act<Term<'m, $right>> for Term<'m, $left> {
            type Output = Term<'m, $output>;
            fn $method(self, other: Term<'m, $right>) -> Self::Output {
                self.with(other, $node, $value)
            }
        }
    )+};
}

products! {
    MassConcentration Mul mul Volume = Mass, Node::Mul, |a, b| a * b;
    Mass Div div Volume = MassConcentration, Node::Div, |a, b| a / b;
    Mass Div div Area = ReleasePerArea, Node::Div, |a, b| a / b;
    Mass Div div Mass = MassFraction, Node::Div, |a, b| a / b;
    Volume Div div Volume = Factor, Node::Div, |a, b| a / b;
    MassConcentration Div div MassConcentration = Factor, Node::Div, |a, b| a / b;
    Response Div div Sensitivity = MassConcentration, Node::Div, |a, b| a / b;
    Sensitivity Mul mul MassConcentration = Response, Node::Mul, |a, b| a * b;
    Response Div div Response = Factor, Node::Div, |a, b| a / b;
    MassFraction Div div MassFraction = Factor, Node::Div, |a, b| a / b;
    MassFraction Mul mul Mass = Mass, Node::Mul, |a, b| a * b;
}

impl<'m> Term<'m, Mass> {
    /// The mass of analyte that comes with one dose.
    pub fn per_dose(self) -> Term<'m, AmountPerDose> {
        self.seen_as()
    }
}

impl<'m> Term<'m, Absorbance> {
    /// Peak or mean absorbance as the response of a run.
    pub fn as_response(self) -> Term<'m, Response> {
        self.seen_as()
    }
}

impl<'m> Term<'m, IntegratedAbsorbance> {
    /// Integrated absorbance as the response of a run.
    pub fn as_response(self) -> Term<'m, Response> {
        self.seen_as()
    }
}

impl<'m> Term<'m, Factor> {
    /// Square root.
    pub fn sqrt(self) -> Self {
        self.through(Node::Sqrt, f64::sqrt)
    }
    /// Natural logarithm.
    pub fn ln(self) -> Self {
        self.through(Node::Ln, libm::log)
    }
    /// Exponential.
    pub fn exp(self) -> Self {
        self.through(Node::Exp, libm::exp)
    }
    /// Sine of an angle in radian.
    pub fn sin(self) -> Self {
        self.through(Node::Sin, libm::sin)
    }
    /// Cosine of an angle in radian.
    pub fn cos(self) -> Self {
        self.through(Node::Cos, libm::cos)
    }
    /// The angle in radian, from −π to π, of the point with this ordinate and the abscissa given: a phase.
    pub fn atan2(self, abscissa: Self) -> Self {
        self.with(abscissa, Node::Atan2, libm::atan2)
    }
}
