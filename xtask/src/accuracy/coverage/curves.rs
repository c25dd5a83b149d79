//! Coverage of the inversion limits of every calibration model, with every weighting that suits how its readings scatter.

use darkline_calibration::calibration_function::{CalibrationFunction, CalibrationModel};
use darkline_calibration::point::{Dispersion, Point};
use darkline_calibration::two_component::TwoComponent;
use darkline_calibration::weighting::{ReplicateScatter, Weighting};
use darkline_metrology::kind::{Kind, MassConcentration, Response};

use super::simulated::{Draws, LEVEL, N_UNKNOWNS, PLACES, Study, TOP, Trial, truth};

/// Readings behind each unknown.
const N_READINGS: u32 = 2;

/// How readings scatter, and which weights are taken for it.
#[derive(Clone, Copy)]
pub struct Scatter {
    /// In words.
    pub words: &'static str,
    /// Standard deviation of a reading at an amount in µg/L whose true response is this.
    pub sd: fn(f64, f64) -> f64,
    /// Readings of each standard.
    pub n_replicates: usize,
    /// Levels, as parts of the top.
    pub levels: &'static [f64],
    /// The weighting, from what has been read and the unweighted fit of it.
    pub weighting: fn(&[Point], &dyn CalibrationFunction) -> Option<Weighting>,
    /// Where the size of the scatter comes from.
    pub dispersion: Dispersion,
}

const SIX: &[f64] = &[0.05, 0.2, 0.4, 0.6, 0.8, 1.0];
/// From near nothing on, as the two-component model needs.
const EIGHT: &[f64] = &[0.002, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 1.0];

/// The scatters under study.
pub const SCATTERS: &[Scatter] = &[
    Scatter {
        words: "constant, equal weights",
        sd: |_, _| 0.003,
        n_replicates: 2,
        levels: SIX,
        weighting: |_, _| Some(Weighting::Equal),
        dispersion: Dispersion::Estimated,
    },
    Scatter {
        words: "constant and known, equal weights",
        sd: |_, _| 0.003,
        n_replicates: 2,
        levels: SIX,
        weighting: |_, _| Some(Weighting::Equal),
        dispersion: Dispersion::Known,
    },
    Scatter {
        words: "variance as the amount, 1/amount",
        sd: |amount, _| 0.002 * amount.sqrt(),
        n_replicates: 2,
        levels: SIX,
        weighting: |_, _| Some(Weighting::InverseAmount { power: 1.0 }),
        dispersion: Dispersion::Estimated,
    },
    Scatter {
        words: "2 % of the amount, 1/amount²",
        sd: |amount, _| 0.02 * 0.05 * amount,
        n_replicates: 2,
        levels: SIX,
        weighting: |_, _| Some(Weighting::InverseAmount { power: 2.0 }),
        dispersion: Dispersion::Estimated,
    },
    Scatter {
        words: "2 % of the response, 1/response² as read",
        sd: |_, response| 0.02 * response,
        n_replicates: 2,
        levels: SIX,
        weighting: |_, _| Some(Weighting::InverseResponse { power: 2.0 }),
        dispersion: Dispersion::Estimated,
    },
    Scatter {
        words: "constant and 2 % of the amount, sd of 4 replicates",
        sd: |amount, _| hypotenuse(0.002, 0.001 * amount),
        n_replicates: 4,
        levels: SIX,
        weighting: |points, _| ReplicateScatter::of(points).ok().map(Weighting::Replicates),
        dispersion: Dispersion::Estimated,
    },
    Scatter {
        words: "constant and 2 % of the amount, sd of 10 replicates",
        sd: |amount, _| hypotenuse(0.002, 0.001 * amount),
        n_replicates: 10,
        levels: SIX,
        weighting: |points, _| ReplicateScatter::of(points).ok().map(Weighting::Replicates),
        dispersion: Dispersion::Estimated,
    },
    Scatter {
        words: "constant and 2 % of the response, two-component model of 32 readings",
        sd: |_, response| hypotenuse(0.002, 0.02 * response),
        n_replicates: 4,
        levels: EIGHT,
        weighting: |points, unweighted| {
            TwoComponent::fit_along(points, unweighted).ok().map(Weighting::TwoComponentOfResponse)
        },
        dispersion: Dispersion::Estimated,
    },
];

fn hypotenuse(a: f64, b: f64) -> f64 {
    (a * a + b * b).sqrt()
}

/// All studies of this file.
pub fn studies() -> Vec<Study> {
    let mut studies = Vec::new();
    for model in CalibrationModel::ALL {
        for scatter in SCATTERS {
            studies.push(Study {
                model: model.name(),
                scatter: scatter.words,
                interval: "inversion limits",
                trial: Box::new(move |draws| trial(model, scatter, draws)),
            });
        }
    }
    studies
}

fn trial(model: CalibrationModel, scatter: &Scatter, draws: &mut Draws) -> Trial {
    let unit = MassConcentration::usual_unit();
    let read = |amount: f64, draws: &mut Draws, n: u32| {
        let response = truth(model, amount);
        response + draws.normal((scatter.sd)(amount, response) / f64::from(n).sqrt())
    };
    let mut points = Vec::new();
    for level in scatter.levels {
        for _ in 0..scatter.n_replicates {
            let amount = level * TOP;
            let response = Response::from_si(read(amount, draws, 1));
            points.push(Point { amount: unit.of(amount), response, weight: 1.0 });
        }
    }
    let Ok(unweighted) = model.fit(&points, Dispersion::Estimated) else { return Trial::refused() };
    let Some(weighting) = (scatter.weighting)(&points, &*unweighted) else { return Trial::refused() };
    // Known scatter: the weight of a reading is the inverse of its variance.
    let unit_weight = if scatter.dispersion == Dispersion::Known { 1.0 / (0.003 * 0.003) } else { 1.0 };
    for point in &mut points {
        let Ok(weight) = weighting.weight_at(point.amount, point.response) else { return Trial::refused() };
        point.weight = weight * unit_weight;
    }
    let Ok(function) = model.fit(&points, scatter.dispersion) else { return Trial::refused() };
    let mut trial = Trial::default();
    for (place, part) in PLACES.iter().enumerate() {
        for _ in 0..N_UNKNOWNS {
            let response = Response::from_si(read(part * TOP, draws, N_READINGS));
            let limits = function.amount(response).ok().and_then(|found| {
                if scatter.dispersion == Dispersion::Known {
                    let weight = weighting.weight_at(found, response).ok()? * unit_weight;
                    return function.limits(response, N_READINGS, weight, LEVEL).ok();
                }
                weighting.limits(&*function, response, N_READINGS, LEVEL).ok()
            });
            let interval = limits.map(|limits| (unit.read(limits.low), unit.read(limits.high)));
            trial.take(place, part * TOP, interval);
        }
    }
    trial
}
