//! The tape itself: nodes in the order they were written, their values, and the sources behind the inputs.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::sync::Arc;

use super::fit::{Fit, NoSolution};
use super::term::Term;
use crate::kind::{Kind, Unit};
use crate::source::{PoolId, Shape, Source, SourceId};

/// A measurement model under construction. Terms borrow it and are `Copy`.
#[derive(Debug, Default)]
pub struct Model {
    pub(super) tape: RefCell<Tape>,
}

/// What one place of the tape does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Node {
    Exact,
    Input { first: u32, end: u32 },
    Add(u32, u32),
    Sub(u32, u32),
    Mul(u32, u32),
    Div(u32, u32),
    Sum { first: u32, end: u32 },
    Sqrt(u32),
    Ln(u32),
    Exp(u32),
    Sin(u32),
    Cos(u32),
    Atan2(u32, u32),
    Solve { fit: u32, parameter: u32 },
}

/// How strongly a source moves an input.
#[derive(Clone, Copy, Debug)]
pub(super) struct Loading {
    pub source: u32,
    pub u: f64,
}

#[derive(Clone, Debug)]
pub(super) struct KnownSource {
    pub id: SourceId,
    pub dof: f64,
    pub pool: Option<PoolId>,
    pub shape: Shape,
}

#[derive(Debug)]
pub(super) struct PlacedFit {
    pub fit: Arc<dyn Fit>,
    pub from: Vec<u32>,
    pub partials: Vec<f64>,
}

/// How a node is shown in a derivation.
#[derive(Clone, Debug)]
pub(super) struct Name {
    pub name: String,
    pub symbol: &'static str,
    pub numerator: f64,
    pub denominator: f64,
}

#[derive(Debug, Default)]
pub(super) struct Tape {
    pub nodes: Vec<Node>,
    pub values: Vec<f64>,
    pub loadings: Vec<Loading>,
    pub terms_of_sums: Vec<u32>,
    pub sources: Vec<KnownSource>,
    /// Places of the sources, in the order of their names.
    pub sources_in_order: Vec<u32>,
    pub fits: Vec<PlacedFit>,
    pub names: BTreeMap<u32, Name>,
}

impl Tape {
    #[inline]
    pub fn push(&mut self, node: Node, value: f64) -> u32 {
        self.nodes.push(node);
        self.values.push(value);
        u32::try_from(self.nodes.len() - 1)
            .expect("a tape of four thousand million terms does not fit into memory first")
    }

    /// Visits the terms that a node is worked out from.
    pub fn operands(&self, node: Node, mut visit: impl FnMut(u32)) {
        match node {
            Node::Exact | Node::Input { .. } => {}
            Node::Add(a, b) | Node::Sub(a, b) | Node::Mul(a, b) | Node::Div(a, b) | Node::Atan2(a, b) => {
                visit(a);
                visit(b);
            }
            Node::Sum { first, end } => {
                self.terms_of_sums[first as usize..end as usize].iter().copied().for_each(visit)
            }
            Node::Sqrt(a) | Node::Ln(a) | Node::Exp(a) | Node::Sin(a) | Node::Cos(a) => visit(a),
            Node::Solve { fit, .. } => self.fits[fit as usize].from.iter().copied().for_each(visit),
        }
    }

    /// Which terms these rest on, themselves included; the answer ends with the last of them.
    pub fn needed(&self, ys: &[u32]) -> Vec<bool> {
        let mut needed = vec![false; ys.iter().max().map_or(0, |&last| last as usize + 1)];
        for &y in ys {
            needed[y as usize] = true;
        }
        for place in (0..needed.len()).rev() {
            if needed[place] {
                self.operands(self.nodes[place], |from| needed[from as usize] = true);
            }
        }
        needed
    }

    fn place_of(&mut self, source: &Source) -> u32 {
        // Sources are often written in the order of their names, and then the last one settles it.
        let in_order = &self.sources_in_order;
        let at = match in_order.last() {
            Some(&last) if self.sources[last as usize].id < source.id => in_order.len(),
            _ => match in_order.binary_search_by(|&place| self.sources[place as usize].id.cmp(&source.id)) {
                Ok(found) => return in_order[found],
                Err(free) => free,
            },
        };
        let place = u32::try_from(self.sources.len()).expect("sources are fewer than terms");
        self.sources.push(KnownSource {
            id: source.id.clone(),
            dof: source.dof,
            pool: source.pool.clone(),
            shape: source.shape,
        });
        self.sources_in_order.insert(at, place);
        place
    }
}

