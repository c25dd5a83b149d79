//! Weighed portions: each reading of a row is a portion with a mass of its own; together they are the result of the row.
//!
//! [`weigh`] belongs to the third stage and reads each portion's amount back from the calibration; [`combine`] stands in the
//! place of the fourth. [`outcomes`] tells masses, mass fractions, scatter and how many portions would be needed.
//!
//! A response is read back as the mass concentration that the dispensed volume of a solution would have; times that volume
//! it is a mass. Where powders give the sensitivity, their recovery divides what the samples show: the dispensed volume, the
//! slope and the stock of the solutions are the same terms in both and cancel.
//!
//! Masses count as exact in the sum: what weighing adds to the scatter of the portions is in that scatter.

use darkline_metrology::kind::{Factor, Kind, MassConcentration, MassFraction};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{Source, SourceId};
use darkline_metrology::summary;
use darkline_quality::solid_sampling::{Portions, portions_for_u};
use darkline_record::method::{ResolvedMethod, Subtract};
use darkline_record::order::ResultFigure;
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_record::run::{RowHolds, Run};
use darkline_record::solid::{SolidCalibration, SolidPlan};
use serde::{Deserialize, Serialize};

use crate::combining::{PortionResult, ResultTerm, blanks, finish, input};
use crate::flagging::RunWorked;
use crate::quantifying::Solution;

/// One weighed portion with what was found in it.
#[derive(Clone, Copy, Debug)]
pub struct Weighed<'m> {
    /// Its reading.
    pub number: u32,
    /// Its mass, in kg.
    pub mass: f64,
    /// What it shows, as the mass concentration of the dispensed volume.
    pub amount: Term<'m, MassConcentration>,
}

/// What the portions of a row tell.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SolidOutcome {
    /// The row.
    pub row: u32,
    /// The name on it.
    pub name: String,
    /// The portions in the order measured.
    pub portions: Vec<PortionOutcome>,
    /// Their mass-weighted mean, in the unit of the method.
    pub mean: f64,
    /// The unit.
    pub unit: String,
    /// Relative standard deviation of the portions, in per cent.
    pub rsd_percent: Option<f64>,
    /// Sampling constant, in mg: the scatter beyond the repeatability of the method, for a mass.
    pub sampling_constant_mg: Option<f64>,
    /// Homogeneity factor, in % mg^0.5.
    pub homogeneity_factor: Option<f64>,
    /// Portions of this mean mass for the standard uncertainty the method wants of their mean.
    pub portions_needed: Option<u32>,
    /// Of a powder standard: what was found over what it holds, with its standard uncertainty.
    pub powder_recovery: Option<(f64, f64)>,
}

/// One portion.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PortionOutcome {
    /// Its reading.
    pub number: u32,
    /// Its mass, in mg.
    pub mass_mg: f64,
    /// Its mass fraction, in the unit of the method.
    pub mass_fraction: f64,
}

/// Reads the amounts of a row's portions back; none where the method measures solutions.
///
/// # Arguments
/// * `numbers`, `responses`: the readings that count.
/// * `amount`: reads one of them back.
pub fn weigh<'m>(
    run: &Run,
    method: &ResolvedMethod,
    numbers: &[u32],
    responses: &[f64],
    amount: impl Fn(u32, f64) -> Option<Term<'m, MassConcentration>>,
) -> Vec<Weighed<'m>> {
    if method.solid.is_none() {
        return Vec::new();
    }
    let mass = |number: u32| run.readings.iter().find(|reading| reading.number == number)?.mass.as_ref();
    numbers
        .iter()
        .zip(responses)
        .filter_map(|(&number, &response)| {
            let mass = mass(number)?.value().si();
            Some(Weighed { number, mass, amount: amount(number, response)? })
        })
        .collect()
}

