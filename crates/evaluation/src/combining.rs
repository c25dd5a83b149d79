//! Fourth stage: from the measured solution through dilution, blank and portion to the result, by the kind of the method.

use darkline_metrology::conformity::{Summand, sum_bounds};
use darkline_metrology::estimate::Estimate;
use darkline_metrology::kind::{
    AmountPerDose, Factor, Kind, Mass, MassConcentration, MassFraction, ReleasePerArea, Volume,
};
use darkline_metrology::model::{Derivation, Interval, Model, Term};
use darkline_record::figure::Uncertain;
use darkline_record::identity::{BatchId, PortionId};
use darkline_record::method::{ResolvedMethod, ResultPlan, Subtract};
use darkline_record::order::ResultKind;
use darkline_record::package::DataPackage;
use darkline_record::preparation::{Portion, PortionRole};
use darkline_record::run::{RowHolds, Run};

use crate::calibrating::standards_unit;
use crate::quantifying::Solution;

/// A term of one of the kinds that results have.
#[derive(Clone, Copy, Debug)]
pub enum ResultTerm<'m> {
    /// A mass concentration.
    MassConcentration(Term<'m, MassConcentration>),
    /// A mass fraction.
    MassFraction(Term<'m, MassFraction>),
    /// A release per area.
    ReleasePerArea(Term<'m, ReleasePerArea>),
    /// An amount per dose.
    AmountPerDose(Term<'m, AmountPerDose>),
}

/// An estimate in the unit of the report.
#[derive(Clone, Debug, PartialEq)]
pub struct ResultEstimate {
    /// Value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Effective degrees of freedom.
    pub dof: f64,
    /// Signed contributions by source, in the unit of the report, sorted by source.
    pub contributions: Vec<(String, f64)>,
}

/// A result by Monte Carlo, in the unit of the report.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Simulated {
    /// Mean of the trials.
    pub mean: f64,
    /// Their standard deviation.
    pub u: f64,
    /// The symmetric coverage interval.
    pub symmetric: (f64, f64),
    /// The shortest one.
    pub shortest: (f64, f64),
    /// Trials in which a calibration had no solution.
    pub without_solution: u32,
}

/// What one row of a portion says about the material.
#[derive(Clone, Debug)]
pub struct PortionResult<'m> {
    /// The row.
    pub row: u32,
    /// The batch.
    pub batch: BatchId,
    /// The portion.
    pub portion: PortionId,
    /// Mass concentration in the undiluted solution of the portion, blank not subtracted.
    pub solution: Term<'m, MassConcentration>,
    /// The result; `None` for a method blank, or where the portion lacks what its kind needs.
    pub result: Option<ResultTerm<'m>>,
    /// The result, in the unit of the method, that a kilogram in a cubic metre of the measured solution would give with no
    /// blank; only where the method has limits worked out.
    pub per_concentration: Option<f64>,
}

impl<'m> ResultTerm<'m> {
    /// The estimate in a unit; `None` where the unit belongs to another kind.
    pub fn estimate(self, model: &'m Model, unit: &str) -> Option<ResultEstimate> {
        match self {
            ResultTerm::MassConcentration(term) => read(&model.first_order(term), unit),
            ResultTerm::MassFraction(term) => read(&model.first_order(term), unit),
            ResultTerm::ReleasePerArea(term) => read(&model.first_order(term), unit),
            ResultTerm::AmountPerDose(term) => read(&model.first_order(term), unit),
        }
    }

    /// The value in a unit; `None` where the unit belongs to another kind.
    pub fn value(self, unit: &str) -> Option<f64> {
        fn read<K: Kind>(term: Term<'_, K>, unit: &str) -> Option<f64> {
            K::unit(unit).map(|unit| unit.read(term.value()))
        }
        match self {
            ResultTerm::MassConcentration(term) => read(term, unit),
            ResultTerm::MassFraction(term) => read(term, unit),
            ResultTerm::ReleasePerArea(term) => read(term, unit),
            ResultTerm::AmountPerDose(term) => read(term, unit),
        }
    }

    /// The values it takes in trials, as figures in a unit; `None` where the unit belongs to another kind or the trials give no
    /// interval.
    pub fn monte_carlo(self, model: &'m Model, unit: &str, trials: u32, probability: f64) -> Option<Simulated> {
        match self {
            ResultTerm::MassConcentration(term) => simulate(model, term, unit, trials, probability),
            ResultTerm::MassFraction(term) => simulate(model, term, unit, trials, probability),
            ResultTerm::ReleasePerArea(term) => simulate(model, term, unit, trials, probability),
            ResultTerm::AmountPerDose(term) => simulate(model, term, unit, trials, probability),
        }
    }

    /// The largest relative standard uncertainty among what it is divided by; `None` where it is divided by nothing.
    pub fn least_certain_denominator(self, model: &Model) -> Option<f64> {
        match self {
            ResultTerm::MassConcentration(term) => model.least_certain_denominator(term),
            ResultTerm::MassFraction(term) => model.least_certain_denominator(term),
            ResultTerm::ReleasePerArea(term) => model.least_certain_denominator(term),
            ResultTerm::AmountPerDose(term) => model.least_certain_denominator(term),
        }
    }

    /// How it came about.
    pub fn explain(self, model: &'m Model) -> Derivation {
        match self {
            ResultTerm::MassConcentration(term) => model.explain(term),
            ResultTerm::MassFraction(term) => model.explain(term),
            ResultTerm::ReleasePerArea(term) => model.explain(term),
            ResultTerm::AmountPerDose(term) => model.explain(term),
        }
    }

    /// A figure in a unit of its kind, in SI; `None` where the unit belongs to another kind.
    pub fn si_of(self, figure: f64, unit: &str) -> Option<f64> {
        fn of<K: Kind>(_: Term<'_, K>, figure: f64, unit: &str) -> Option<f64> {
            K::unit(unit).map(|unit| unit.of(figure).si())
        }
        match self {
            ResultTerm::MassConcentration(term) => of(term, figure, unit),
            ResultTerm::MassFraction(term) => of(term, figure, unit),
            ResultTerm::ReleasePerArea(term) => of(term, figure, unit),
            ResultTerm::AmountPerDose(term) => of(term, figure, unit),
        }
    }

    /// Lower and upper bound of a sum; `None` of none, and where they are not of one kind.
    ///
    /// # Arguments
    /// * `summands`: each with its quantification limit in SI, where it lies below.
    pub fn sum_bounds(
        model: &'m Model,
        summands: &[(ResultTerm<'m>, Option<f64>)],
        unit: &str,
        name: &str,
    ) -> Option<(ResultTerm<'m>, ResultTerm<'m>)> {
        let &(first, _) = summands.first()?;
        macro_rules! bounds_of {
            ($($kind:ident),+) => { match first { $(ResultTerm::$kind(_) => {
                let terms: Option<Vec<_>> = summands.iter().map(|(summand, limit)| match (*summand, *limit) {
                    (ResultTerm::$kind(term), None) => Some(Summand::Quantified(term)),
                    (ResultTerm::$kind(found), Some(limit)) => {
                        Some(Summand::BelowLoq { found, limit: $kind::from_si(limit) })
                    }
                    _ => None,
                }).collect();
                let bounds = sum_bounds(model, &terms?);
                (
                    ResultTerm::$kind(named(bounds.lower, format!("lower bound of {name}"), unit)),
                    ResultTerm::$kind(named(bounds.upper, format!("upper bound of {name}"), unit)),
                )
            })+ } };
        }
        Some(bounds_of!(MassConcentration, MassFraction, ReleasePerArea, AmountPerDose))
    }

    /// The mean of several of one kind; `None` of none.
    pub fn mean(model: &'m Model, results: &[ResultTerm<'m>], unit: &str, name: &str) -> Option<ResultTerm<'m>> {
        let &first = results.first()?;
        if results.len() == 1 {
            return Some(first);
        }
        macro_rules! mean_of {
            ($($kind:ident),+) => { match first { $(ResultTerm::$kind(_) => {
                let terms: Vec<_> = results.iter().filter_map(|result| match result {
                    ResultTerm::$kind(term) => Some(*term),
                    _ => None,
                }).collect();
                ResultTerm::$kind(named(model.mean(&terms), name, unit))
            })+ } };
        }
        Some(mean_of!(MassConcentration, MassFraction, ReleasePerArea, AmountPerDose))
    }
}

fn read<K: Kind>(estimate: &Estimate<K>, unit: &str) -> Option<ResultEstimate> {
    let unit = K::unit(unit)?;
    Some(ResultEstimate {
        value: unit.read(estimate.value),
        u: unit.read_si(estimate.u()),
        dof: estimate.effective_dof(),
        contributions: estimate
            .contributions
            .iter()
            .map(|contribution| (contribution.source.to_string(), unit.read_si(contribution.u)))
            .collect(),
    })
}

fn simulate<'m, K: Kind>(
    model: &'m Model,
    term: Term<'m, K>,
    unit: &str,
    trials: u32,
    probability: f64,
) -> Option<Simulated> {
    let unit = K::unit(unit)?;
    let samples = model.monte_carlo(&[term], trials);
    let sample = samples.first()?;
    let ends = |interval: Interval<K>| (unit.read(interval.low), unit.read(interval.high));
    let simulated = Simulated {
        mean: unit.read(sample.mean()?),
        u: unit.read_si(sample.u()?.si()),
        symmetric: ends(sample.symmetric_interval(probability)?),
        shortest: ends(sample.shortest_interval(probability)?),
        without_solution: sample.n_without_solution,
    };
    let figures = [
        simulated.mean,
        simulated.u,
        simulated.symmetric.0,
        simulated.symmetric.1,
        simulated.shortest.0,
        simulated.shortest.1,
    ];
    figures.iter().all(|figure| figure.is_finite()).then_some(simulated)
}