impl Model {
    /// An empty model, with room for an ordinary budget.
    pub fn new() -> Self {
        const ROOM: usize = 64;
        let tape = Tape {
            nodes: Vec::with_capacity(ROOM),
            values: Vec::with_capacity(ROOM),
            loadings: Vec::with_capacity(ROOM),
            terms_of_sums: Vec::with_capacity(ROOM),
            sources: Vec::with_capacity(ROOM / 2),
            sources_in_order: Vec::with_capacity(ROOM / 2),
            ..Tape::default()
        };
        Self { tape: RefCell::new(tape) }
    }

    /// A quantity taken as exact.
    pub fn exact<K: Kind>(&self, value: K) -> Term<'_, K> {
        let node = self.tape.borrow_mut().push(Node::Exact, value.si());
        Term::at(self, node)
    }

    /// A quantity with the causes of its uncertainty.
    ///
    /// # Arguments
    /// * `sources`: any number; those with `u = 0` are left out. Where a [`SourceId`] is met again, what was said first
    ///   about its degrees of freedom, pool and shape stands; its `u` belongs to this input.
    pub fn input<K: Kind>(&self, value: K, sources: &[Source]) -> Term<'_, K> {
        let mut tape = self.tape.borrow_mut();
        let first = u32::try_from(tape.loadings.len()).expect("loadings are fewer than bytes of memory");
        for source in sources.iter().filter(|source| source.u != 0.0) {
            let place = tape.place_of(source);
            tape.loadings.push(Loading { source: place, u: source.u });
        }
        let end = u32::try_from(tape.loadings.len()).expect("loadings are fewer than bytes of memory");
        let node = tape.push(Node::Input { first, end }, value.si());
        drop(tape);
        Term::at(self, node)
    }

    /// Quantities with a given covariance matrix, which becomes latent sources by Cholesky's factor.
    ///
    /// # Arguments
    /// * `values`: n quantities.
    /// * `covariance`: n × n, row by row, in SI units.
    /// * `name`: the latent sources are called `name/1` … `name/n`.
    /// * `dof`: degrees of freedom behind the matrix, shared by all as one pool; infinite where it is known.
    ///
    /// # Errors
    /// [`NotACovariance`] where the matrix has another size, an entry that is not finite, two halves that differ, or is
    /// not positive semidefinite. Rounding is allowed for: 10⁻⁹ of the standard deviations between the halves, 10⁻¹² of
    /// the variance in a pivot.
    ///
    /// # Source
    /// JCGM 102:2011, 6.4.8: a multivariate normal distribution is sampled through the Cholesky factor.
    pub fn correlated<K: Kind>(
        &self,
        values: &[K],
        covariance: &[f64],
        name: &str,
        dof: f64,
    ) -> Result<Vec<Term<'_, K>>, NotACovariance> {
        let n = values.len();
        let factor = cholesky(covariance, n)?;
        Ok(values
            .iter()
            .enumerate()
            .map(|(i, &value)| {
                let sources: Vec<Source> = (0..=i)
                    .map(|j| Source {
                        id: SourceId::new(format!("{name}/{}", j + 1)),
                        u: factor[i * n + j],
                        dof,
                        pool: Some(PoolId::new(name)),
                        shape: Shape::Normal,
                    })
                    .collect();
                self.input(value, &sources)
            })
            .collect())
    }

    /// Adds terms in the order given.
    pub fn sum<K: Kind>(&self, terms: &[Term<'_, K>]) -> Term<'_, K> {
        let mut tape = self.tape.borrow_mut();
        let first = u32::try_from(tape.terms_of_sums.len()).expect("terms of sums are fewer than bytes of memory");
        let mut value = 0.0;
        for term in terms {
            value += tape.values[term.node as usize];
            tape.terms_of_sums.push(term.node);
        }
        let end = u32::try_from(tape.terms_of_sums.len()).expect("terms of sums are fewer than bytes of memory");
        let node = tape.push(Node::Sum { first, end }, value);
        drop(tape);
        Term::at(self, node)
    }

    /// The arithmetic mean of one term or more; of none it is an exact zero.
    pub fn mean<K: Kind>(&self, terms: &[Term<'_, K>]) -> Term<'_, K> {
        let n = terms.len().max(1);
        if n == 1 {
            return self.sum(terms);
        }
        #[expect(clippy::cast_precision_loss, reason = "replicates are counted on fingers")]
        let n = self.exact(crate::kind::Factor::from_si(n as f64));
        self.sum(terms) / n
    }

    /// Solves a fit for its parameters.
    ///
    /// # Arguments
    /// * `from`: the inputs of the fit, in its order, as nodes of any kind ([`Term::node`]).
    ///
    /// # Errors
    /// [`NoSolution`] where the fit has none for these values.
    pub fn solve(&self, fit: Arc<dyn Fit>, from: Vec<u32>) -> Result<Vec<u32>, NoSolution> {
        let mut tape = self.tape.borrow_mut();
        let inputs: Vec<f64> = from.iter().map(|&node| tape.values[node as usize]).collect();
        let n = fit.n_parameters();
        let mut solution = vec![0.0; n];
        fit.solve(&inputs, &mut solution)?;
        let mut partials = vec![0.0; n * inputs.len()];
        fit.partials(&inputs, &solution, &mut partials);
        if solution.iter().chain(&partials).any(|value| !value.is_finite()) {
            return Err(NoSolution { reason: format!("{}: the solution is not finite", fit.describe()) });
        }
        let place = u32::try_from(tape.fits.len()).expect("fits are fewer than terms");
        let nodes = (0..n)
            .map(|parameter| {
                let parameter = u32::try_from(parameter).expect("parameters are few");
                tape.push(Node::Solve { fit: place, parameter }, solution[parameter as usize])
            })
            .collect();
        tape.fits.push(PlacedFit { fit, from, partials });
        Ok(nodes)
    }

    /// Takes a node up as a term of a kind; for parameters of [`Model::solve`], whose kind the fit does not know.
    pub fn term<K: Kind>(&self, node: u32) -> Term<'_, K> {
        assert!((node as usize) < self.tape.borrow().nodes.len(), "nodes come from this model");
        Term::at(self, node)
    }

    pub(super) fn name<K: Kind>(&self, node: u32, name: String, unit: Unit<K>) {
        let shown = Name { name, symbol: unit.symbol(), numerator: unit.numerator, denominator: unit.denominator };
        self.tape.borrow_mut().names.insert(node, shown);
    }
}

/// A matrix that cannot be a covariance.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotACovariance {
    /// The number of entries does not belong to the number of quantities.
    #[error("{found} covariances were given for {n} quantities; {n} × {n} are needed")]
    Size {
        /// Entries found.
        found: usize,
        /// Quantities given.
        n: usize,
    },
    /// An entry is infinite or not a number.
    #[error("the covariance in row {row}, column {column} is {value}")]
    NotFinite {
        /// Row, counted from one.
        row: usize,
        /// Column, counted from one.
        column: usize,
        /// The entry.
        value: f64,
    },
    /// An entry differs from the one mirrored at the diagonal.
    #[error(
        "the covariance in row {row}, column {column} is {value}, the one in row {column}, column {row} is {mirrored}"
    )]
    Asymmetric {
        /// Row, counted from one.
        row: usize,
        /// Column, counted from one.
        column: usize,
        /// The entry.
        value: f64,
        /// The entry it is compared with.
        mirrored: f64,
    },
    /// A covariance is larger than the variances beside it allow, given the rows above.
    #[error("the covariance in row {row}, column {column} is {value}, more than the variances allow")]
    TooLarge {
        /// Row, counted from one.
        row: usize,
        /// Column, counted from one.
        column: usize,
        /// The entry.
        value: f64,
    },
    /// A pivot of the factorisation is negative.
    #[error("the covariance matrix is not positive semidefinite: pivot {row} is {pivot}")]
    Negative {
        /// Row, counted from one.
        row: usize,
        /// The pivot.
        pivot: f64,
    },
}