/// Works out the mass fraction of each row of weighed portions, in the order measured.
///
/// # Source
/// All analyte over all mass, `w = V sum(c - c_blank)/sum m` (common practice, no source). The scatter of the portions is a
/// type A evaluation of that mean, JCGM 100:2008, 4.2; what it is beyond the repeatability of the readings stands as
/// `heterogeneity`.
pub fn combine<'m>(
    model: &'m Model,
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    plan: &SolidPlan,
    solutions: &[Solution<'m>],
) -> Vec<PortionResult<'m>> {
    let mut found = Vec::new();
    for solution in solutions.iter().filter(|solution| !solution.replaced) {
        let Some(RowHolds::Portion { batch, portion, .. }) = run.row(solution.row).map(|row| &row.holds) else {
            continue;
        };
        let Some(amount) = solution.amount else { continue };
        found.push(PortionResult {
            row: solution.row,
            batch: batch.clone(),
            portion: portion.clone(),
            solution: amount,
            result: None,
            per_concentration: per_concentration(method, plan, solution),
        });
    }
    let blanks = blanks(model, package, run, method, &found);
    let fraction = |result: &PortionResult<'m>| -> Option<Term<'m, MassFraction>> {
        let solution = solutions.iter().find(|solution| solution.row == result.row)?;
        let blank = blanks.iter().find(|(batch, _)| *batch == result.batch).map(|(_, blank)| *blank);
        let blank = match (method.blank.subtract, blank) {
            (Subtract::Nothing, _) => None,
            (Subtract::MethodBlank, Some(blank)) => Some(blank),
            (Subtract::MethodBlank, None) => return None,
        };
        mean_fraction(model, plan, solution, blank, run.row(result.row)?.name.as_str())
    };
    let fractions: Vec<Option<Term<'m, MassFraction>>> = found.iter().map(fraction).collect();
    let sensitivity = match plan.calibrate_with {
        SolidCalibration::Solutions => None,
        SolidCalibration::Powders => match recovery(model, package, plan, &found, &fractions) {
            Some(recovery) => Some(recovery),
            // Without powders there is no result of this method yet.
            None => return found,
        },
    };
    for (result, fraction) in found.iter_mut().zip(fractions) {
        let Some(portion) = package.portion(&result.batch, &result.portion) else { continue };
        let (Some(fraction), false) = (fraction, matches!(portion.role, PortionRole::MethodBlank)) else { continue };
        let fraction = match sensitivity {
            Some(sensitivity) => fraction / sensitivity,
            None => fraction,
        };
        let owner = portion.id.as_str();
        let fraction = match &portion.dry_matter {
            Some(dry_matter) => fraction / input(model, dry_matter, "dry matter", owner, "w_dry"),
            None => fraction,
        };
        result.result = Some(ResultTerm::MassFraction(finish(model, &method.result, fraction, owner, "w")));
    }
    found
}

/// What a concentration of one in the dispensed volume would be in portions of the row's mean mass; limits are told with it.
fn per_concentration(method: &ResolvedMethod, plan: &SolidPlan, solution: &Solution<'_>) -> Option<f64> {
    method.detection_limits.as_ref()?;
    let masses: Vec<f64> = solution.weighed.iter().map(|portion| portion.mass).collect();
    let unit = MassFraction::unit(&method.result.unit)?;
    let found = unit.read_si(plan.dispensed.value.value().si() / summary::mean(&masses)?);
    Some(found).filter(|found| found.is_finite())
}

/// The mass-weighted mean of a row's portions, its scatter included.
fn mean_fraction<'m>(
    model: &'m Model,
    plan: &SolidPlan,
    solution: &Solution<'m>,
    blank: Option<Term<'m, MassConcentration>>,
    name: &str,
) -> Option<Term<'m, MassFraction>> {
    let weighed = &solution.weighed;
    if weighed.is_empty() {
        return None;
    }
    let volume = input(model, &plan.dispensed, "dispensed volume", "platform", "V");
    let amounts: Vec<Term<'m, MassConcentration>> = weighed.iter().map(|portion| portion.amount).collect();
    let mean_amount = model.mean(&amounts);
    let net = match blank {
        Some(blank) => mean_amount - blank,
        None => mean_amount,
    };
    let masses: Vec<f64> = weighed.iter().map(|portion| portion.mass).collect();
    let mean_mass = summary::mean(&masses)?;
    let u_mass = plan.u_mass.value().si();
    // A single portion has no scatter that would hold its weighing.
    let sources = match weighed.as_slice() {
        [one] if u_mass > 0.0 => {
            vec![Source::normal(SourceId::new(format!("weighing/{}", one.number)), u_mass)]
        }
        _ => Vec::new(),
    };
    let mass = model.input(darkline_metrology::kind::Mass::from_si(mean_mass), &sources);
    let fraction = net * volume / mass;
    let heterogeneity = heterogeneity(weighed, plan, blank.map_or(0.0, |blank| blank.value().si()), model)?;
    let Some((u, dof)) = heterogeneity else { return Some(fraction) };
    let source = Source::estimated(SourceId::new(format!("heterogeneity/{name}/{}", weighed[0].number)), u, dof);
    Some(fraction + model.input(MassFraction::from_si(0.0), &[source]))
}

