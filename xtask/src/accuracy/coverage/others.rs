//! Coverage of what is no curve through standards beside the sample: curves on the tape of a measurement model, standards
//! that are themselves uncertain, additions to the sample, brackets.

use darkline_calibration::bracketing::{Bracket, Drift, OneStandard};
use darkline_calibration::calibration_function::CalibrationModel;
use darkline_calibration::errors_in_both::{LineInBoth, PointInBoth};
use darkline_calibration::point::{Dispersion, Point};
use darkline_calibration::standard_additions::{StandardAdditions, at_constant_volume, plain, single, successive};
use darkline_metrology::kind::{Factor, Kind, MassConcentration, Response, Volume};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{PoolId, Source, SourceId};

use super::simulated::{Draws, LEVEL, N_UNKNOWNS, PLACES, Study, TOP, Trial, truth};

/// The factor of a normal law at [`LEVEL`].
const K: f64 = 1.959_963_984_540_054;

/// All studies of this file.
pub fn studies() -> Vec<Study> {
    let mut studies = Vec::new();
    for model in CalibrationModel::ALL {
        studies.push(Study {
            model: model.name(),
            scatter: "constant, equal weights, one pool",
            interval: "budget of the measurement model, t at its effective degrees of freedom",
            trial: Box::new(move |draws| on_tape(model, draws)),
        });
    }
    studies.push(Study {
        model: "straight line of least distances",
        scatter: "known u of responses and of amounts, 2 % each",
        interval: "amount ± 1.96 u",
        trial: Box::new(in_both),
    });
    for (form, words) in [
        (Form::Plain, "standard additions, amounts added as stated"),
        (Form::ConstantVolume, "standard additions at constant volume"),
        (Form::Successive, "standard additions, one after the other"),
    ] {
        studies.push(Study {
            model: words,
            scatter: "constant, four levels twice",
            interval: "inversion limits at no response",
            trial: Box::new(move |draws| additions(form, draws)),
        });
        studies.push(Study {
            model: words,
            scatter: "constant, four levels twice",
            interval: "amount ± t·u",
            trial: Box::new(move |draws| symmetric_additions(form, draws)),
        });
    }
    studies.push(Study {
        model: "one standard addition",
        scatter: "constant, three readings of each portion, one pool",
        interval: "budget of the measurement model, t at its effective degrees of freedom",
        trial: Box::new(one_addition),
    });
    studies.push(Study {
        model: "bracket of two standards",
        scatter: "constant and known, each measured once",
        interval: "amount ± 1.96 u",
        trial: Box::new(bracket),
    });
    studies.push(Study {
        model: "bracket of two standards, drift of 5 % between two measurements of each",
        scatter: "constant and known",
        interval: "amount ± 1.96 u",
        trial: Box::new(drifting_bracket),
    });
    studies.push(Study {
        model: "bracket of one standard, drift of 5 % between its two measurements",
        scatter: "constant and known",
        interval: "budget of the measurement model, 1.96 u",
        trial: Box::new(one_standard),
    });
    studies
}

fn unit() -> darkline_metrology::kind::Unit<MassConcentration> {
    MassConcentration::usual_unit()
}

fn around(amount: f64, half: f64) -> Option<(f64, f64)> {
    (amount.is_finite() && half.is_finite()).then_some((amount - half, amount + half))
}

/// Amount and half-width by first order, in µg/L.
fn interval_of(model: &Model, amount: Term<'_, MassConcentration>) -> Option<(f64, f64)> {
    let estimate = model.first_order(amount);
    let expanded = estimate.expand(estimate.coverage_factor(LEVEL)?);
    around(unit().read(expanded.value), unit().read(expanded.expanded_u))
}

/// As a run is evaluated: every reading rests on one residual standard deviation with its degrees of freedom.
fn on_tape(model: CalibrationModel, draws: &mut Draws) -> Trial {
    const SD: f64 = 0.003;
    const N_READINGS: u32 = 2;
    let mut points = Vec::new();
    for level in [0.05, 0.2, 0.4, 0.6, 0.8, 1.0] {
        for _ in 0..2 {
            let response = Response::from_si(truth(model, level * TOP) + draws.normal(SD));
            points.push(Point { amount: unit().of(level * TOP), response, weight: 1.0 });
        }
    }
    let Ok(function) = model.fit(&points, Dispersion::Estimated) else { return Trial::refused() };
    let Some(sd) = function.residual_sd() else { return Trial::refused() };
    #[expect(clippy::cast_precision_loss, reason = "points are few")]
    let dof = function.dof() as f64;
    let tape = Model::new();
    let reading = |name: String, response: f64, sd: f64| {
        let source = Source::pooled(SourceId::new(name), sd, dof, PoolId::new("residual"));
        tape.input(Response::from_si(response), &[source])
    };
    let responses = points.iter().enumerate().map(|(i, p)| reading(format!("y{i}"), p.response.si(), sd.si()).node());
    let mut from: Vec<u32> = responses.collect();
    from.extend(points.iter().map(|point| tape.exact(point.amount).node()));
    let Ok(parameters) = tape.solve(function.fit_node(vec![1.0; points.len()], "equal"), from) else {
        return Trial::refused();
    };
    let mut trial = Trial::default();
    for (place, part) in PLACES.iter().enumerate() {
        for unknown in 0..N_UNKNOWNS {
            let root = f64::from(N_READINGS).sqrt();
            let response = truth(model, part * TOP) + draws.normal(SD / root);
            let mut from = vec![reading(format!("unknown {place} {unknown}"), response, sd.si() / root).node()];
            from.extend(&parameters);
            let amount = tape.solve(function.inverse_node(), from).ok().map(|found| tape.term(found[0]));
            trial.take(place, part * TOP, amount.and_then(|amount| interval_of(&tape, amount)));
        }
    }
    trial
}