fn named<'m, K: Kind>(term: Term<'m, K>, name: impl Into<String>, unit: &str) -> Term<'m, K> {
    term.named(name, K::unit(unit).unwrap_or_else(K::usual_unit))
}

pub(crate) fn input<'m, K: Kind>(
    model: &'m Model,
    figure: &Uncertain<K>,
    category: &str,
    owner: &str,
    letter: &str,
) -> Term<'m, K> {
    let sources = figure.sources(&format!("{category}/{owner}"));
    model.input(figure.value.value(), &sources).named(format!("{letter}({owner})"), figure.value.unit())
}

/// Works out the result of each row that holds a portion and is not replaced, in the order measured.
///
/// # Source
/// The formulas of the kinds: mass fraction `w = (ρ − ρ_blank)·V·f/m` and dry mass `w/dry matter`, EN 13804:2013 (from
/// memory); release per area `r = c₀·V/a`, QUAM:2012, A5.3; the rest is the definition of the kind.
pub fn combine<'m>(
    model: &'m Model,
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    solutions: &[Solution<'m>],
) -> Vec<PortionResult<'m>> {
    if let Some(plan) = &method.solid {
        return crate::solids::combine(model, package, run, method, plan, solutions);
    }
    let mut found = Vec::new();
    for solution in solutions.iter().filter(|solution| !solution.replaced) {
        let Some(row) = run.row(solution.row) else { continue };
        let RowHolds::Portion { batch, portion, dilution } = &row.holds else { continue };
        let Some(amount) = solution.amount else { continue };
        let is_diluted = dilution.value.value().si() != 1.0 || dilution.spread.is_some();
        let undiluted = if is_diluted {
            let factor = input(model, dilution, "dilution", &row.name, "f");
            (amount * factor).named(format!("ρ({})", row.name), standards_unit(run))
        } else {
            amount
        };
        found.push(PortionResult {
            row: row.number,
            batch: batch.clone(),
            portion: portion.clone(),
            solution: undiluted,
            result: None,
            per_concentration: None,
        });
    }
    let blanks = blanks(model, package, run, method, &found);
    for result in &mut found {
        let Some(portion) = package.portion(&result.batch, &result.portion) else { continue };
        if matches!(portion.role, PortionRole::MethodBlank) {
            continue;
        }
        let blank = blanks.iter().find(|(batch, _)| *batch == result.batch).map(|(_, blank)| *blank);
        let subtracted = match (method.blank.subtract, blank) {
            (Subtract::Nothing, _) => Some(result.solution),
            (Subtract::MethodBlank, Some(blank)) => Some(result.solution - blank),
            // Without the blank there is no result of this method; the rule `method-blank-missing` says so.
            (Subtract::MethodBlank, None) => None,
        };
        result.result = subtracted.and_then(|subtracted| formula(model, &method.result, portion, subtracted));
        if method.detection_limits.is_some() {
            result.per_concentration = per_concentration(run, method, portion, result.row);
        }
    }
    found
}