/// Standard uncertainty of the mean from the scatter of the portions beyond that of their readings, with its degrees of
/// freedom; none for a single portion.
#[expect(clippy::option_option, reason = "the outer is a figure that is no number")]
fn heterogeneity(weighed: &[Weighed<'_>], plan: &SolidPlan, blank: f64, model: &Model) -> Option<Option<(f64, f64)>> {
    if weighed.len() < 2 {
        return Some(None);
    }
    let volume = plan.dispensed.value.value().si();
    let found = weighed.iter().map(|portion| (portion.amount.value().si() - blank) * volume / portion.mass);
    let masses_mg: Vec<f64> = weighed.iter().map(|portion| portion.mass * 1e6).collect();
    let portions = Portions::new(masses_mg, found.collect())?;
    let whole = portions.u_of_mass_weighted_mean();
    // Repeatability alone: what differs from reading to reading, not what their calibration has in common.
    let amounts: Vec<Term<'_, MassConcentration>> = weighed.iter().map(|portion| portion.amount).collect();
    let mean = model.mean(&amounts);
    let repeats = weighed.iter().fold(0.0, |sum, portion| {
        let apart = model.first_order(portion.amount - mean).u();
        sum + apart * apart
    });
    #[expect(clippy::cast_precision_loss, reason = "portions are few")]
    let n = weighed.len() as f64;
    let mean_mass = weighed.iter().fold(0.0, |sum, portion| sum + portion.mass) / n;
    let of_readings = (repeats / (n - 1.0) / n).sqrt() * volume / mean_mass;
    let beyond = (whole * whole - of_readings * of_readings).max(0.0).sqrt();
    Some(Some((beyond, n - 1.0)))
}

/// What is found of powder standards over what they hold: the mean over their rows.
fn recovery<'m>(
    model: &'m Model,
    package: &DataPackage,
    plan: &SolidPlan,
    found: &[PortionResult<'m>],
    fractions: &[Option<Term<'m, MassFraction>>],
) -> Option<Term<'m, Factor>> {
    let recoveries: Vec<Term<'m, Factor>> = found
        .iter()
        .zip(fractions)
        .filter_map(|(result, fraction)| {
            let held = held(model, package, plan, result)?;
            Some(((*fraction)? / held).named(format!("R({})", result.portion), Factor::usual_unit()))
        })
        .collect();
    (!recoveries.is_empty()).then(|| model.mean(&recoveries).named("R(powders)", Factor::usual_unit()))
}

/// What a powder standard holds; `None` for every other portion.
fn held<'m>(
    model: &'m Model,
    package: &DataPackage,
    plan: &SolidPlan,
    result: &PortionResult<'m>,
) -> Option<Term<'m, MassFraction>> {
    let PortionRole::Control { material, assigned, u } = &package.portion(&result.batch, &result.portion)?.role else {
        return None;
    };
    let ResultFigure::MassFraction(assigned) = assigned else { return None };
    if !plan.powders.contains(material) || assigned.value().si() <= 0.0 {
        return None;
    }
    let sources: Vec<Source> =
        u.iter().map(|u| Source::normal(SourceId::new(format!("powder standard/{material}")), u.si())).collect();
    Some(model.input(assigned.value(), &sources).named(format!("w_ref({})", result.portion), assigned.unit()))
}