fn in_both(draws: &mut Draws) -> Trial {
    const U_RESPONSE: f64 = 0.004;
    let points: Vec<PointInBoth> = [0.5, 2.0, 4.0, 6.0, 8.0, 10.0]
        .map(|amount| {
            let u_amount = 0.02 * amount;
            PointInBoth {
                amount: unit().of(amount + draws.normal(u_amount)),
                u_amount: unit().of(u_amount),
                response: Response::from_si(truth(CalibrationModel::Line, amount) + draws.normal(U_RESPONSE)),
                u_response: Response::from_si(U_RESPONSE),
            }
        })
        .to_vec();
    let Ok(line) = LineInBoth::fit(&points) else { return Trial::refused() };
    let mut trial = Trial::default();
    for (place, part) in PLACES.iter().enumerate() {
        for _ in 0..N_UNKNOWNS {
            let response = Response::from_si(truth(CalibrationModel::Line, part * TOP) + draws.normal(U_RESPONSE));
            let found = line.amount(response).ok().zip(line.u_amount(response, Response::from_si(U_RESPONSE)).ok());
            let interval = found.and_then(|(amount, u)| around(unit().read(amount), K * unit().read(u)));
            trial.take(place, part * TOP, interval);
        }
    }
    trial
}

/// How additions are made.
#[derive(Clone, Copy)]
enum Form {
    Plain,
    ConstantVolume,
    Successive,
}

/// Additions to a sample with this amount, in µg/L.
fn additions_to(amount: f64, form: Form, draws: &mut Draws) -> Option<StandardAdditions> {
    const SD: f64 = 0.003;
    const SLOPE: f64 = 0.03;
    let millilitre = Volume::unit("mL").expect("mL is a unit of volume");
    let (portion, standard) = (10.0, 100.0);
    let levels = [0.0, 0.5, 1.0, 1.5];
    // Volumes of standard in mL, twice each; 1 mL adds 10 µg/L of sample.
    let volumes = levels.iter().flat_map(|volume| [*volume, *volume]);
    let points = match form {
        Form::Plain => {
            let read: Vec<_> = volumes
                .map(|volume| {
                    let added = standard * volume / portion;
                    (unit().of(added), Response::from_si(SLOPE * (amount + added) + draws.normal(SD)))
                })
                .collect();
            plain(&read)
        }
        Form::ConstantVolume => {
            // All made up to 20 mL.
            let read: Vec<_> = volumes
                .map(|volume| {
                    let there = (amount * portion + standard * volume) / 20.0;
                    (millilitre.of(volume), Response::from_si(SLOPE * there + draws.normal(SD)))
                })
                .collect();
            at_constant_volume(millilitre.of(portion), unit().of(standard), &read).ok()?
        }
        Form::Successive => {
            let read: Vec<_> = volumes
                .map(|volume| {
                    let there = (amount * portion + standard * volume) / (portion + volume);
                    (millilitre.of(volume), Response::from_si(SLOPE * there + draws.normal(SD)))
                })
                .collect();
            successive(millilitre.of(portion), unit().of(standard), &read).ok()?
        }
    };
    StandardAdditions::fit(&points).ok()
}

fn additions(form: Form, draws: &mut Draws) -> Trial {
    let mut trial = Trial::default();
    for (place, part) in PLACES.iter().enumerate() {
        for _ in 0..N_UNKNOWNS {
            let limits = additions_to(part * TOP, form, draws).and_then(|found| found.limits(LEVEL).ok());
            trial.take(place, part * TOP, limits.map(|limits| (unit().read(limits.low), unit().read(limits.high))));
        }
    }
    trial
}

fn symmetric_additions(form: Form, draws: &mut Draws) -> Trial {
    let mut trial = Trial::default();
    for (place, part) in PLACES.iter().enumerate() {
        for _ in 0..N_UNKNOWNS {
            let interval = additions_to(part * TOP, form, draws).and_then(|found| {
                let half = found.half_width(LEVEL)?;
                around(unit().read(found.amount), unit().read(half))
            });
            trial.take(place, part * TOP, interval);
        }
    }
    trial
}

