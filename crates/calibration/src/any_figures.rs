//! Whatever figures come in at a public door: an answer in its range or a fact, never a NaN, a panic or an endless search.
//!
//! Source: none needed, these are tests.

use std::sync::Arc;

use darkline_metrology::kind::{Kind, MassConcentration, Response, Sensitivity, Volume};
use darkline_metrology::model::Fit;
use proptest::prelude::*;

use crate::bracketing::{Bracket, Drift, OneStandard};
use crate::calibration_function::{CalibrationFunction, CalibrationModel};
use crate::choice::{choose, corrected_information};
use crate::errors_in_both::{LineInBoth, PointInBoth, deming};
use crate::fieller;
use crate::lack_of_fit::lack_of_fit;
use crate::level::levels;
use crate::limits::{
    Asked, NoLimit, blank_method, currie, din_32645, hubaux_vos, method_detection_limit, multiple_of_sd,
};
use crate::line::Line;
use crate::mandel::Mandel;
use crate::point::{Dispersion, Point};
use crate::point_to_point;
use crate::regression::{About, Regression};
use crate::standard_additions::{self, StandardAdditions};
use crate::two_component::TwoComponent;
use crate::variance_homogeneity::{self, Cochran};
use crate::weighting::{self, ReplicateScatter, Weighting};

/// Any `f64` at all, with the ones that trip arithmetic up and ordinary ones more often.
fn any_figure() -> impl Strategy<Value = f64> + Clone {
    let awkward = [
        0.0,
        -0.0,
        1.0,
        0.5,
        f64::NAN,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::MAX,
        f64::MIN,
        f64::MIN_POSITIVE,
        5e-324,
        -5e-324,
        1e154,
        1e-154,
        1e-300,
        1e300,
    ];
    prop_oneof![
        2 => any::<f64>(),
        2 => prop::sample::select(awkward.to_vec()),
        4 => -2.0_f64..12.0,
        2 => (0..6_u8).prop_map(f64::from),
        1 => (-320..308_i32).prop_map(|e| format!("1e{e}").parse().expect("a power of ten")),
    ]
}

/// Mostly figures above zero.
fn any_size() -> impl Strategy<Value = f64> + Clone {
    prop_oneof![3 => any_figure().prop_map(f64::abs), 1 => any_figure()]
}

fn any_level() -> impl Strategy<Value = f64> + Clone {
    prop_oneof![2 => any_figure(), 3 => 0.001..0.999_f64, 1 => prop::sample::select(vec![1e-300, 1e-17, 0.5, 1.0 - 1e-16])]
}

fn amount(figure: f64) -> MassConcentration {
    MassConcentration::from_si(figure)
}

fn response(figure: f64) -> Response {
    Response::from_si(figure)
}

fn is_amount(found: MassConcentration) -> bool {
    found.si().is_finite()
}

fn is_u(found: MassConcentration) -> bool {
    found.si() >= 0.0
}

/// A fact is told in words that a person can read.
fn is_told<E: std::fmt::Display>(fact: &E) -> bool {
    let text = fact.to_string();
    !text.is_empty() && text.len() < 400
}

/// Asks a function everything with these figures.
fn ask(function: &dyn CalibrationFunction, asked: &[f64], n_readings: u32, level: f64) {
    for parameter in function.parameters() {
        assert!(parameter.value.is_finite() && parameter.u.is_none_or(|u| u >= 0.0 && u.is_finite()), "{function:?}");
    }
    if let Some(covariance) = function.covariance() {
        assert!(covariance.iter().all(|entry| !entry.is_nan()), "{function:?}");
    }
    assert!(function.sum_of_squares() >= 0.0, "{function:?}");
    let inverse = function.inverse_node();
    for &figure in asked {
        let _ = (function.response(amount(figure)), function.sensitivity(amount(figure)));
        for &weight in asked {
            match function.u_amount(response(figure), n_readings, weight) {
                Ok(u) => assert!(is_u(u), "{function:?} {figure} {weight}"),
                Err(fact) => assert!(is_told(&fact)),
            }
            for dof in [f64::INFINITY, 1.0, 0.0, figure] {
                match function.limits_at_dof(response(figure), n_readings, weight, level, dof) {
                    Ok(limits) => {
                        assert!(limits.low.si() <= limits.high.si(), "{function:?} {figure} {weight} {limits:?}")
                    }
                    Err(fact) => assert!(is_told(&fact)),
                }
            }
        }
        match function.amount(response(figure)) {
            Ok(found) => assert!(is_amount(found), "{function:?} {figure}"),
            Err(fact) => assert!(is_told(&fact)),
        }
        let mut inputs = vec![figure];
        inputs.extend(function.parameters().iter().map(|parameter| parameter.value));
        ask_node(&inverse, &inputs);
        ask_node(&inverse, asked);
    }
}