/// The mean method blank of each batch, where the method subtracts it.
pub(crate) fn blanks<'m>(
    model: &'m Model,
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    found: &[PortionResult<'m>],
) -> Vec<(BatchId, Term<'m, MassConcentration>)> {
    if method.blank.subtract == Subtract::Nothing {
        return Vec::new();
    }
    let mut blanks = Vec::new();
    for preparation in &package.preparations {
        let terms: Vec<Term<'m, MassConcentration>> = found
            .iter()
            .filter(|result| result.batch == preparation.id)
            .filter(|result| {
                package
                    .portion(&result.batch, &result.portion)
                    .is_some_and(|portion| matches!(portion.role, PortionRole::MethodBlank))
            })
            .map(|result| result.solution)
            .collect();
        if !terms.is_empty() {
            let blank = model.mean(&terms).named(format!("ρ_blank({})", preparation.id), standards_unit(run));
            blanks.push((preparation.id.clone(), blank));
        }
    }
    blanks
}

fn formula<'m>(
    model: &'m Model,
    plan: &ResultPlan,
    portion: &Portion,
    concentration: Term<'m, MassConcentration>,
) -> Option<ResultTerm<'m>> {
    let owner = portion.id.as_str();
    let volume = || portion.volume.as_ref().map(|volume| input(model, volume, "volume", owner, "V"));
    let mass = || portion.mass.as_ref().map(|mass| input(model, mass, "mass", owner, "m"));
    Some(match plan.kind {
        ResultKind::MassConcentration => {
            let taken: Option<Term<'m, Volume>> =
                portion.volume_taken.as_ref().map(|taken| input(model, taken, "volume taken", owner, "V₀"));
            let in_sample = match (volume(), taken) {
                (Some(volume), Some(taken)) => concentration * (volume / taken),
                _ => concentration,
            };
            ResultTerm::MassConcentration(finish(model, plan, in_sample, owner, "ρ"))
        }
        ResultKind::MassFraction => {
            let fraction = mass_fraction(model, portion, concentration, volume()?, mass()?);
            ResultTerm::MassFraction(finish(model, plan, fraction, owner, "w"))
        }
        ResultKind::ReleasePerArea => {
            let area = input(model, portion.area.as_ref()?, "area", owner, "a");
            ResultTerm::ReleasePerArea(finish(model, plan, concentration * volume()? / area, owner, "r"))
        }
        ResultKind::AmountPerDose => {
            let dose = input(model, portion.dose.as_ref()?, "dose", owner, "m_dose");
            let fraction = mass_fraction(model, portion, concentration, volume()?, mass()?);
            ResultTerm::AmountPerDose(finish(model, plan, (fraction * dose).per_dose(), owner, "n"))
        }
    })
}