fn one_addition(draws: &mut Draws) -> Trial {
    const SD: f64 = 0.003;
    const SLOPE: f64 = 0.03;
    let millilitre = Volume::unit("mL").expect("mL is a unit of volume");
    let (portion, volume, standard) = (millilitre.of(10.0), millilitre.of(1.0), unit().of(100.0));
    let mut trial = Trial::default();
    for (place, part) in PLACES.iter().enumerate() {
        for _ in 0..N_UNKNOWNS {
            let (amount, added) = (part * TOP, 10.0);
            let mut read = |amount: f64| [(); 3].map(|()| SLOPE * amount + draws.normal(SD));
            let (without, with) = (read(amount), read(amount + added));
            let pooled = darkline_metrology::summary::pooled_sd([&without[..], &with[..]]);
            let interval = pooled.and_then(|(sd, dof)| {
                let model = Model::new();
                let mean = |name: &str, readings: [f64; 3]| {
                    let id = SourceId::new(name);
                    let source = Source::pooled(id, sd / 3.0_f64.sqrt(), dof, PoolId::new("readings"));
                    model.input(Response::from_si(readings.iter().sum::<f64>() / 3.0), &[source])
                };
                let (with, without) = (mean("with", with), mean("without", without));
                // The door itself gives the same amount.
                let found = single(with.value(), without.value(), portion, volume, standard).ok()?;
                let rise: Term<'_, Factor> = without / (with - without);
                let amount = model.exact(unit().of(added)) * rise;
                let agrees = (amount.value().si() - found.si()).abs() <= 1e-12 * found.si().abs();
                agrees.then(|| interval_of(&model, amount)).flatten()
            });
            trial.take(place, amount, interval);
        }
    }
    trial
}

/// The standard uncertainty of one reading in the brackets.
const U_READING: f64 = 0.003;

fn bracket(draws: &mut Draws) -> Trial {
    let mut trial = Trial::default();
    for (place, part) in PLACES.iter().enumerate() {
        for _ in 0..N_UNKNOWNS {
            // The standards lie 2 µg/L below and above.
            let amount = 2.0 + part * TOP;
            let mut read =
                |amount: f64| Response::from_si(truth(CalibrationModel::Line, amount) + draws.normal(U_READING));
            let bracket = Bracket {
                low: unit().of(amount - 2.0),
                high: unit().of(amount + 2.0),
                response_low: read(amount - 2.0),
                response_high: read(amount + 2.0),
            };
            let response = read(amount);
            let found =
                bracket.amount(response).ok().zip(bracket.u_amount(response, Response::from_si(U_READING)).ok());
            let interval = found.and_then(|(found, u)| around(unit().read(found.amount), K * unit().read(u)));
            trial.take(place, amount, interval);
        }
    }
    trial
}

/// A reading at a place of the run, while the sensitivity falls by 5 % from place 0 to place 10.
fn drifted(amount: f64, at: f64, draws: &mut Draws) -> Response {
    let sensitivity = 1.0 - 0.005 * at;
    Response::from_si(0.05 * amount * sensitivity + draws.normal(U_READING))
}

fn drifting_bracket(draws: &mut Draws) -> Trial {
    let mut trial = Trial::default();
    for (place, part) in PLACES.iter().enumerate() {
        for _ in 0..N_UNKNOWNS {
            let amount = 2.0 + part * TOP;
            let (low, high) = (amount - 2.0, amount + 2.0);
            let read = |amount: f64, draws: &mut Draws| {
                Drift::of(&[(0.0, drifted(amount, 0.0, draws)), (10.0, drifted(amount, 10.0, draws))])
            };
            let drifts = read(low, draws).zip(read(high, draws));
            let response = drifted(amount, 5.0, draws);
            let interval = drifts.and_then(|(of_low, of_high)| {
                let bracket = Bracket::at((unit().of(low), &of_low), (unit().of(high), &of_high), 5.0);
                let found = bracket.amount(response).ok()?;
                let u_reading = Response::from_si(U_READING);
                let [u_low, u_high] = [&of_low, &of_high].map(|drift| drift.at(5.0).u_response(u_reading));
                let u = bracket.u_amount_of(response, u_reading, u_low, u_high).ok()?;
                around(unit().read(found.amount), K * unit().read(u))
            });
            trial.take(place, amount, interval);
        }
    }
    trial
}

fn one_standard(draws: &mut Draws) -> Trial {
    let mut trial = Trial::default();
    for (place, part) in PLACES.iter().enumerate() {
        for _ in 0..N_UNKNOWNS {
            let amount = 2.0 + part * TOP;
            // The standard is one and a quarter times as strong as the sample.
            let standard = unit().of(1.25 * amount);
            let (before, after) = (drifted(1.25 * amount, 0.0, draws), drifted(1.25 * amount, 10.0, draws));
            let response = drifted(amount, 5.0, draws);
            let model = Model::new();
            let reading = |name: &str, response: Response| {
                model.input(response, &[Source::normal(SourceId::new(name), U_READING)])
            };
            let at_place = model.mean(&[reading("before", before), reading("after", after)]);
            let found = model.exact(standard) * (reading("sample", response) / at_place);
            let by_door = OneStandard { amount: standard, response: at_place.value() }.amount(response);
            let agrees = by_door.is_ok_and(|door| (door.si() - found.value().si()).abs() <= 1e-12 * door.si().abs());
            trial.take(place, amount, agrees.then(|| interval_of(&model, found)).flatten());
        }
    }
    trial
}