/// Lower Cholesky factor of a positive semidefinite matrix; a zero pivot gives a zero column.
fn cholesky(matrix: &[f64], n: usize) -> Result<Vec<f64>, NotACovariance> {
    if matrix.len() != n * n {
        return Err(NotACovariance::Size { found: matrix.len(), n });
    }
    // The largest covariance that the variances of two quantities allow.
    let bound = |i: usize, j: usize| matrix[i * n + i].abs().sqrt() * matrix[j * n + j].abs().sqrt();
    for (i, j) in (0..n).flat_map(|i| (0..n).map(move |j| (i, j))) {
        let (value, mirrored) = (matrix[i * n + j], matrix[j * n + i]);
        let (row, column) = (i + 1, j + 1);
        if !value.is_finite() {
            return Err(NotACovariance::NotFinite { row, column, value });
        }
        if j < i && (value - mirrored).abs() > 1e-9 * bound(i, j) {
            return Err(NotACovariance::Asymmetric { row, column, value, mirrored });
        }
        if value.abs() > (1.0 + 1e-6) * bound(i, j) {
            return Err(NotACovariance::TooLarge { row, column, value });
        }
    }
    let mut factor = vec![0.0; n * n];
    for j in 0..n {
        let mut pivot = matrix[j * n + j];
        for k in 0..j {
            pivot -= factor[j * n + k] * factor[j * n + k];
        }
        // Rounding may leave a pivot of a singular matrix a little below zero.
        let allowance = 1e-12 * matrix[j * n + j].abs();
        if pivot.is_nan() || pivot < -allowance {
            return Err(NotACovariance::Negative { row: j + 1, pivot });
        }
        let root = if pivot <= allowance { 0.0 } else { pivot.sqrt() };
        factor[j * n + j] = root;
        for i in j + 1..n {
            let mut entry = matrix[i * n + j];
            for k in 0..j {
                entry -= factor[i * n + k] * factor[j * n + k];
            }
            // A pivot below the allowance carries at most the root of it.
            if root == 0.0 && entry.abs() > 1e-6 * bound(i, j) {
                return Err(NotACovariance::TooLarge { row: i + 1, column: j + 1, value: matrix[i * n + j] });
            }
            factor[i * n + j] = if root == 0.0 { 0.0 } else { entry / root };
        }
    }
    Ok(factor)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::Factor;
    use proptest::prelude::*;

    #[test]
    fn a_covariance_matrix_comes_back_from_its_latent_sources() {
        let model = Model::new();
        let given = [4.0, 1.0, -2.0, 1.0, 9.0, 0.5, -2.0, 0.5, 2.0];
        let values = [1.0, 2.0, 3.0].map(Factor::from_si);
        let terms = model.correlated(&values, &given, "matrix", f64::INFINITY).unwrap();
        let estimates: Vec<_> = terms.iter().map(|&term| model.first_order(term)).collect();
        for i in 0..3 {
            for j in 0..3 {
                let covariance = estimates[i].covariance(&estimates[j]);
                assert!((covariance - given[3 * i + j]).abs() < 1e-12, "{i} {j}: {covariance}");
            }
        }
    }

    #[test]
    fn a_matrix_that_is_no_covariance_is_turned_back() {
        let model = Model::new();
        let values = [1.0, 2.0].map(Factor::from_si);
        assert!(matches!(
            model.correlated(&values, &[1.0, 2.0, 2.0, 1.0], "m", f64::INFINITY),
            Err(NotACovariance::TooLarge { row: 1, column: 2, .. })
        ));
        let kept = |matrix: &[f64]| model.correlated(&values, matrix, "m", f64::INFINITY).map(drop);
        assert!(matches!(kept(&[1.0]), Err(NotACovariance::Size { .. })));
        assert!(matches!(kept(&[1.0, 0.5, 0.4, 1.0]), Err(NotACovariance::Asymmetric { row: 2, column: 1, .. })));
        assert!(matches!(kept(&[f64::INFINITY, 0.0, 0.0, 1.0]), Err(NotACovariance::NotFinite { row: 1, .. })));
        assert!(matches!(kept(&[-1.0, 0.0, 0.0, 1.0]), Err(NotACovariance::Negative { row: 1, .. })));
        // Each pair may go together so, the three may not.
        let three = [1.0, 0.9, 0.9, 0.9, 1.0, -0.9, 0.9, -0.9, 1.0];
        let refused = model.correlated(&[1.0, 2.0, 3.0].map(Factor::from_si), &three, "m", f64::INFINITY).map(drop);
        assert!(matches!(refused, Err(NotACovariance::Negative { row: 3, .. })));
        assert!(matches!(kept(&[0.0, 0.5, 0.5, 1.0]), Err(NotACovariance::TooLarge { row: 1, column: 2, .. })));
    }

    proptest! {
        #[test]
        fn any_matrix_is_turned_back_or_comes_back(
            entries in prop::collection::vec(prop_oneof![4 => -2.0..2.0_f64, 1 => any::<f64>(), 1 => Just(0.0)], 6),
            mirrored in any::<bool>(),
        ) {
            let [a, b, c, d, e, f] = entries[..] else { unreachable!() };
            let given = [a.abs(), b, c, if mirrored { b } else { f }, d.abs(), e, c, e, f.abs()];
            let model = Model::new();
            if let Ok(terms) = model.correlated(&[1.0, 2.0, 3.0].map(Factor::from_si), &given, "m", f64::INFINITY) {
                let estimates: Vec<_> = terms.iter().map(|&term| model.first_order(term)).collect();
                for (i, x) in estimates.iter().enumerate() {
                    for (j, y) in estimates.iter().enumerate() {
                        let bound = given[4 * i].sqrt() * given[4 * j].sqrt();
                        prop_assert!((x.covariance(y) - given[3 * i + j]).abs() <= 2e-6 * bound, "{i} {j} {given:?}");
                    }
                }
            }
        }
    }
}