/// The formula of a portion at a concentration of one, on a tape of its own that leaves no trace in the result's.
fn per_concentration(run: &Run, method: &ResolvedMethod, portion: &Portion, row: u32) -> Option<f64> {
    let RowHolds::Portion { dilution, .. } = &run.row(row)?.holds else { return None };
    let aside = Model::new();
    let one = aside.exact(MassConcentration::from_si(dilution.value.value().si()));
    formula(&aside, &method.result, portion, one)?.value(&method.result.unit).filter(|value| value.is_finite())
}

fn mass_fraction<'m>(
    model: &'m Model,
    portion: &Portion,
    concentration: Term<'m, MassConcentration>,
    volume: Term<'m, Volume>,
    mass: Term<'m, Mass>,
) -> Term<'m, MassFraction> {
    let as_weighed = concentration * volume / mass;
    match &portion.dry_matter {
        Some(dry_matter) => as_weighed / input(model, dry_matter, "dry matter", portion.id.as_str(), "w_dry"),
        None => as_weighed,
    }
}

/// Multiplies by the further factors of the method and names the result.
pub(crate) fn finish<'m, K: Kind>(
    model: &'m Model,
    plan: &ResultPlan,
    term: Term<'m, K>,
    owner: &str,
    letter: &str,
) -> Term<'m, K> {
    let mut term = term;
    for factor in &plan.factors {
        let sources = factor.factor.sources(&format!("factor {}", factor.name));
        let value: Term<'m, Factor> = model
            .input(factor.factor.value.value(), &sources)
            .named(format!("f_{}", factor.name), factor.factor.value.unit());
        term = term * value;
    }
    named(term, format!("{letter}({owner})"), &plan.unit)
}