fn ask_node(node: &Arc<dyn Fit>, inputs: &[f64]) {
    let mut solution = vec![0.0; node.n_parameters()];
    match node.solve(inputs, &mut solution) {
        Ok(()) => {
            assert!(solution.iter().all(|parameter| parameter.is_finite()), "{node:?} {inputs:?}");
            node.partials(inputs, &solution, &mut vec![0.0; solution.len() * inputs.len()]);
        }
        Err(fact) => assert!(!fact.reason.is_empty()),
    }
}

proptest! {
    // Every model, fitted in four ways: a case takes a third of a second.
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn curves(
        figures in prop::collection::vec((any_figure(), any_figure(), any_size(), any_size()), 0..7),
        asked in prop::collection::vec(any_figure(), 1..4),
        n_readings in prop_oneof![0..4_u32, Just(u32::MAX)],
        level in any_level(),
    ) {
        let points: Vec<Point> = figures
            .iter()
            .map(|&(x, y, weight, _)| Point { amount: amount(x), response: response(y), weight })
            .collect();
        let in_both: Vec<PointInBoth> = figures
            .iter()
            .map(|&(x, y, u, v)| PointInBoth { amount: amount(x), u_amount: amount(u), response: response(y), u_response: response(v) })
            .collect();
        let inputs: Vec<f64> = figures.iter().map(|f| f.1).chain(figures.iter().map(|f| f.0)).collect();
        for model in CalibrationModel::ALL {
            for dispersion in [Dispersion::Estimated, Dispersion::Known] {
                match model.fit(&points, dispersion) {
                    Ok(function) => {
                        ask(&*function, &asked, n_readings, level);
                        ask_node(&function.fit_node(points.iter().map(|point| point.weight).collect(), "of the test"), &inputs);
                        ask_node(&function.fit_node(asked.clone(), "of the test"), &inputs);
                        let _ = lack_of_fit(function.sum_of_squares(), model.n_parameters(), &points);
                        if let Ok(model) = TwoComponent::fit_along(&points, &*function) {
                            for &figure in &asked {
                                prop_assert!(model.sd_at(response(figure)).si() >= 0.0, "{model:?} {figure}");
                            }
                        }
                    }
                    Err(fact) => prop_assert!(is_told(&fact)),
                }
            }
            match model.fit_in_both(&in_both) {
                Ok((function, node)) => {
                    ask(&*function, &asked, n_readings, level);
                    ask_node(&node, &inputs);
                }
                Err(fact) => prop_assert!(is_told(&fact)),
            }
        }
        let _ = choose(&CalibrationModel::ALL, &points, Dispersion::Estimated).map_err(|fact| is_told(&fact));
    }

}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn lines_and_their_limits(
        figures in prop::collection::vec((any_figure(), any_figure(), any_size()), 0..7),
        asked in any_figure(),
        further in prop::collection::vec(any_figure(), 0..4),
        n_readings in 0..4_u32,
        (alpha, beta, level) in (any_level(), any_level(), any_level()),
        k in any_figure(),
    ) {
        let points: Vec<Point> = figures
            .iter()
            .map(|&(x, y, weight)| Point { amount: amount(x), response: response(y), weight })
            .collect();
        let responses: Vec<Response> = further.iter().map(|&figure| response(figure)).collect();
        let wanted = Asked { alpha, beta, n_readings, k };
        for fitted in [Line::fit(&points), Line::fit_known(&points)] {
            let line = match fitted {
                Ok(line) => line,
                Err(fact) => {
                    prop_assert!(is_told(&fact));
                    continue;
                }
            };
            for limits in [
                fieller::limits(&line, response(asked), n_readings, k, level),
                fieller::of_readings(&line, &responses, k, level),
                fieller::of_mean_response(&line, response(asked), level),
            ] {
                match limits {
                    Ok(found) => prop_assert!(found.interval.low <= found.interval.high && is_u(found.u), "{found:?}"),
                    Err(fact) => prop_assert!(is_told(&fact)),
                }
            }
            let weightings = [
                Weighting::Equal,
                Weighting::InverseAmount { power: k },
                Weighting::InverseResponse { power: alpha },
            ];
            for weighting in &weightings {
                match din_32645::weighted_limits(&line, wanted, weighting) {
                    Ok(found) => prop_assert!(found.decision.si() >= 0.0 && found.detection.si().is_finite(), "{found:?}"),
                    Err(fact) => prop_assert!(is_told(&fact)),
                }
                let _ = hubaux_vos::weighted_limits(&line, wanted, weighting).map_err(|fact| is_told(&fact));
                if let Ok(limits) = weighting.limits(&line, response(asked), n_readings, level) {
                    prop_assert!(limits.low.si() <= limits.high.si());
                }
            }
        }
        match StandardAdditions::fit(&points) {
            Ok(found) => {
                prop_assert!(is_amount(found.amount) && is_u(found.u));
                prop_assert!(found.half_width(level).is_none_or(|half| half.si() >= 0.0));
                if let Ok(limits) = found.limits(level) {
                    prop_assert!(limits.low.si() <= limits.high.si());
                }
                let _ = found.slope_difference(&found.line);
            }
            Err(fact) => prop_assert!(is_told(&fact)),
        }
    }

    #[test]
    fn weights(
        figures in prop::collection::vec((any_figure(), any_figure()), 0..9),
        asked in any_figure(),
        power in any_figure(),
        round in any::<bool>(),
    ) {
        // Rounded amounts stand on the same level.
        let amount_of = |x: f64| if round { amount(x.clamp(-1.0, 3.0).round()) } else { amount(x) };
        let points: Vec<Point> =
            figures.iter().map(|&(x, y)| Point { amount: amount_of(x), response: response(y), weight: 1.0 }).collect();
        let readings: Vec<_> = points.iter().map(|point| (point.amount, point.response)).collect();
        let mut weightings = vec![Weighting::Equal, Weighting::InverseAmount { power }, Weighting::InverseResponse { power }];
        weightings.extend(ReplicateScatter::of(&points).ok().map(Weighting::Replicates));
        let (means, sds): (Vec<_>, Vec<_>) = readings.iter().map(|&(x, y)| (response(x.si()), y)).unzip();
        weightings.extend(ReplicateScatter::given(&means, &sds).ok().map(Weighting::Replicates));
        if let Ok(model) = TwoComponent::fit(&points) {
            weightings.extend([Weighting::TwoComponent(model), Weighting::TwoComponentOfResponse(model)]);
        }
        for weighting in &weightings {
            for (x, y) in readings.iter().copied().chain([(amount(asked), response(asked))]) {
                match weighting.weight_at(x, y) {
                    Ok(weight) => prop_assert!(weight > 0.0 && weight.is_finite(), "{weighting:?}"),
                    Err(fact) => prop_assert!(is_told(&fact)),
                }
                prop_assert!(weighting.dof_at(y) > 0.0, "{weighting:?} {y:?}");
            }
            match weighting::compare(weighting, &readings) {
                Ok(found) => prop_assert!(!found.sum_of_magnitudes.is_nan(), "{found:?}"),
                Err(fact) => prop_assert!(is_told(&fact)),
            }
        }
        let found = levels(&points);
        prop_assert_eq!(found.iter().map(|level| level.n()).sum::<usize>(), points.len());
        let _ = variance_homogeneity::power_law(&found);
        for series in [point_to_point::slopes(&readings, power), point_to_point::response_factors(&readings, power)] {
            let _ = series;
        }
    }

    #[test]
    fn additions_brackets_and_plain_figures(
        figures in prop::collection::vec(any_figure(), 8),
        u in any_size(),
        level in any_level(),
        n in 0..9_usize,
    ) {
        let [a, b, c, d, e, f, g, h] = figures[..] else { unreachable!() };
        let volume = Volume::from_si;
        match standard_additions::single(response(a), response(b), volume(c), volume(d), amount(e)) {
            Ok(found) => prop_assert!(is_amount(found)),
            Err(fact) => prop_assert!(is_told(&fact)),
        }
        let additions = [(volume(a), response(b)), (volume(c), response(d)), (volume(e), response(f))];
        for points in [
            standard_additions::at_constant_volume(volume(g), amount(h), &additions),
            standard_additions::successive(volume(g), amount(h), &additions),
        ] {
            match points.and_then(|points| StandardAdditions::fit(&points)) {
                Ok(found) => prop_assert!(is_amount(found.amount) && is_u(found.u)),
                Err(fact) => prop_assert!(is_told(&fact)),
            }
        }
        let bracket =
            Bracket { low: amount(a), high: amount(b), response_low: response(c), response_high: response(d) };
        match bracket.amount(response(e)) {
            Ok(found) => prop_assert!(is_amount(found.amount) && (0.0..=1.0).contains(&found.position)),
            Err(fact) => prop_assert!(is_told(&fact)),
        }
        for found in [bracket.u_amount(response(e), response(u)), bracket.u_amount_of(response(e), response(f), response(u), response(g))] {
            match found {
                Ok(found) => prop_assert!(is_u(found)),
                Err(fact) => prop_assert!(is_told(&fact)),
            }
        }
        if let Some(drift) = Drift::of(&[(a, response(b)), (c, response(d)), (e, response(f))]) {
            let at = drift.at(g);
            prop_assert!((0.0..=1.0).contains(&at.share) && !at.response.si().is_nan(), "{drift:?} {g} {at:?}");
        }
        if let Ok(found) = (OneStandard { amount: amount(a), response: response(b) }).amount(response(c)) {
            prop_assert!(is_amount(found));
        }
        if let Ok((intercept, slope)) = deming(&[(amount(a), response(b)), (amount(c), response(d)), (amount(e), response(f))], u) {
            prop_assert!(intercept.si().is_finite() && slope.si().is_finite());
        }
        let both = |x: f64, y: f64| PointInBoth { amount: amount(x), u_amount: amount(u), response: response(y), u_response: response(u) };
        if let Ok(line) = LineInBoth::fit(&[both(a, b), both(c, d), both(e, f)]) {
            if let Ok(found) = line.amount(response(g)) {
                prop_assert!(is_amount(found));
            }
            if let Ok(found) = line.u_amount(response(g), response(h)) {
                prop_assert!(is_u(found), "{line:?} {g} {h}");
            }
        }
        let limits = |found: Result<MassConcentration, NoLimit>| found.map_or_else(|fact| is_told(&fact), |limit| limit.si() >= 0.0);
        prop_assert!(limits(multiple_of_sd::limit(response(a), Sensitivity::from_si(b), c).map(|found| found.limit)), "{a} {b} {c}");
        let blanks: Vec<Response> = figures[..n.min(8)].iter().map(|&figure| response(figure)).collect();
        prop_assert!(limits(blank_method::limit(&blanks, Sensitivity::from_si(h), level, 2).map(|found| found.decision)), "{blanks:?} {h} {level}");
        for blank in [currie::Blank::WellKnown, currie::Blank::Paired] {
            for found in [currie::known(amount(a), level, u, blank), currie::estimated(amount(a), b, level, u, blank)] {
                match found {
                    Ok(found) => prop_assert!(found.detection.si().is_finite() && found.quantitation.si().is_finite(), "{found:?}"),
                    Err(fact) => prop_assert!(is_told(&fact)),
                }
            }
        }
        for found in [currie::noncentrality(level, u, a), currie::approximate_noncentrality(level, b)] {
            prop_assert!(found.is_none_or(f64::is_finite), "{found:?} {level} {u} {a} {b}");
        }
        let results: Vec<MassConcentration> = figures.iter().map(|&figure| amount(figure)).collect();
        if let Ok(found) = method_detection_limit::of_spikes(&results[..n.min(8)]) {
            let _ = found;
        }
        let _ = (method_detection_limit::rank_of(n), method_detection_limit::interval_factors(a, level));
        let _ = method_detection_limit::existing_stands(amount(a), amount(b), c);
        if let Some(test) = Mandel::of(a, b, n) {
            prop_assert!(test.p >= 0.0 && test.p <= 1.0 && test.f >= 0.0, "{test:?}");
            let _ = (test.critical(level), test.refuses_line(level));
        }
        if let Some(table) = Regression::of(&figures[..4], &figures[4..], u, n, About::TheMean) {
            prop_assert!(!table.f.is_nan());
        }
        if let Some(found) = Cochran::of(&figures[..n.min(8)]) {
            let _ = found.critical(level, a);
        }
        if let Some(found) = variance_homogeneity::ratio(&blanks, &[response(g), response(h)]) {
            let _ = found.critical(level);
        }
        for dispersion in [Dispersion::Estimated, Dispersion::Known] {
            prop_assert!(corrected_information(a, n, 2, dispersion).is_none_or(|figure| !figure.is_nan()));
        }
    }
}