/// What the portions of each row tell, in the order measured.
pub fn outcomes(model: &Model, package: &DataPackage, worked: &RunWorked<'_, '_>) -> Vec<SolidOutcome> {
    let Some(plan) = &worked.method.solid else { return Vec::new() };
    let Some(unit) = MassFraction::unit(&worked.method.result.unit) else { return Vec::new() };
    let volume = plan.dispensed.value.value().si();
    let mut told = Vec::new();
    for solution in worked.solutions.iter().filter(|solution| !solution.weighed.is_empty() && !solution.replaced) {
        let Some(row) = worked.run.row(solution.row) else { continue };
        let RowHolds::Portion { batch, .. } = &row.holds else { continue };
        let own = worked.portions.iter().find(|result| result.row == solution.row);
        let blank = match worked.method.blank.subtract {
            Subtract::Nothing => 0.0,
            Subtract::MethodBlank => blanks(model, package, worked.run, worked.method, &worked.portions)
                .iter()
                .find(|(of, _)| of == batch)
                .map_or(0.0, |(_, blank)| blank.value().si()),
        };
        // The factors of the method and the sensitivity of powders reach every portion of a row alike.
        let plain = |portion: &Weighed<'_>| (portion.amount.value().si() - blank) * volume / portion.mass;
        let masses: Vec<f64> = solution.weighed.iter().map(|portion| portion.mass).collect();
        let whole = masses.iter().fold(0.0, |sum, mass| sum + mass);
        let plain_mean = solution.weighed.iter().fold(0.0, |sum, portion| sum + plain(portion) * portion.mass) / whole;
        let estimate = own.and_then(|own| own.result?.estimate(model, &worked.method.result.unit));
        let mean = estimate.as_ref().map_or(unit.read_si(plain_mean), |estimate| estimate.value);
        let scale = if plain_mean == 0.0 { 1.0 } else { mean / unit.read_si(plain_mean) };
        let portions: Vec<PortionOutcome> = solution
            .weighed
            .iter()
            .map(|portion| PortionOutcome {
                number: portion.number,
                mass_mg: portion.mass * 1e6,
                mass_fraction: unit.read_si(plain(portion)) * scale,
            })
            .collect();
        if !mean.is_finite() || portions.iter().any(|portion| !portion.mass_fraction.is_finite()) {
            continue;
        }
        let set = Portions::new(
            portions.iter().map(|portion| portion.mass_mg).collect(),
            portions.iter().map(|portion| portion.mass_fraction).collect(),
        )
        .filter(|set| set.mean() > 0.0);
        let analytical = solution.mean_response.filter(|response| *response > 0.0).map(|response| {
            let constant = worked.method.replicates.sd_at_zero.value().si() / response;
            let relative = worked.method.replicates.rsd.value().si();
            100.0 * (constant * constant + relative * relative).sqrt()
        });
        let both = set.as_ref().zip(analytical);
        let wanted = plan.wanted_u.as_ref().map(|wanted| 100.0 * wanted.value().si());
        let powder_recovery = own.and_then(|own| {
            let held = held(model, package, plan, own)?.value().si();
            let estimate = estimate.as_ref()?;
            // Of what solutions alone would have found.
            let found = unit.read_si(plain_mean) / unit.read_si(held);
            Some((found, estimate.u / estimate.value * found)).filter(|(found, u)| found.is_finite() && u.is_finite())
        });
        told.push(SolidOutcome {
            row: solution.row,
            name: row.name.clone(),
            portions,
            mean,
            unit: worked.method.result.unit.clone(),
            rsd_percent: set.as_ref().map(Portions::rsd_percent),
            sampling_constant_mg: both.map(|(set, analytical)| set.sampling_constant_mg(analytical)),
            homogeneity_factor: both.map(|(set, analytical)| set.homogeneity_factor(analytical)),
            portions_needed: set
                .as_ref()
                .zip(wanted)
                .and_then(|(set, wanted)| portions_for_u(set.rsd_percent(), wanted)),
            powder_recovery,
        });
    }
    told
}
